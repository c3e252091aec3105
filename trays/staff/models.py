"""People who sign in, and the roles in which they act."""

from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager, PermissionsMixin
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from trays.ledger.laws import exactly_one, one_of
from trays.parties.models import Party, Site


class PersonManager(BaseUserManager["Person"]):
    """Makes people who can sign in."""

    def create_user(self, username: str, password: str | None = None, **fields: Any) -> "Person":
        person = self.model(username=username, **fields)
        person.set_password(password)
        person.save(using=self._db)
        return person

    def create_superuser(self, username: str, password: str | None = None, **fields: Any) -> "Person":
        return self.create_user(username, password, is_superuser=True, **fields)


class Person(AbstractBaseUser, PermissionsMixin):
    """Somebody who acts. A superuser is the system's keeper: sets up, holds no clinical role by that."""

    username = models.CharField(max_length=60, unique=True)
    name = models.CharField(max_length=120)
    badge = models.CharField(max_length=18, blank=True)
    # Hashed as a password is. Identifies within a session that is open already; opens none.
    pin = models.CharField(max_length=128, blank=True)
    wrong_pins = models.PositiveSmallIntegerField(default=0)
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects = PersonManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["badge"], condition=~Q(badge=""), name="person_badge_once"),
        ]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name


class RoleKind(models.TextChoices):
    COORDINATOR = "coordinator", _("Coordinator")
    STERILE_SERVICES = "sterile_services", _("Sterile services")
    SCRUB_NURSE = "scrub_nurse", _("Scrub nurse")
    CIRCULATING_NURSE = "circulating_nurse", _("Circulating nurse")
    SURGEON = "surgeon", _("Surgeon")
    STORES = "stores", _("Stores")
    QUALITY = "quality", _("Quality")
    SUPPLIER = "supplier", _("Supplier")


class Role(models.Model):
    """A person in a role, at one site or for one supplier."""

    Kind = RoleKind

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="roles")
    kind = models.CharField(max_length=20, choices=Kind.choices)
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.PROTECT, related_name="roles")
    supplier = models.ForeignKey(Party, null=True, blank=True, on_delete=models.PROTECT, related_name="roles")

    class Meta:
        constraints = [
            one_of("kind", RoleKind, "role_kind"),
            exactly_one("role_at_site_or_supplier", "site", "supplier"),
            models.UniqueConstraint(
                fields=["person", "kind", "site"], condition=Q(site__isnull=False), name="role_once_at_site"
            ),
            models.UniqueConstraint(
                fields=["person", "kind", "supplier"],
                condition=Q(supplier__isnull=False),
                name="role_once_for_supplier",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} as {self.kind}"


class Meaning(models.TextChoices):
    """What a signature says."""

    RELEASED = "released", _("Released")
    RELEASED_EARLY = "released_early", _("Released before its indicator is known")
    FAILED = "failed", _("Failed")
    ALLOWED_SHORT = "allowed_short", _("Allowed although a critical line is short")
    WITNESSED = "witnessed", _("Witnessed")
    CLOSED = "closed", _("Closed")
    COUNTED = "counted", _("Counted aloud")
    SETTLED = "settled", _("Discrepancy settled")
    NOT_DONE = "not_done", _("Not done: emergency")
    RECORDED = "recorded", _("Recorded")
    ADJUSTED = "adjusted", _("Stock adjusted")
    APPROVED = "approved", _("Approved")


class Signature(models.Model):
    """One person's name under one thing: when, with what meaning, and exactly what was signed.

    `content` is canonical JSON and `digest` SHA-256 over it; the row is append-only. Whether the thing still
    is what was signed is asked of the room that it belongs to.
    """

    Meaning = Meaning

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="signatures")
    name = models.CharField(max_length=120)
    meaning = models.CharField(max_length=20, choices=Meaning.choices)
    subject = models.CharField(max_length=30)
    subject_id = models.BigIntegerField()
    signed_at = models.DateTimeField()
    content = models.TextField()
    digest = models.CharField(max_length=64)

    class Meta:
        constraints = [one_of("meaning", Meaning, "signature_meaning")]
        # For the signatures under one thing.
        indexes = [models.Index(fields=["subject", "subject_id"], name="signature_subject")]

    def __str__(self) -> str:
        return f"{self.name}: {self.meaning}"
