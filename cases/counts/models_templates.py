"""How a site counts: stages, classes and their order, who signs, what is done when a count differs.

A template is never changed: a later version takes its place, and cases that began with the earlier one end
with it.
"""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from cases.bookings.models import Procedure
from trays.ledger.laws import at_least, one_of
from trays.parties.models import Site
from trays.staff.models import Person


class StageKind(models.TextChoices):
    """What a stage is for. A hand-over and an extra count are made when they are needed, not beforehand."""

    FIRST = "first", _("First count")
    CLOSING = "closing", _("Closing count")
    FINAL = "final", _("Final count")
    HAND_OVER = "hand_over", _("Hand-over count")
    EXTRA = "extra", _("Extra count")


class CountClass(models.TextChoices):
    """What is counted, by the way in which it is counted."""

    SOFT = "soft", _("Soft goods")
    SHARP = "sharp", _("Sharps")
    SMALL = "small", _("Small items")
    INSTRUMENT = "instrument", _("Instruments")
    RACK = "rack", _("Rack stock")
    FRAGMENT = "fragment", _("Fragments")


class StepKind(models.TextChoices):
    """What a step of a discrepancy is, whatever words a site gives it."""

    TELL = "tell", _("Tell the surgeon")
    RECOUNT = "recount", _("Recount")
    SEARCH = "search", _("Search")
    XRAY = "xray", _("X-ray")
    OUTCOME = "outcome", _("Outcome")


class StepWhen(models.TextChoices):
    """When a step must have been answered before a discrepancy is settled."""

    ALWAYS = "always", _("always")
    NOT_FOUND = "not_found", _("if it is not found")
    IF_WANTED = "if_wanted", _("if it is wanted")


def default_signers() -> list[str]:
    return []


class CountTemplate(models.Model):
    """One version of how a site counts: for one procedure, or for all that have none of their own.

    `direction` is the way round in which it is counted, as it stands on page and sheet.
    """

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="count_templates")
    procedure = models.ForeignKey(
        Procedure, null=True, blank=True, on_delete=models.PROTECT, related_name="count_templates"
    )
    name = models.CharField(max_length=80)
    version = models.PositiveSmallIntegerField(default=1)
    direction = models.CharField(max_length=120, blank=True)
    made_at = models.DateTimeField()
    # None for one that came with the program or by a file.
    made_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["site", "procedure", "-version"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "procedure"],
                condition=Q(replaced_at__isnull=True, procedure__isnull=False),
                name="count_template_one_in_force",
            ),
            models.UniqueConstraint(
                fields=["site"],
                condition=Q(replaced_at__isnull=True, procedure__isnull=True),
                name="count_template_one_for_all",
            ),
            models.UniqueConstraint(
                fields=["site", "procedure", "version"],
                condition=Q(procedure__isnull=False),
                name="count_template_version_once",
            ),
            models.UniqueConstraint(
                fields=["site", "version"],
                condition=Q(procedure__isnull=True),
                name="count_template_version_for_all",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="count_template_named"),
            at_least("version", 1, "count_template_version"),
        ]

    def __str__(self) -> str:
        return f"{self.name}, version {self.version}"


class TemplateStage(models.Model):
    """One stage: a number or letter, a word, when it is done, and the roles that sign it.

    `signers` are kinds of role; two different people at least stand behind each stage.
    """

    template = models.ForeignKey(CountTemplate, on_delete=models.CASCADE, related_name="stages")
    number = models.PositiveSmallIntegerField()
    mark = models.CharField(max_length=3)
    word = models.CharField(max_length=40)
    kind = models.CharField(max_length=10, choices=StageKind.choices)
    when = models.CharField(max_length=160, blank=True)
    signers = models.JSONField(default=default_signers)

    class Meta:
        ordering = ["template", "number"]
        constraints = [
            one_of("kind", StageKind, "template_stage_kind"),
            models.UniqueConstraint(fields=["template", "number"], name="template_stage_once"),
            models.UniqueConstraint(
                fields=["template"], condition=Q(kind="hand_over"), name="template_stage_one_hand_over"
            ),
            models.UniqueConstraint(
                fields=["template"], condition=Q(kind="extra"), name="template_stage_one_extra"
            ),
            at_least("number", 1, "template_stage_number"),
        ]

    def __str__(self) -> str:
        return f"{self.mark} {self.word}"


class TemplateClass(models.Model):
    """One class in running order: its keys (how many one press adds) and the stages that count it.

    `stages` are numbers of the template's stages, empty for all of them.
    """

    template = models.ForeignKey(CountTemplate, on_delete=models.CASCADE, related_name="classes")
    number = models.PositiveSmallIntegerField()
    klass = models.CharField(max_length=10, choices=CountClass.choices)
    word = models.CharField(max_length=40)
    keys = models.JSONField(default=list)
    stages = models.JSONField(default=list)

    class Meta:
        ordering = ["template", "number"]
        constraints = [
            one_of("klass", CountClass, "template_class_klass"),
            models.UniqueConstraint(fields=["template", "number"], name="template_class_once"),
            models.UniqueConstraint(fields=["template", "klass"], name="template_class_klass_once"),
        ]

    def __str__(self) -> str:
        return self.word


class TemplateStep(models.Model):
    """One step of a discrepancy, in the site's own words."""

    template = models.ForeignKey(CountTemplate, on_delete=models.CASCADE, related_name="steps")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=StepKind.choices)
    words = models.CharField(max_length=160)
    when = models.CharField(max_length=10, choices=StepWhen.choices, default=StepWhen.ALWAYS)

    class Meta:
        ordering = ["template", "number"]
        constraints = [
            one_of("kind", StepKind, "template_step_kind"),
            one_of("when", StepWhen, "template_step_when"),
            models.UniqueConstraint(fields=["template", "number"], name="template_step_once"),
        ]

    def __str__(self) -> str:
        return self.words
