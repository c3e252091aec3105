"""An act on a case is done once; two people who give one reference at the same moment are told so."""

from collections.abc import Callable
from typing import TypeVar
from uuid import UUID

from django.db import IntegrityError
from django.utils.translation import gettext as _

from trays.ledger import once
from trays.ledger.once import Answer, changed_meanwhile
from trays.staff.models import Person
from trays.web.errors import Refusal

__all__ = ["Answer", "act_once"]

T = TypeVar("T")
# The unique constraints that two people at once can meet, as each database names them.
REFERENCE_CLASH = ("case_reference_once", "cases_case.site_id, cases_case.reference")


def act_once(
    *,
    verb: str,
    by: Person,
    client_key: UUID | None,
    work: Callable[[], T],
    replay: Callable[[Answer], T],
) -> T:
    """As `trays.ledger.once.act_once`, with the clash of two references told as such."""
    return once.act_once(
        verb=verb, by=by, client_key=client_key, work=work, replay=replay, clash_said=_refused
    )


def _refused(clash: IntegrityError) -> Refusal:
    if any(name in str(clash) for name in REFERENCE_CLASH):
        return Refusal(
            "duplicate-reference",
            _("Somebody has just booked a case with this reference."),
            _("Look at the list; give another reference if this is a different case."),
            field="reference",
        )
    return changed_meanwhile(clash)
