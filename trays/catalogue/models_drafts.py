"""Codes that came in and are not on file: what stores say they are, until somebody approves it."""

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.catalogue.models import Component, Family, FamilyKind, Side
from trays.ledger.laws import at_least, one_of
from trays.parties.models import Party, Site
from trays.staff.models import Person


class DraftStatus(models.TextChoices):
    OPEN = "open", _("Waits for approval")
    APPROVED = "approved", _("Approved")
    TURNED_DOWN = "turned_down", _("Turned down")


class CatalogueDraft(models.Model):
    """A trade code nobody knew. It is another code of an item on file, or a new item.

    A new item belongs to a family on file, or to a new one of that name and kind. Nothing of a draft can be
    used or ordered until it is approved; what came in of it is kept apart meanwhile.
    """

    Status = DraftStatus

    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="catalogue_drafts")
    code = models.CharField(max_length=40)
    quantity = models.PositiveIntegerField(default=1)
    component = models.ForeignKey(
        Component, null=True, blank=True, on_delete=models.PROTECT, related_name="drafts"
    )
    family = models.ForeignKey(Family, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    new_family = models.CharField(max_length=120, blank=True)
    kind = models.CharField(max_length=20, choices=FamilyKind.choices, default=FamilyKind.IMPLANT)
    name = models.CharField(max_length=160, blank=True)
    size = models.CharField(max_length=20, blank=True)
    second = models.CharField(max_length=20, blank=True)
    side = models.CharField(max_length=5, choices=Side.choices, default=Side.NONE)
    supplier = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    status = models.CharField(max_length=12, choices=DraftStatus.choices, default=DraftStatus.OPEN)
    raised_at = models.DateTimeField()
    raised_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["raised_at", "pk"]
        constraints = [
            one_of("status", DraftStatus, "catalogue_draft_status"),
            one_of("side", Side, "catalogue_draft_side"),
            one_of("kind", FamilyKind, "catalogue_draft_kind"),
            at_least("quantity", 1, "catalogue_draft_quantity"),
            models.UniqueConstraint(
                fields=["code"], condition=Q(status="open"), name="catalogue_draft_one_open_of_a_code"
            ),
            models.CheckConstraint(
                condition=Q(status="open", decided_at__isnull=True, decided_by__isnull=True)
                | ~Q(status="open") & Q(decided_at__isnull=False, decided_by__isnull=False),
                name="catalogue_draft_decided_by_somebody",
            ),
            models.CheckConstraint(
                condition=~Q(status="approved") | Q(component__isnull=False),
                name="catalogue_draft_approved_is_an_item",
            ),
            models.CheckConstraint(
                condition=~Q(status="turned_down") | ~Q(reason=""),
                name="catalogue_draft_turned_down_for_a_reason",
            ),
        ]

    def __str__(self) -> str:
        return self.code
