"""Count sheets: paper that was handed out, each with its own number."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Case
from trays.instruments.models import Pack
from trays.ledger.laws import one_of
from trays.staff.models import Person


class CountSheetKind(models.TextChoices):
    PACK = "pack", _("Pack")
    SOFT_GOODS = "soft_goods", _("Soft goods")


class CountSheet(models.Model):
    """One sheet of one case: a pack's contents, or soft goods and sharps."""

    Kind = CountSheetKind

    number = models.CharField(max_length=20, unique=True)
    case = models.ForeignKey(Case, on_delete=models.PROTECT, related_name="count_sheets")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    pack = models.ForeignKey(Pack, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    pack_round = models.PositiveIntegerField(null=True, blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            one_of("kind", CountSheetKind, "count_sheet_kind"),
            models.CheckConstraint(
                condition=(Q(kind="pack") & Q(pack__isnull=False))
                | (Q(kind="soft_goods") & Q(pack__isnull=True)),
                name="count_sheet_of_a_pack",
            ),
            models.UniqueConstraint(
                fields=["case", "pack"],
                condition=Q(replaced_at__isnull=True, kind="pack"),
                name="count_sheet_pack_once",
            ),
            models.UniqueConstraint(
                fields=["case"],
                condition=Q(replaced_at__isnull=True, kind="soft_goods"),
                name="count_sheet_soft_once",
            ),
        ]

    def __str__(self) -> str:
        return self.number
