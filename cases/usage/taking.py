"""One thing brought in, within its act: asked again under the locks, refused or taken, moved and marked."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from cases.bookings.models import Case, Construct
from cases.reservations import locking
from cases.reservations.hold import end_holds_within, held_lines, place_holds
from cases.reservations.models import Hold
from cases.reservations.queries import kept_for, open_holds, operation_day
from cases.usage.checking import ASKED, PAIR_CODES, side_words, unit_check
from cases.usage.kinds import Check, Override, Remark, Scanned
from cases.usage.marking import mark_within, right_marked
from cases.usage.models import Brought, Fits, MarkKind, Source
from cases.usage.models_record import SurgeonDecision
from cases.usage.queries import next_number
from cases.usage.which_unit import alike
from cases.usage.within import is_late, moment, open_within
from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.parties.models import Party, PartyKind, Tenure
from trays.staff.models import Person
from trays.stock import notices_open
from trays.stock.models import Unit
from trays.stock.models_notices import NoticeUnit
from trays.stock.moving import lock_units, piles_take_within, step_within
from trays.stock.queries import in_date
from trays.web.errors import Refusal

_MARK_OF = {
    "out-of-date": MarkKind.OUT_OF_DATE,
    "in-quarantine": MarkKind.NOT_RELEASED,
    "not-on-shelf": MarkKind.NOT_RELEASED,
    "elsewhere": MarkKind.NOT_RELEASED,
    "recalled": MarkKind.RECALLED,
    "wrong-side": MarkKind.WRONG_SIDE,
    "material": MarkKind.MATERIAL,
    "another-lot": MarkKind.ANOTHER_LOT,
    "seen-before": MarkKind.SEEN_BEFORE,
    "no-lot": MarkKind.NO_LOT,
    "typed": MarkKind.TYPED,
    **{code: MarkKind.NO_FIT for code in PAIR_CODES.values()},
}


def locked_check(
    case: Case,
    scanned: Scanned,
    at: datetime,
    construct: Construct | None,
    component: Component | None = None,
) -> Check:
    """Ask before the locks what rows they must be of, then ask again under them: the second answer stands."""
    first = unit_check(case=case, scanned=scanned, at=at, construct=construct, component=component)
    locking.lock(cases=[case.pk, *_other_cases(first, case)])
    if first.component is not None:
        lock_units(_units_touched(case, first, scanned))
    return unit_check(case=case, scanned=scanned, at=at, construct=construct, component=component)


def _other_cases(check: Check, case: Case) -> list[int]:
    if check.source != Source.OTHER_CASE or check.unit is None:
        return []
    hold = open_holds([check.unit.pk]).get(check.unit.pk)
    return [hold.case_id] if hold is not None and hold.case_id else []


def _units_touched(case: Case, check: Check, scanned: Scanned) -> set[int]:
    """All that look alike to the scanner; and what another case could have instead."""
    if check.component is None:
        return set()
    keys = {unit.pk for unit in alike(case, check.component, scanned)}
    if check.source == Source.OTHER_CASE:
        keys |= set(_instead(case, check.component).values_list("pk", flat=True))
    return keys


def _instead(case: Case, component: Component) -> QuerySet[Unit]:
    return Unit.objects.filter(component=component, site_id=case.site_id, state=Unit.State.SHELF)


def refuse(check: Check, override: Override | None, *, another: bool, past: Sequence[str] = ()) -> None:
    stops = [
        one for one in check.stops if one.code not in past and not (another and one.code == "another-one")
    ]
    asked = [one for one in stops if one.code in ASKED]
    if asked:
        raise _refusal(asked[0], stops, overridable=False)
    if check.ask:
        raise Refusal(
            "which-construct",
            _("It fits either construct of this case."),
            _("Say for which it is: %(sides)s.")
            % {"sides": _(" or ").join(side_words(one) for one in check.ask)},
            constructs=[one.pk for one in check.ask],
        )
    if stops and (override is None or not override.reason.strip() or not override.name.strip()):
        raise _refusal(stops[0], stops, overridable=True)


def _refusal(first: Remark, stops: Sequence[Remark], *, overridable: bool) -> Refusal:
    return Refusal(
        first.code, first.sentence, first.next_step,
        codes=[one.code for one in stops], sentences=[one.sentence for one in stops], overridable=overridable,
    )  # fmt: skip


def taken(
    by: Person,
    check: Check,
    case: Case,
    at: datetime,
    *,
    override: Override | None,
    opened: bool,
    happened_at: datetime | None,
    own_role: bool,
    client_key: UUID | None,
    verb: str,
    owner: Party | None = None,
) -> Brought:
    stops = [one for one in check.stops if one.code not in ASKED]
    lines: list[Line] = []
    unit = check.unit
    if unit is not None:
        (unit,) = lock_units([unit.pk])
    elif check.component is not None and _makes_a_unit(check):
        unit, received = _received(check, check.component, case, owner, by, at)
        lines += received
    row = _row(by, check, case, at, unit=unit, override=override if stops else None, happened_at=happened_at)
    row.overridden = [one.code for one in stops]
    taken_from = ""
    if check.source == Source.OTHER_CASE and unit is not None:
        ended, taken_from = _take_from_another(case, unit, by=by, at=at)
        lines += ended
    lines += _moved(row, opened=opened, by=by, at=at, happened_at=happened_at)
    row.save(force_insert=True)
    lines.insert(0, Line("brought", row.pk, "", row.source))
    if override is not None and stops:
        lines += _decided(row, check, override, by, at)
    lines += _marks(row, check, by=by, at=at, taken_from=taken_from, owner=owner)
    lines += right_marked(own_role=own_role, case=case, by=by, at=at, brought=row)
    record(
        chain=case.site.code, verb=verb, by=by, at=at, happened_at=happened_at,
        place_id=case.list.theatre_id, reason="overridden" if stops else "", client_key=client_key,
        answer={"brought": row.pk}, lines=lines,
    )  # fmt: skip
    return row


def _makes_a_unit(check: Check) -> bool:
    """A known component with a lot or serial, that stands in no other record."""
    seen = any(one.code == "seen-before" for one in check.stops)
    label = check.scanned
    return check.pile is None and not seen and bool(label.lot or label.serial)


def _received(
    check: Check, component: Component, case: Case, owner: Party | None, by: Person, at: datetime
) -> tuple[Unit, list[Line]]:
    """The box comes into stock in the theatre, to leave it in the same act. Nobody named: the supplier's.

    Where an open safety notice names its lot, the notice has one unit more to account for.
    """
    whose = owner or component.supplier
    tenure = Tenure.OWNED if whose.kind == PartyKind.HOSPITAL else Tenure.CONSIGNED
    label = check.scanned
    unit = Unit.objects.create(
        component=component, lot=label.lot, serial=label.serial, expires=label.expires, owner=whose,
        tenure=tenure, site=case.site, place=case.list.theatre, state=Unit.State.SHELF, received_at=at,
    )  # fmt: skip
    lines = [Line("unit", unit.pk, "", unit.state, 1)]
    for notice in notices_open.naming(component_id=component.pk, lot=unit.lot):
        made = NoticeUnit.objects.create(notice=notice, unit=unit, state_then=unit.state, site_then=case.site)
        lines.append(Line("notice_unit", made.pk, "", made.outcome))
    return unit, lines


def _row(
    by: Person,
    check: Check,
    case: Case,
    at: datetime,
    *,
    unit: Unit | None,
    override: Override | None,
    happened_at: datetime | None,
) -> Brought:
    label, thing = check.scanned, unit or check.pile
    return Brought(
        case=case, number=next_number(case), construct=check.construct, slot=check.slot, unit=unit,
        pile=check.pile if unit is None else None, component=check.component, raw=label.raw,
        agency=label.agency, di=label.device, pis=[list(pair) for pair in label.pis],
        lot=label.lot or (thing.lot if thing is not None else ""),
        serial=label.serial or (unit.serial if unit is not None else ""),
        expires=label.expires or (thing.expires if thing is not None else None), made_on=label.made_on,
        typed_reason=label.typed_reason[:200], described=label.described.strip()[:160], source=check.source,
        owner=thing.owner if thing is not None else None, tenure=thing.tenure if thing is not None else "",
        fits=check.fits, override_reason=override.reason.strip()[:200] if override else "",
        override_name=override.name.strip()[:120] if override else "", brought_at=moment(happened_at, at),
        recorded_at=at, by=by,
    )  # fmt: skip


def _moved(
    row: Brought, *, opened: bool, by: Person, at: datetime, happened_at: datetime | None
) -> list[Line]:
    """Stock moves: opened, it has left; still sealed, it is kept out of others' hands."""
    lines = [piles_take_within(pile=row.pile, pieces=1, after="table")] if row.pile is not None else []
    if opened:
        return lines + open_within(row, by=by, at=at, happened_at=happened_at)
    if row.unit is not None and row.unit.state == Unit.State.SHELF:
        lines += step_within(units=[row.unit], state=Unit.State.PICKED)
    return lines


def _take_from_another(case: Case, unit: Unit, *, by: Person, at: datetime) -> tuple[list[Line], str]:
    """The other case's hold ends; it gets another unit of the same kind where one is free. What was done, in
    words.
    """
    hold = open_holds([unit.pk]).get(unit.pk)
    if hold is None or kept_for(hold, case):
        return [], ""
    lines = end_holds_within(units=[unit], reason="taken", at=at)
    keeper = hold.case or hold.list
    whom = hold.case.reference if hold.case is not None else str(hold.list)
    substitute = _substitute(hold, unit, case)
    if substitute is None or keeper is None:
        return lines, _("Taken from %(case)s; nothing of the same kind is free for it: plan it anew.") % {
            "case": whom
        }
    made = place_holds(units={substitute.pk: substitute}, keeper=keeper, by=by, at=at)
    words = _("Taken from %(case)s; lot %(lot)s is held for it instead.") % {
        "case": whom,
        "lot": substitute.lot or substitute.serial,
    }
    return [*lines, *held_lines(made)], words


def _substitute(hold: Hold, unit: Unit, case: Case) -> Unit | None:
    """The first to expire of those free that are in date on the other case's day."""
    keeper = hold.case or hold.list
    open_still = hold.case is None or hold.case.status in ("booked", "opened")
    if keeper is None or not open_still:
        return None
    rows = _instead(case, unit.component).filter(in_date(operation_day(keeper))).exclude(pk=unit.pk)
    held = open_holds(rows.values_list("pk", flat=True))
    free = [row for row in rows.order_by("expires", "pk") if row.pk not in held]
    return free[0] if free else None


def _decided(row: Brought, check: Check, override: Override, by: Person, at: datetime) -> list[Line]:
    """Where the fit rules spoke against it, the override is the surgeon's decision."""
    against = [
        pair for pair in check.pairs if pair.fits != Fits.ALLOWED and 0 in (pair.a_brought, pair.b_brought)
    ]
    if not against:
        return []
    made = SurgeonDecision.objects.create(
        case=row.case, construct=row.construct, brought=row, over=check.fits,
        about=[pair.sentence for pair in against], surgeon=override.surgeon,
        surgeon_name=override.name.strip()[:120], reason=override.reason.strip()[:200], at=row.brought_at,
        recorded_at=at, by=by,
    )  # fmt: skip
    return [Line("surgeon_decision", made.pk, "", made.over)]


def _marks(
    row: Brought, check: Check, *, by: Person, at: datetime, taken_from: str, owner: Party | None
) -> list[Line]:
    kinds: dict[str, str] = {}
    for one in check.remarks:
        kind = _MARK_OF.get(one.code)
        if kind is not None and (one.code in row.overridden or one.code in ("no-lot", "typed")):
            kinds.setdefault(kind, one.sentence)
    if row.source == Source.OTHER_CASE:
        kinds[MarkKind.OTHER_CASE] = taken_from
    if row.source == Source.UNKNOWN_CODE:
        kinds[MarkKind.UNKNOWN_CODE] = row.described or row.di
    if row.source == Source.UNBOOKED:
        kinds[MarkKind.UNBOOKED] = check.name
        if owner is None:
            kinds[MarkKind.OWNER_NOT_KNOWN] = row.owner.name if row.owner is not None else ""
    if row.typed_reason:
        kinds[MarkKind.TYPED] = row.typed_reason
    if is_late(row.case, row.brought_at, at):
        kinds[MarkKind.LATE] = ""
    return [
        mark_within(case=row.case, kind=kind, by=by, at=at, brought=row, words=words)
        for kind, words in kinds.items()
    ]
