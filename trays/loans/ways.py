"""The states of a loan and the ways between them: the one table, for the database, services and pages."""

from django.db import models
from django.utils.translation import gettext_lazy as _


class LoanStatus(models.TextChoices):
    ASKED = "asked", _("Asked")
    CONFIRMED = "confirmed", _("Confirmed")
    ARRIVED = "arrived", _("Arrived")
    CHECKED = "checked", _("Checked")
    PROCESSED = "processed", _("Processed")
    IN_USE = "in_use", _("In use")
    DECONTAMINATED = "decontaminated", _("Decontaminated")
    COUNTED_OUT = "counted_out", _("Counted out")
    RETURNED = "returned", _("Returned")
    CLOSED = "closed", _("Closed")
    REFUSED = "refused", _("Refused")
    CANCELLED = "cancelled", _("Cancelled")


S = LoanStatus
BEGIN = ""
"""What a loan is before it is asked for."""

_ON = (
    (BEGIN, S.ASKED),
    (S.ASKED, S.CONFIRMED),
    (S.CONFIRMED, S.ARRIVED),
    (S.ARRIVED, S.CHECKED),
    (S.CHECKED, S.PROCESSED),
    (S.PROCESSED, S.IN_USE),
    (S.IN_USE, S.DECONTAMINATED),
    (S.DECONTAMINATED, S.COUNTED_OUT),
    (S.COUNTED_OUT, S.RETURNED),
    (S.RETURNED, S.CLOSED),
)
_BESIDE = (
    # The supplier says no, or nothing that came passes its check; what stands here then goes back.
    (S.ASKED, S.REFUSED),
    (S.CONFIRMED, S.REFUSED),
    (S.ARRIVED, S.REFUSED),
    (S.REFUSED, S.RETURNED),
    # Checked again, before anything has gone on from the door.
    (S.CHECKED, S.REFUSED),
    (S.REFUSED, S.CHECKED),
    (S.ASKED, S.CANCELLED),
    (S.CONFIRMED, S.CANCELLED),
    # It stands at the door though nobody had confirmed it.
    (S.ASKED, S.ARRIVED),
    # A further set comes after the first ones were checked, or processed.
    (S.CHECKED, S.ARRIVED),
    (S.PROCESSED, S.ARRIVED),
    # Sealed units alone are not processed; and what was opened without a record was in use all the same.
    (S.CHECKED, S.IN_USE),
    (S.ARRIVED, S.IN_USE),
    # Sealed units alone are not decontaminated.
    (S.IN_USE, S.COUNTED_OUT),
    # A pack of it was dropped, or its date has passed: to be made sterile again.
    (S.PROCESSED, S.CHECKED),
    # For a further case.
    (S.DECONTAMINATED, S.PROCESSED),
    (S.DECONTAMINATED, S.IN_USE),
    # Goes home unused.
    (S.CHECKED, S.COUNTED_OUT),
    (S.PROCESSED, S.COUNTED_OUT),
    # Opened once more after it was counted.
    (S.COUNTED_OUT, S.IN_USE),
)
WAYS: frozenset[tuple[str, str]] = frozenset((str(a), str(b)) for a, b in (*_ON, *_BESIDE))

ENDS = (S.CLOSED, S.CANCELLED)
"""Where nothing follows. A refused loan ends here too, unless something of it stands on the premises."""
EXPECTED = (S.ASKED, S.CONFIRMED)
"""Nothing of it is here yet."""
HERE = (S.ARRIVED, S.CHECKED, S.PROCESSED, S.IN_USE, S.DECONTAMINATED, S.COUNTED_OUT)
"""Something of it stands on the premises."""


def way(before: str, after: str) -> bool:
    """Whether a step leads from one state to the other."""
    return (before, after) in WAYS
