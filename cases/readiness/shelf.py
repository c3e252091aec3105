"""What stands on the shelf for the planner: units by expiry and hold, sets that are ready or come back.

Items are named "C" and the component's id, "D" and the set design's id; `NOTHING` stands for a need that an
outcome does not have.
"""

from collections.abc import Container, Iterable
from datetime import UTC, date, datetime, time, timedelta
from hashlib import blake2b
from zoneinfo import ZoneInfo

from cases.planning.kinds import NEVER, SetHold, SetStock, Shelf, UnitStock
from cases.readiness.facts import CaseFacts, Snapshot, UnitFacts, comes_back, lacks_critical
from trays.instruments.ready import SetFacts

NOTHING = "N"
_PLENTY = 2**10


def unit_item(component_id: int) -> str:
    return f"C{component_id}"


def set_item(design_id: int) -> str:
    return f"D{design_id}"


def minute(moment: datetime) -> int:
    """Whole minutes since 1970 in UTC."""
    return int(moment.timestamp() // 60)


def moment(minutes: int) -> datetime:
    """The moment of a minute as `minute` counts them."""
    return datetime(1970, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)


def fingerprint(value: object) -> bytes:
    """A short value that stands for a long one, by how it is written out."""
    return blake2b(repr(value).encode(), digest_size=16).digest()


def shelf_for_items(snapshot: Snapshot, wanted: Container[str], last: int) -> Shelf:
    """What is there of these items up to the last minute of the last case."""
    ids = {*snapshot.units, *snapshot.arrivals}
    units = {
        unit_item(component): _stock(
            snapshot.units.get(component, ()), snapshot.arrivals.get(component, ()), snapshot.day
        )
        for component in sorted(ids)
        if unit_item(component) in wanted
    }
    sets = {
        set_item(design): _set_stock(snapshot, design, last)
        for design in snapshot.designs
        if set_item(design) in wanted
    }
    if NOTHING in wanted:
        sets[NOTHING] = SetStock(_PLENTY, 0)
    return Shelf(units, sets)


def _set_stock(snapshot: Snapshot, design: int, last: int) -> SetStock:
    zone = ZoneInfo(snapshot.policy.zone)
    of_design = [one for one in snapshot.sets if one.design_id == design]
    until = {one.pk: _lapses(one.sterile_until, zone) for one in of_design if one.ready_on(snapshot.day)}
    coming = [one for one in of_design if comes_back(one) and not lacks_critical(one)]
    until_held = {**dict.fromkeys((one.pk for one in coming), _lapses(None, zone)), **until}
    holds = []
    for hold in snapshot.set_holds:
        if until_held.get(hold.set_id, 0) > minute(hold.starts_at):
            holds.append(SetHold(minute(hold.starts_at), minute(hold.ends_at), hold.case_id, hold.list_id))
    # A set whose sterility ends is kept from everybody from then on: nobody has said when it is
    # processed.
    holds += [SetHold(end, last + 1) for end in until.values() if end <= last]
    # A case's end is when its sets are there again, so nothing is added to it.
    due = tuple(sorted((*_due(snapshot, coming), *snapshot.sets_due.get(design, ()))))
    return SetStock(len(until), 0, tuple(holds), due)


def _due(snapshot: Snapshot, coming: Iterable[SetFacts]) -> tuple[int, ...]:
    """When each set that is being processed is there; one of which nobody can say when does not count."""
    return tuple(sorted(due for row in coming if (due := snapshot.due(row)) is not None))


def _lapses(until: date | None, zone: ZoneInfo) -> int:
    if until is None:
        return 2**62
    after = datetime.combine(until + timedelta(days=1), time(), zone)
    return minute(after)


def usable(units: Iterable[UnitFacts], facts: CaseFacts) -> list[UnitFacts]:
    """Units that the case may take on its day: free, or held for it or its list."""
    return [
        unit
        for unit in units
        if unit.in_date(facts.day)
        and unit.case_id in (None, facts.id)
        and unit.list_id in (None, facts.list_id)
    ]


def _stock(units: Iterable[UnitFacts], arrivals: Iterable[date], today: date) -> UnitStock:
    free: list[int] = []
    held: dict[int, tuple[int, ...]] = {}
    on_list: dict[int, tuple[int, ...]] = {}
    for unit in units:
        if not unit.in_date(today):
            continue
        until = NEVER if unit.expires is None else unit.expires.toordinal()
        if unit.case_id is not None:
            held[unit.case_id] = (*held.get(unit.case_id, ()), until)
        elif unit.list_id is not None:
            on_list[unit.list_id] = (*on_list.get(unit.list_id, ()), until)
        else:
            free.append(until)
    return UnitStock(tuple(free), held, on_list, tuple(day.toordinal() for day in arrivals))
