"""A snapshot altered as the real act would alter the rows it was read from: nothing is written.

Each function follows its act: `list_reorder` (starts follow, holds of sets move to the new times),
`case_shift` (to the end of the other list; holds of its sets end, its units stay held), `case_withdraw`.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from cases.bookings.models import Case, TheatreList
from cases.bookings.positions import start_behind, starts_after_reorder
from cases.bookings.queries import ListRow
from cases.readiness.facts import SetHoldFacts, Snapshot, UnitFacts
from cases.readiness.shelf import set_item, unit_item
from cases.readiness.tries import Kind, Try
from trays.instruments.models import PackState
from trays.instruments.ready import PackFacts, SetFacts
from trays.web.errors import Refusal

LATER = 60
"""Minutes by which a set is tried to be back later."""
NOT_THERE = -1
"""Id of a unit, set or pack that is only tried; several count down from it."""


@dataclass(frozen=True, slots=True)
class Standing:
    """A case at its place on a list. `open`: still booked, so that it may be moved."""

    pk: int
    reference: str
    position: int
    starts_at: datetime
    minutes: int
    open: bool


@dataclass(frozen=True)
class Plan:
    """A snapshot, and the lists of its horizon with all their standing cases in order."""

    snapshot: Snapshot
    lists: Mapping[int, TheatreList]
    order: Mapping[int, tuple[Standing, ...]]

    def home(self, case_id: int) -> tuple[int, int]:
        """The list that the case stands on, and its place there from 0 on."""
        for list_id, cases in self.order.items():
            for place, one in enumerate(cases):
                if one.pk == case_id:
                    return list_id, place
        raise _refused(_("The case is not on any list of these four weeks."))

    def movable(self, case_id: int) -> tuple[int, int]:
        """The same, for a case that is still to come."""
        list_id, place = self.home(case_id)
        one = self.order[list_id][place]
        if not one.open:
            raise _refused(
                _("Case %(reference)s has begun, so it keeps its place.") % {"reference": one.reference}
            )
        return list_id, place


def plan_of(snapshot: Snapshot, rows: Iterable[ListRow]) -> Plan:
    """The plan as it stands, from the lists of the snapshot's horizon."""
    kept = list(rows)
    return Plan(
        snapshot,
        {row.theatre_list.pk: row.theatre_list for row in kept},
        {
            row.theatre_list.pk: tuple(
                Standing(
                    case.pk,
                    case.reference,
                    case.position,
                    case.starts_at,
                    case.minutes,
                    case.status == Case.Status.BOOKED,
                )
                for case in row.cases
            )
            for row in kept
        },
    )


def tried(plan: Plan, one: Try) -> Plan:
    """The plan after one try.

    Raises
    ------
    Refusal "cannot-be-tried"
        It is impossible as things stand, and why.
    """
    return _WAYS[one.kind](plan, one)


def reordered(plan: Plan, list_id: int, new: Sequence[Standing]) -> Plan:
    """The cases of a list in another order, numbered from 1; starts and holds of sets follow."""
    old = plan.order[list_id]
    for was, will in zip(old, new, strict=True):
        if was.pk != will.pk and not was.open:
            raise _refused(
                _("Case %(reference)s has begun, so it keeps its place.") % {"reference": was.reference}
            )
    starts = starts_after_reorder(old, new)
    placed = tuple(
        replace(one, position=number, starts_at=start)
        for number, (one, start) in enumerate(zip(new, starts, strict=True), start=1)
    )
    return _holds_follow(_placed(plan, list_id, placed), list_id)


def _swapped(plan: Plan, one: Try) -> Plan:
    list_id, place = plan.movable(one.case_id)
    new = list(plan.order[list_id])
    other = place + (1 if one.kind is Kind.DOWN else -1)
    if not 0 <= other < len(new):
        words = (
            _("Case %(reference)s is the last of its list.")
            if other > 0
            else _("Case %(reference)s is the first of its list.")
        )
        raise _refused(words % {"reference": new[place].reference})
    new[place], new[other] = new[other], new[place]
    return reordered(plan, list_id, new)


def _moved(plan: Plan, one: Try) -> Plan:
    list_id, place = plan.movable(one.case_id)
    case = plan.order[list_id][place]
    target = plan.lists.get(one.list_id)
    if target is None:
        raise _refused(_("That list is not one of this site’s next four weeks."))
    if one.list_id == list_id:
        raise _refused(_("Case %(reference)s is on that list already.") % {"reference": case.reference})
    there = plan.order[one.list_id]
    start = start_behind(there[-1] if there else None, target, at=plan.snapshot.at)
    position = max((other.position for other in there), default=0) + 1
    changed = replace(
        plan.snapshot.case(case.pk),
        list_id=one.list_id,
        day=target.day,
        theatre=target.theatre.name,
        position=position,
        starts_at=start,
    )
    without = _taken_off(plan, list_id, place)
    snapshot = replace(
        without.snapshot,
        cases=tuple(changed if other.id == case.pk else other for other in without.snapshot.cases),
        set_holds=tuple(hold for hold in without.snapshot.set_holds if hold.case_id != case.pk),
    )
    order = {**without.order, one.list_id: (*there, replace(case, position=position, starts_at=start))}
    return Plan(snapshot, plan.lists, order)


def _left_out(plan: Plan, one: Try) -> Plan:
    list_id, place = plan.movable(one.case_id)
    without = _taken_off(plan, list_id, place)
    snapshot = without.snapshot
    return replace(
        without,
        snapshot=replace(
            snapshot,
            cases=tuple(other for other in snapshot.cases if other.id != one.case_id),
            set_holds=tuple(hold for hold in snapshot.set_holds if hold.case_id != one.case_id),
            units={
                component: tuple(
                    unit._replace(case_id=None) if unit.case_id == one.case_id else unit for unit in units
                )
                for component, units in snapshot.units.items()
            },
        ),
    )


def _later(plan: Plan, one: Try) -> Plan:
    plan.home(one.case_id)
    before = plan.snapshot.later
    later = {**before, one.case_id: before.get(one.case_id, 0) + LATER}
    return replace(plan, snapshot=replace(plan.snapshot, later=later))


def _more(plan: Plan, one: Try) -> Plan:
    snapshot, number = plan.snapshot, int(one.item[1:])
    if one.item == unit_item(number):
        if number not in snapshot.components:
            raise _no_such_item()
        units = snapshot.units.get(number, ())
        new = UnitFacts(NOT_THERE - len(units), number, None, "owned", None, None)
        return replace(plan, snapshot=replace(snapshot, units={**snapshot.units, number: (*units, new)}))
    design = snapshot.designs.get(number)
    if design is None:
        raise _no_such_item()
    key = NOT_THERE - len(snapshot.sets)
    pack = PackFacts(key, "", 1, PackState.STORED, None, 0, "")
    made = SetFacts(key, "", number, design.name, design.code, 0, snapshot.policy.site_id, "owned", (pack,))
    return replace(plan, snapshot=replace(snapshot, sets=(*snapshot.sets, made)))


def _fewer(plan: Plan, one: Try) -> Plan:
    snapshot, number = plan.snapshot, int(one.item[1:])
    if one.item == unit_item(number):
        if number not in snapshot.components:
            raise _no_such_item()
        free = _free_units(snapshot, number)
        if not free:
            raise _refused(_("No unit of it is free, so there cannot be one fewer."))
        kept = tuple(unit for unit in snapshot.units[number] if unit is not free[0])
        return replace(plan, snapshot=replace(snapshot, units={**snapshot.units, number: kept}))
    if number not in snapshot.designs:
        raise _no_such_item()
    free_sets = _free_sets(snapshot, number)
    if not free_sets:
        raise _refused(_("No such set is ready and free, so there cannot be one fewer."))
    rest = tuple(row for row in snapshot.sets if row is not free_sets[0])
    return replace(plan, snapshot=replace(snapshot, sets=rest))


_WAYS: dict[Kind, Callable[[Plan, Try], Plan]] = {
    Kind.UP: _swapped,
    Kind.DOWN: _swapped,
    Kind.OUT: _left_out,
    Kind.LATER: _later,
    Kind.MOVE: _moved,
    Kind.MORE: _more,
    Kind.FEWER: _fewer,
}


def free_of(snapshot: Snapshot, item: str) -> int:
    """Units in date, or sets that are ready, of an item that are not held for anybody."""
    number = int(item[1:])
    return len(_free_sets(snapshot, number) if item == set_item(number) else _free_units(snapshot, number))


def _free_units(snapshot: Snapshot, component: int) -> list[UnitFacts]:
    return [
        unit
        for unit in snapshot.units.get(component, ())
        if unit.case_id is None and unit.list_id is None and unit.in_date(snapshot.day)
    ]


def _free_sets(snapshot: Snapshot, design: int) -> list[SetFacts]:
    held = {hold.set_id for hold in snapshot.set_holds}
    return [
        row
        for row in snapshot.sets
        if row.design_id == design and row.pk not in held and row.ready_on(snapshot.day)
    ]


def _taken_off(plan: Plan, list_id: int, place: int) -> Plan:
    """The list without a case; those after it move one up and keep their starts."""
    case = plan.order[list_id][place]
    rest = tuple(
        replace(one, position=one.position - (one.position > case.position))
        for one in plan.order[list_id]
        if one.pk != case.pk
    )
    return _placed(plan, list_id, rest)


def _placed(plan: Plan, list_id: int, cases: tuple[Standing, ...]) -> Plan:
    """The cases of a list with the positions and starts that these have."""
    at = {one.pk: one for one in cases}
    changed = tuple(
        replace(facts, position=at[facts.id].position, starts_at=at[facts.id].starts_at)
        if facts.id in at
        else facts
        for facts in plan.snapshot.cases
    )
    return Plan(replace(plan.snapshot, cases=changed), plan.lists, {**plan.order, list_id: cases})


def _holds_follow(plan: Plan, list_id: int) -> Plan:
    """Holds of sets for the list and its cases, moved to the times that these have now.

    All that no longer fit end first, then each is placed anew in the order of the cases, the list's own
    last; where a hold for somebody else is in the way, the set is held no more.
    """
    back = timedelta(minutes=plan.snapshot.policy.turnaround)
    cases = plan.order[list_id]
    spans = {one.pk: (one.starts_at, one.starts_at + timedelta(minutes=one.minutes) + back) for one in cases}
    whole = (min(s for s, _e in spans.values()), max(e for _s, e in spans.values())) if spans else None
    place = {one.pk: number for number, one in enumerate(cases)}

    def wanted(hold: SetHoldFacts) -> tuple[datetime, datetime] | None:
        if hold.case_id is not None:
            return spans.get(hold.case_id)
        return whole if hold.list_id == list_id else None

    kept: list[SetHoldFacts] = []
    stale: list[tuple[int, SetHoldFacts]] = []
    for hold in plan.snapshot.set_holds:
        times = wanted(hold)
        if times is None or times == (hold.starts_at, hold.ends_at):
            kept.append(hold)
        else:
            new = replace(hold, starts_at=times[0], ends_at=times[1])
            stale.append((place.get(hold.case_id or 0, len(place)), new))
    for _number, new in sorted(stale, key=lambda pair: pair[0]):
        kept = _placed_anew(kept, new, list_id)
    kept.sort(key=lambda hold: hold.starts_at)
    return replace(plan, snapshot=replace(plan.snapshot, set_holds=tuple(kept)))


def _placed_anew(kept: list[SetHoldFacts], new: SetHoldFacts, list_id: int) -> list[SetHoldFacts]:
    ended: list[SetHoldFacts] = []
    for other in kept:
        if other.set_id != new.set_id or other.starts_at >= new.ends_at or other.ends_at <= new.starts_at:
            continue
        own = (other.case_id, other.list_id) == (new.case_id, new.list_id)
        ours = own or (new.case_id is not None and other.list_id == list_id)
        if ours and other.starts_at <= new.starts_at and new.ends_at <= other.ends_at:
            return [one for one in kept if one not in ended]
        if not own:
            return [one for one in kept if one not in ended]
        ended.append(other)
    return [*(one for one in kept if one not in ended), new]


def _refused(sentence: str) -> Refusal:
    return Refusal("cannot-be-tried", sentence, _("Take this try away, or press another button."))


def _no_such_item() -> Refusal:
    return _refused(_("No case of these four weeks may use that."))
