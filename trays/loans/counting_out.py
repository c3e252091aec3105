"""A loan goes home: counted against what came, sent, and closed when all of it is accounted for."""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.instruments.models import Pack, PackLine, PackState
from trays.ledger.append import Line
from trays.loans.acting import Locked, Who, act_on
from trays.loans.following_on import catch_up
from trays.loans.models import HowBack, Loan, LoanCheckLine, LoanCount, LoanCountLine, LoanGone, LoanSet
from trays.loans.models_charges import ChargeStatus
from trays.loans.moving import loan_step_within, require_status
from trays.loans.queries import AWAY, TO_CLEAN
from trays.loans.ways import LoanStatus
from trays.processing.moving import Step, move
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock import claims
from trays.stock.models import Unit, UnitState
from trays.stock.moving import step_within
from trays.stock.ways import FATES, STOCK
from trays.web.errors import Refusal

S = LoanStatus
MOST_COUNTED = 999

Counted = Mapping[int, Mapping[int, int]]
"""By the id of a loan's set and of a contents line: how many were counted. What is not named agrees."""


def loan_count_out(
    *,
    by: Person,
    loan: Loan,
    counted: Counted | None = None,
    units_seen: Collection[int] = (),
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Count everything of a loan that is to go home; what differs from what came is kept with the count.

    `units_seen` are ids of the loan's units that lie here. Counted again, the newest count stands.

    Raises Refusal "not-decontaminated" (names the pack), "still-away", "count-out-of-range", "no-way-loan",
    "loan-ended"; NotAllowed.
    """
    require(by=by, act="receive_loan", site_id=loan.site_id)
    who = Who(by, at, client_key)

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        lines = catch_up(own, who)
        _check_countable(own, locked.packs)
        differing = [*_contents(own, counted or {}), *_units(own, locked.units, set(units_seen), at)]
        made = LoanCount.objects.create(
            loan=own,
            number=own.counts.count() + 1,
            at=at,
            by=by,
            differences=sum(abs(row.expected - row.counted) for row in differing),
        )
        for row in differing:
            row.count = made
        LoanCountLine.objects.bulk_create(differing)
        if own.status == S.COUNTED_OUT:
            return [*lines, Line("loan", own.pk, S.COUNTED_OUT, S.COUNTED_OUT)]
        return [*lines, loan_step_within(loan=own, after=S.COUNTED_OUT, by=by, at=at)]

    return act_on(loan, who, "loan.count-out", change, things=True)


def loan_return(
    *,
    by: Person,
    loan: Loan,
    told: bool = False,
    carrier_reference: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Send everything of a loan home: its packs leave the round, its units the stock.

    What the newest count did not find is missing from now on; `told` says that the supplier knows of the
    differences. Raises Refusal "differences-not-told", "still-away", "no-way-unit", "no-way-loan",
    "loan-ended"; NotAllowed.
    """
    require(by=by, act="receive_loan", site_id=loan.site_id)
    who = Who(by, at, client_key)

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        lines = catch_up(own, who)
        require_status(own, S.COUNTED_OUT, S.REFUSED, after=S.RETURNED)
        _check_told(own, told)
        _check_home(locked.packs)
        lines += _sets_go(own, locked.packs, who)
        lines += _units_go(own, locked.units, who)
        LoanGone.objects.create(loan=own, at=at, by=by, carrier_reference=carrier_reference)
        return [*lines, loan_step_within(loan=own, after=S.RETURNED, by=by, at=at)]

    return act_on(loan, who, "loan.return", change, things=True)


def loan_close(*, by: Person, loan: Loan, at: datetime, client_key: UUID | None = None) -> Loan:
    """Close a loan that has gone home, when every charge for it is decided.

    Raises Refusal "charges-open", "no-way-loan", "loan-ended"; NotAllowed.
    """
    require(by=by, act="keep_agreements", site_id=loan.site_id)
    who = Who(by, at, client_key)

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        require_status(own, S.RETURNED, after=S.CLOSED)
        if own.charges.filter(status=ChargeStatus.CLAIMED).exists():
            raise Refusal(
                "charges-open",
                _("A charge for loan %(loan)s is not decided.") % {"loan": own.number},
                _("Accept or refuse it first."),
            )
        return [loan_step_within(loan=own, after=S.CLOSED, by=by, at=at)]

    return act_on(loan, who, "loan.close", change)


def _check_countable(loan: Loan, packs: Iterable[Pack]) -> None:
    if loan.status == S.IN_USE and (dirty := _dirty(packs)):
        raise Refusal(
            "not-decontaminated",
            _("Pack %(pack)s has been used and is not clean yet: it is %(state)s.")
            % {"pack": dirty.number, "state": str(dirty.get_state_display()).lower()},
            _("Wash it first; then count the loan out."),
            pack_id=dirty.pk,
        )
    require_status(
        loan, S.CHECKED, S.PROCESSED, S.IN_USE, S.DECONTAMINATED, S.COUNTED_OUT, after=S.COUNTED_OUT
    )
    _check_home(packs)


def _dirty(packs: Iterable[Pack]) -> Pack | None:
    """The pack for which a loan is in use still; None where nothing of it but sealed units was used."""
    still = [pack for pack in packs if pack.state in TO_CLEAN]
    return min(still, key=lambda pack: TO_CLEAN.index(PackState(pack.state)), default=None)


def _check_home(packs: Iterable[Pack]) -> None:
    away = next((pack for pack in packs if pack.state in AWAY), None)
    if away is not None:
        raise Refusal(
            "still-away",
            _("Pack %(pack)s is %(state)s, at %(place)s.")
            % {
                "pack": away.number,
                "state": str(away.get_state_display()).lower(),
                "place": away.place.name,
            },
            _("Bring it back to sterile services first."),
            pack_id=away.pk,
        )


def _contents(loan: Loan, counted: Counted) -> list[LoanCountLine]:
    """What differs in the sets' contents from what was found when they came; their packs hold it now."""
    found = []
    for row in loan.sets.filter(open=True, set__isnull=False).select_related("set"):
        newest = row.checks.order_by("-number").first()
        if newest is None:
            continue
        seen = counted.get(row.pk, {})
        lines = list(LoanCheckLine.objects.filter(check_row=newest).select_related("line"))
        for line in lines:
            count = seen.get(line.line_id, line.found)
            if not 0 <= count <= MOST_COUNTED:
                raise Refusal("count-out-of-range", _("This is no count."), _("Put the number right."))
            if count != line.found:
                found.append(
                    LoanCountLine(loan_set=row, line_id=line.line_id, expected=line.found, counted=count)
                )
        _packs_hold(row, {line.line_id: seen.get(line.line_id, line.found) for line in lines})
    return found


def _packs_hold(row: LoanSet, counts: Mapping[int, int]) -> None:
    held = list(PackLine.objects.filter(pack__set=row.set_id, line_id__in=counts))
    for line in held:
        line.present = counts[line.line_id]
    PackLine.objects.bulk_update(held, ["present"])


def _units(loan: Loan, units: Collection[Unit], seen: set[int], at: datetime) -> list[LoanCountLine]:
    """What differs among its sealed units: neither here nor used, or here although recorded as used."""
    states = {unit.pk: unit.state for unit in units}
    found = []
    for row in loan.units.filter(open=True).order_by("pk"):
        # What went back before, by a return, is home already.
        used, here = states[row.unit_id] in (*FATES, UnitState.RETURNED), row.pk in seen
        row.counted_at = at if here else None
        row.save(update_fields=["counted_at"])
        if used == here:
            found.append(LoanCountLine(loan_unit=row, expected=0 if used else 1, counted=1 if here else 0))
    return found


def _check_told(loan: Loan, told: bool) -> None:
    newest = loan.counts.order_by("-number").first()
    if newest is not None and newest.differences and not told:
        raise Refusal(
            "differences-not-told",
            _("The count differs by %(n)s from what came.") % {"n": newest.differences},
            _("Tell the supplier what differs, say so here, then send it home."),
        )


def _sets_go(loan: Loan, packs: Collection[Pack], who: Who) -> list[Line]:
    lost = [pack for pack in packs if pack.state in (PackState.LOST, PackState.CONDEMNED)]
    going = [pack for pack in packs if pack not in lost]
    there = {pack.set_id for pack in going}
    for row in loan.sets.filter(open=True):
        row.open, row.ended_at = False, who.at
        if row.set_id is not None:
            row.how = HowBack.RETURNED if row.set_id in there else HowBack.MISSING
        row.save(update_fields=["open", "ended_at", "how"])
    if not going:
        return []
    return move(going, PackState.SENT_BACK, Step(by=who.by, at=who.at, reason="loan-returned"))


def _units_go(loan: Loan, units: Collection[Unit], who: Who) -> list[Line]:
    by_id = {unit.pk: unit for unit in units}
    home, missing = [], []
    for row in loan.units.filter(open=True).order_by("pk"):
        unit = by_id[row.unit_id]
        if unit.state in FATES:
            row.how = HowBack.USED
        elif unit.state == UnitState.RETURNED:
            row.how = HowBack.RETURNED
        elif row.counted_at is not None or loan.status == S.REFUSED:
            row.how = HowBack.RETURNED
            home.append(unit)
        else:
            row.how = HowBack.MISSING
            missing.append(unit)
        row.open, row.ended_at = False, who.at
        row.save(update_fields=["open", "how", "ended_at"])
    lines = claims.give_up_within([*home, *missing], who.at)
    lines += step_within(units=home, state=UnitState.RETURNED)
    return lines + step_within(
        units=[unit for unit in missing if unit.state in STOCK], state=UnitState.MISSING
    )
