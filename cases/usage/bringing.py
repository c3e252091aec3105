"""Bringing sealed things to the table, and opening them. What has happened is taken down whatever speaks
against it; then with a name and a reason, and marked.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case, CaseSlot, Construct
from cases.reservations import locking
from cases.usage.kinds import Override, Scanned
from cases.usage.marking import in_theatre, right_marked
from cases.usage.models import Brought
from cases.usage.taking import locked_check, refuse, taken
from cases.usage.within import locked_brought, open_within
from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.ledger.once import Answer, act_once
from trays.parties.models import Party
from trays.refusals.services import Where, scan_refuse
from trays.staff.models import Person
from trays.web.errors import NotAllowed, Refusal


def unit_bring_in(
    *,
    by: Person,
    case: Case,
    scanned: Scanned,
    at: datetime,
    construct: Construct | None = None,
    override: Override | None = None,
    opened: bool = True,
    another: bool = False,
    happened_at: datetime | None = None,
    where: Where | None = None,
    client_key: UUID | None = None,
) -> Brought:
    """Take down that a unit of the stock was brought to the table, opened or still sealed.

    Raises Refusal with the code of what speaks against it; its facts say "overridable" and all "codes". Given
    an override it is taken. "which-construct" asks for one (facts "constructs"), "another-one" for `another`,
    "why-typed" for a reason; "brought-already" is the same box again; "unit-not-on-file", "lot-not-read" and
    "unknown-item" are for `box_take_down`; "to-come" is a time that has not come. With `where` a refused scan
    is kept here; else whoever calls keeps it. NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    _check_read(scanned)

    def work() -> Brought:
        check = locked_check(case, scanned, at, construct)
        refuse(check, override, another=another)
        return taken(
            by, check, case, at, override=override, opened=opened, happened_at=happened_at,
            own_role=own_role, client_key=client_key, verb="unit.bring-in",
        )  # fmt: skip

    try:
        return _once("unit.bring-in", by, client_key, work)
    except Refusal as refusal:
        if where is not None and not isinstance(refusal, NotAllowed):
            scan_refuse(
                raw=scanned.raw, code=refusal.code, sentence=refusal.sentence, by=by, where=where, at=at
            )
        raise


def box_take_down(
    *,
    by: Person,
    case: Case,
    scanned: Scanned,
    at: datetime,
    construct: Construct | None = None,
    component: Component | None = None,
    owner: Party | None = None,
    override: Override | None = None,
    opened: bool = True,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Brought:
    """Take down a box that was not on stock: received and used in one step; or one whose code nobody knows.

    Of a known component (found by its code, or named) a unit is made; without an owner it is taken for the
    supplier's, and marked. Of an unknown code what was read and `scanned.described` are kept. Raises Refusal
    "say-what-it-is" for an unknown code without a word, "on-stock-after-all" (bring it in), and those of
    `unit_bring_in` about date, side and fit; NotAllowed "not-your-act".
    """
    own_role = in_theatre(by=by, site_id=case.site_id)
    _check_read(scanned)

    def work() -> Brought:
        check = locked_check(case, scanned, at, construct, component)
        if check.component is None and not scanned.described.strip():
            raise Refusal(
                "say-what-it-is",
                _("The code is not on file, so the record would not say what this is."),
                _("Write what stands on the label: maker, name and size."),
                field="described",
            )
        if (check.unit or check.pile) and not any(one.code == "seen-before" for one in check.stops):
            raise Refusal(
                "on-stock-after-all",
                _("This box is on stock: %(item)s.") % {"item": check.name},
                _("Bring it in by a scan."),
            )
        refuse(check, override, another=True, past=("unit-not-on-file", "unknown-item", "lot-not-read"))
        return taken(
            by, check, case, at, override=override, opened=opened, happened_at=happened_at,
            own_role=own_role, client_key=client_key, verb="box.take-down", owner=owner,
        )  # fmt: skip

    return _once("box.take-down", by, client_key, work)


def unit_open(
    *, by: Person, brought: Brought, at: datetime, happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Brought:  # fmt: skip
    """Take down that something brought in sealed was opened now.

    Raises Refusal "opened-already", "fate-known"; NotAllowed.
    """
    case = brought.case
    own_role = in_theatre(by=by, site_id=case.site_id)

    def work() -> Brought:
        locking.lock(cases=[case.pk])
        row = locked_brought(brought)
        if row.opened_at is not None or row.fate:
            raise Refusal(
                "opened-already" if row.opened_at else "fate-known",
                _("Of this it is known already what became of it."),
                _("Load the page again."),
            )
        lines = open_within(row, by=by, at=at, happened_at=happened_at)
        row.save(update_fields=["opened_at", "opened_by"])
        lines += right_marked(own_role=own_role, case=case, by=by, at=at, brought=row)
        record(
            chain=case.site.code, verb="unit.open", by=by, at=at, happened_at=happened_at,
            place_id=case.list.theatre_id, client_key=client_key, answer={"brought": row.pk},
            lines=[Line("brought", row.pk, "sealed", "opened"), *lines],
        )  # fmt: skip
        return row

    return _once("unit.open", by, client_key, work)


def brought_place(
    *,
    by: Person,
    brought: Brought,
    construct: Construct,
    slot: CaseSlot | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> Brought:
    """Say to which construct something belongs, where that was not clear when it was brought in; once.

    Raises Refusal "placed-already", "another-case"; NotAllowed.
    """
    case = brought.case
    own_role = in_theatre(by=by, site_id=case.site_id)

    def work() -> Brought:
        locking.lock(cases=[case.pk])
        row = locked_brought(brought)
        if row.construct_id is not None and (row.construct_id != construct.pk or row.slot_id is not None):
            raise Refusal(
                "placed-already",
                _("It stands on file for one construct already."),
                _("Correct its fate instead; the new entry may name another construct."),
            )
        if construct.case_id != case.pk or (slot is not None and slot.construct_id != construct.pk):
            raise Refusal("another-case", _("This is not of the same case."), _("Load the page again."))
        row.construct, row.slot = construct, slot
        row.save(update_fields=["construct", "slot"])
        lines = [Line("brought", row.pk, "", f"construct {construct.number}")]
        lines += right_marked(own_role=own_role, case=case, by=by, at=at, brought=row)
        record(
            chain=case.site.code, verb="brought.place", by=by, at=at, client_key=client_key,
            answer={"brought": row.pk}, lines=lines,
        )  # fmt: skip
        return row

    return _once("brought.place", by, client_key, work)


def _check_read(scanned: Scanned) -> None:
    """What was not read off a carrier was typed, and that has its reason in writing."""
    if not scanned.raw and not scanned.typed:
        raise Refusal(
            "why-typed",
            _("It was typed and not scanned; no reason is given."),
            _("Scan the label; or write why it cannot be scanned."),
            field="typed_reason",
        )


def _once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Brought]) -> Brought:
    def replay(answer: Answer) -> Brought:
        return Brought.objects.select_related("case__site", "component__family").get(pk=answer["brought"])

    return act_once(verb=verb, by=by, client_key=client_key, work=work, replay=replay)
