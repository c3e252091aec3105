"""Runs of labels and their files, and the label stock that a site has added."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import at_least, between, one_of
from trays.parties.models import Site
from trays.staff.models import Person
from trays.symbols.labelstock import PAGE_LIMIT_MM, SHIFT_LIMIT_MM, LabelStock


def _mm(low: float, high: float, default: float = 0.0) -> "models.DecimalField[Decimal, Decimal]":
    return models.DecimalField(
        max_digits=6,
        decimal_places=2,
        default=Decimal(str(default)),
        validators=[MinValueValidator(Decimal(str(low))), MaxValueValidator(Decimal(str(high)))],
    )


class LabelPaper(models.Model):
    """One kind of label stock of a site, in mm. With the code of a common one it takes its place there.

    A roll has one label a page; a sheet has `columns` and `rows`. Two copies peel off the right edge where
    they have a size. `shift_x` and `shift_y` are the offset of the site's printer.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="label_papers")
    code = models.CharField(
        max_length=20,
        validators=[RegexValidator(r"^[a-z0-9]+(-[a-z0-9]+)*$", _("Small letters, digits and hyphens."))],
    )
    name = models.CharField(max_length=80)
    sheet = models.BooleanField(default=False)
    label_width = _mm(10, PAGE_LIMIT_MM)
    label_height = _mm(8, PAGE_LIMIT_MM)
    page_width = _mm(0, PAGE_LIMIT_MM)
    page_height = _mm(0, PAGE_LIMIT_MM)
    columns = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(30)]
    )
    rows = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(60)]
    )
    left = _mm(0, PAGE_LIMIT_MM)
    top = _mm(0, PAGE_LIMIT_MM)
    gap_x = _mm(0, 100)
    gap_y = _mm(0, 100)
    copy_width = _mm(0, PAGE_LIMIT_MM)
    copy_height = _mm(0, PAGE_LIMIT_MM)
    shift_x = _mm(-SHIFT_LIMIT_MM, SHIFT_LIMIT_MM)
    shift_y = _mm(-SHIFT_LIMIT_MM, SHIFT_LIMIT_MM)

    class Meta:
        ordering = ["site", "code"]
        constraints = [
            models.UniqueConstraint(fields=["site", "code"], name="label_paper_once"),
            between("label_width", 10, PAGE_LIMIT_MM, "label_paper_width"),
            between("label_height", 8, PAGE_LIMIT_MM, "label_paper_height"),
            between("shift_x", -SHIFT_LIMIT_MM, SHIFT_LIMIT_MM, "label_paper_shift_x"),
            between("shift_y", -SHIFT_LIMIT_MM, SHIFT_LIMIT_MM, "label_paper_shift_y"),
            at_least("columns", 1, "label_paper_columns"),
            at_least("rows", 1, "label_paper_rows"),
        ]

    def __str__(self) -> str:
        return self.name

    def as_stock(self) -> LabelStock:
        """The same as plain lengths."""
        return LabelStock(
            code=self.code,
            name=self.name,
            sheet=self.sheet,
            columns=self.columns if self.sheet else 1,
            rows=self.rows if self.sheet else 1,
            **{name: float(getattr(self, name)) for name in LENGTHS},
        )


# The fields in mm, by name.
LENGTHS = (
    "label_width",
    "label_height",
    "page_width",
    "page_height",
    "left",
    "top",
    "gap_x",
    "gap_y",
    "copy_width",
    "copy_height",
    "shift_x",
    "shift_y",
)


class LabelRunState(models.TextChoices):
    WAITING = "waiting", _("Waiting")
    MAKING = "making", _("Being made")
    MADE = "made", _("Made")
    FAILED = "failed", _("Not made")


class LabelRun(models.Model):
    """One printing of labels: what was asked for, how far it has come, what got none and why.

    `ids` are the rows in the order of printing. The files are offered when all of them are made.
    """

    State = LabelRunState

    client_key = models.UUIDField(unique=True, null=True)
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=20)
    stock = models.CharField(max_length=30)
    carrier = models.CharField(max_length=12)
    start = models.PositiveSmallIntegerField(default=1)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    state = models.CharField(max_length=10, choices=State.choices, default=State.WAITING)
    ids = models.JSONField(default=list)
    done = models.PositiveIntegerField(default=0)
    labels = models.PositiveIntegerField(default=0)
    refused = models.JSONField(default=list)
    # Symbols as they were drawn: linear or not, X-dimension and quiet zone in mm.
    symbols = models.JSONField(default=list)
    said = models.CharField(max_length=300, blank=True)
    made_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [one_of("state", LabelRunState, "label_run_state")]
        indexes = [models.Index(fields=["by", "-at"], name="label_run_recent")]

    def __str__(self) -> str:
        return f"{self.kind} labels of {self.at:%d %b}"


class LabelFile(models.Model):
    """One PDF of a run. Files go after some days; the run stays."""

    run = models.ForeignKey(LabelRun, on_delete=models.CASCADE, related_name="files")
    number = models.PositiveSmallIntegerField()
    labels = models.PositiveIntegerField()
    pdf = models.BinaryField()

    class Meta:
        ordering = ["run", "number"]
        constraints = [models.UniqueConstraint(fields=["run", "number"], name="label_file_once")]

    def __str__(self) -> str:
        return f"file {self.number} of {self.run_id}"
