"""A scan on the page Implants: the box is checked before it is opened; scanned again, it is opened."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.http import HttpRequest
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.usage.bringing import unit_bring_in
from cases.usage.checking import unit_check
from cases.usage.in_hand import Box, InHand
from cases.usage.kinds import Check, Scanned
from cases.usage.queries import piece_name
from trays.staff.models import Person

TWICE = timedelta(seconds=3)
"""A second scan sooner than this is the first one read twice, not a box that was opened meanwhile."""


@dataclass(frozen=True, slots=True)
class Said:
    """The answer to the scan of a box. `code` is why it is refused; "" where nothing speaks against it."""

    what: str
    why: str = ""
    next_step: str = ""
    code: str = ""


def box_scan(
    *, request: HttpRequest, case: Case, scanned: Scanned, by: Person, at: datetime, client_key: UUID | None
) -> Said:
    """Check the box and take it in hand; the box in hand scanned once more is opened.

    Raises Refusal as `bringing.unit_bring_in` does.
    """
    hand = InHand(request, case)
    before = hand.box
    if before is None or before.same_as != Box(scanned, at).same_as:
        hand.take(scanned, at)
        return said_of(unit_check(case=case, scanned=scanned, at=at), another=False)
    if at - before.at < TWICE:
        return Said(
            _("The same box was read twice."),
            next_step=_("When it is opened, scan it once more or press Opened."),
            code="scanned-twice",
        )
    construct = hand.construct(before)
    check = unit_check(case=case, scanned=before.scanned, at=at, construct=construct)
    if check.ask or stops(check, another=before.another):
        return said_of(check, another=before.another)
    row = unit_bring_in(
        by=by, case=case, scanned=before.scanned, construct=construct, another=before.another, at=at,
        client_key=client_key,
    )  # fmt: skip
    hand.drop()
    done = _("Opened: %(what)s.") % {"what": piece_name(row)}
    return Said(done, next_step=_("Say how it ended when that is known."))


def stops(check: Check, *, another: bool) -> tuple[str, ...]:
    """Codes of what speaks against opening it, once it is said that it is another one of its lot."""
    return tuple(one.code for one in check.stops if not (another and one.code == "another-one"))


def said_of(check: Check, *, another: bool) -> Said:
    """The check in one answer: what it is, the first thing that speaks against it, what to do."""
    against = [one for one in check.stops if one.code in stops(check, another=another)]
    if against:
        first = against[0]
        return Said(check.name, first.sentence, first.next_step, first.code)
    if check.ask:
        return Said(check.name, _("It fits more than one side."), _("Choose the side it is for."))
    notes = " ".join(one.sentence for one in check.remarks)
    step = _("Look at date, side and seal. Opened? Scan it once more, or press Opened.")
    return Said(check.name, notes, step)
