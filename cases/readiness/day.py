"""The sets of a site over one day: who waits for one, how many would do, when each must leave theatre."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from cases.bookings.queries import ListRow, lists_between
from cases.planning.alternatives import PhysicalSet, Use, assign
from cases.planning.parts import Unions
from cases.planning.turnaround import AT_ONCE, Round, over_a_day
from cases.readiness.day_uses import SetUse, Span, uses_of
from cases.readiness.facts import CaseFacts, DesignFacts, Policy, Snapshot, comes_back, lacks_critical
from cases.readiness.shelf import minute, moment
from cases.readiness.snapshot import take
from trays.parties.models import Site
from trays.parties.queries import site_day


@dataclass(frozen=True, slots=True)
class DaySet:
    """A physical set that is there on the day; from minute `ready` on (`AT_ONCE`: all day)."""

    code: str
    design_id: int
    ready: int


@dataclass(frozen=True, slots=True)
class UseLine:
    """One use on the page.

    `back`: when its set would be ready again. `latest`: latest moment at which the set may leave theatre;
    None with `judged`: no limit. `code`: the set chosen, where cases choose between kinds. `waits`: it
    finds no set.
    """

    use: SetUse
    starts: datetime
    ends: datetime
    back: datetime
    latest: datetime | None
    judged: bool
    code: str
    waits: bool

    @property
    def spare(self) -> int:
        """Minutes between the estimated end and the latest moment."""
        return int((self.latest - self.ends).total_seconds() // 60) if self.latest else 0


@dataclass(frozen=True, slots=True)
class Waiting:
    """The first case that finds no set. `until` None: none comes. `after`: the case whose set that is."""

    line: UseLine
    until: datetime | None
    after: CaseFacts | None


@dataclass(frozen=True, slots=True)
class KindBoard:
    """One kind of set, or several between which cases choose, over the day.

    `needed` is the fewest sets that would do, None where cases do not all choose alike; `proven` is whether
    no choice leaves fewer without.
    """

    designs: tuple[DesignFacts, ...]
    sets: tuple[DaySet, ...]
    away: tuple[str, ...]
    lines: tuple[UseLine, ...]
    needed: int | None
    waiting: Waiting | None
    proven: bool

    @property
    def name(self) -> str:
        return " / ".join(design.name for design in self.designs)

    @property
    def tight(self) -> bool:
        """Whether some set must be back during the day, or is chosen among kinds."""
        return self.waiting is not None or any(line.latest or line.code for line in self.lines)


@dataclass(frozen=True, slots=True)
class DayBoard:
    """All that the page shows of a site's day, but for new orders of its lists."""

    day: date
    at: datetime
    policy: Policy
    way: Round
    learnt: bool
    lists: tuple[ListRow, ...]
    uses: tuple[SetUse, ...]
    sets: tuple[DaySet, ...]
    kinds: tuple[KindBoard, ...]
    faults: tuple[tuple[CaseFacts, str], ...]

    @property
    def waiting(self) -> tuple[KindBoard, ...]:
        return tuple(kind for kind in self.kinds if kind.waiting is not None)


def way_of(snapshot: Snapshot, ends: Iterable[int], midnight: int) -> Round:
    """The way between two uses of a set, as one figure for the day.

    What nine in ten take, by the department's own record, hours and runs: the longest of those that are there
    again before the day is over; if none is, the shortest. Without a department on file the site's figure.
    """
    ways = [(snapshot.back(end), snapshot.back(end) - end) for end in ends]
    same_day = [way for back, way in ways if back < midnight]
    if same_day:
        return Round(decon=max(same_day))
    return Round(decon=min((way for _back, way in ways), default=snapshot.policy.turnaround))


def day_board(*, site: Site, day: date, at: datetime) -> DayBoard:
    """The sets of one day of a site, today or later (a fixed number of queries).

    Cases whose sets are not back by midnight come from the days before. Sets of one kind count as alike,
    whoever they are held for.
    """
    today = site_day(site, at)
    snapshot = take(site=site, at=at, days=(day - today).days + 1)
    rows = lists_between(site.pk, day, day)
    spans = _spans(snapshot, rows, day)
    midnight = minute(datetime.combine(day, time(), ZoneInfo(site.zone)))
    next_day = minute(datetime.combine(day + timedelta(days=1), time(), ZoneInfo(site.zone)))
    way = way_of(snapshot, (spans[facts.id][1] for facts in snapshot.cases if facts.day == day), next_day)
    wanted = [
        facts for facts in snapshot.cases if facts.day == day or spans[facts.id][1] + way.shortest > midnight
    ]
    found = uses_of(snapshot, wanted, spans)
    earlier = [use for use in found.uses if use.case.day < day]
    uses = tuple(use for use in found.uses if use.case.day == day)
    sets = _carried(_sets(snapshot, day, {d for use in found.uses for d in use.designs}), earlier, way)
    kinds = [_kind(snapshot, day, group, uses, sets, way) for group in _groups(uses)]
    kinds.sort(key=lambda kind: (kind.waiting is None, not kind.tight, kind.name))
    faults = tuple(fault for fault in found.faults if fault[0].day == day)
    learnt = snapshot.way is not None
    return DayBoard(day, at, snapshot.policy, way, learnt, rows, uses, sets, tuple(kinds), faults)


def _spans(snapshot: Snapshot, rows: Iterable[ListRow], day: date) -> dict[int, Span]:
    """From when to when each case is in theatre. A start before that of the case ahead is lifted to it."""
    spans = {facts.id: _span(facts.starts_at, facts.minutes) for facts in snapshot.cases if facts.day != day}
    for row in rows:
        before = AT_ONCE
        for case in row.cases:
            start, end = _span(case.starts_at, case.minutes)
            before = max(before, start)
            spans[case.pk] = (before, end - start + before)
    return spans


def _span(starts: datetime, minutes: int) -> Span:
    return minute(starts), minute(starts) + minutes


def _sets(snapshot: Snapshot, day: date, designs: set[int]) -> tuple[DaySet, ...]:
    """Sets that are ready on the day, or come back from their round until then."""
    found = []
    for row in snapshot.sets:
        if row.design_id not in designs:
            continue
        if row.ready_on(day):
            found.append(DaySet(row.code, row.design_id, AT_ONCE))
        elif comes_back(row) and not lacks_critical(row) and (back := snapshot.due(row)) is not None:
            found.append(DaySet(row.code, row.design_id, back))
    return tuple(found)


def _carried(sets: Sequence[DaySet], earlier: Iterable[SetUse], way: Round) -> tuple[DaySet, ...]:
    """The sets after the cases of the days before: each takes the first that is there, of its first kind."""
    there = list(sets)
    for use in earlier:
        for design in use.designs:
            own = [n for n, one in enumerate(there) if one.design_id == design and one.ready <= use.start]
            if own:
                taken = min(own, key=lambda n: there[n].ready)
                there[taken] = replace(there[taken], ready=use.end + way.shortest)
                break
    return tuple(there)


def _groups(uses: Iterable[SetUse]) -> list[tuple[int, ...]]:
    """Designs that some case may choose between stand together."""
    unions = Unions()
    designs: dict[int, None] = {}
    for use in uses:
        unions.join(use.designs)
        designs |= dict.fromkeys(use.designs)
    groups: dict[object, list[int]] = {}
    for design in designs:
        groups.setdefault(unions.find(design), []).append(design)
    return [tuple(group) for group in groups.values()]


def _kind(
    snapshot: Snapshot,
    day: date,
    group: tuple[int, ...],
    uses: Iterable[SetUse],
    sets: Iterable[DaySet],
    way: Round,
) -> KindBoard:
    own_uses = [use for use in uses if use.designs[0] in group]
    own_sets = tuple(one for one in sets if one.design_id in group)
    codes = {one.code for one in own_sets}
    away = tuple(
        why
        for row in snapshot.sets
        if row.design_id in group and row.code not in codes
        for why in row.why_not(day)[:1]
    )
    designs = tuple(snapshot.designs[design] for design in group)
    judge = _alike if all(set(use.designs) == set(group) for use in own_uses) else _choosing
    lines, needed, waiting, proven = judge(own_uses, own_sets, way)
    return KindBoard(designs, own_sets, away, lines, needed, waiting, proven)


Judged = tuple[tuple[UseLine, ...], int | None, Waiting | None, bool]


def _line(
    use: SetUse, way: Round, *, latest: int | None, judged: bool, code: str = "", waits: bool = False
) -> UseLine:
    return UseLine(
        use=use,
        starts=moment(use.start),
        ends=moment(use.end),
        back=moment(use.end + way.shortest),
        latest=moment(latest) if latest is not None else None,
        judged=judged,
        code=code,
        waits=waits,
    )


def _alike(uses: Sequence[SetUse], sets: Sequence[DaySet], way: Round) -> Judged:
    """Any set of the kind will do for any of the cases."""
    found = over_a_day([(use.start, use.end) for use in uses], [one.ready for one in sets], way)
    latest = found.latest_leave or (None,) * len(uses)
    first = found.wait.case if found.wait else None
    lines = tuple(
        _line(use, way, latest=leave, judged=found.feasible, waits=number == first)
        for number, (use, leave) in enumerate(zip(uses, latest, strict=True))
    )
    waiting = None
    if found.wait is not None:
        until, after = found.wait.until, found.wait.after
        waiting = Waiting(
            lines[found.wait.case],
            moment(until) if until is not None else None,
            uses[after].case if after is not None else None,
        )
    return lines, found.sets_needed, waiting, True


def _choosing(uses: Sequence[SetUse], sets: Sequence[DaySet], way: Round) -> Judged:
    """Some cases accept a kind that others do not: the choice that leaves fewest without."""
    by_design: Mapping[int, list[int]] = {
        design: [n for n, one in enumerate(sets) if one.design_id == design]
        for use in uses
        for design in use.designs
    }
    accepts = [tuple(n for design in use.designs for n in by_design[design]) for use in uses]
    found = assign(
        [Use(use.start, use.end, own) for use, own in zip(uses, accepts, strict=True)],
        [PhysicalSet(one.ready, way.shortest) for one in sets],
    )
    starts: dict[int, list[int]] = {}
    for use, taken in zip(uses, found.sets, strict=True):
        if taken is not None:
            starts.setdefault(taken, []).append(use.start)
    lines = []
    for use, taken in zip(uses, found.sets, strict=True):
        follows = [start for start in starts.get(taken, ()) if start > use.start] if taken is not None else []
        latest = min(follows) - way.shortest if follows else None
        code = sets[taken].code if taken is not None else ""
        lines.append(_line(use, way, latest=latest, judged=taken is not None, code=code, waits=taken is None))
    waiting = None
    left = next((n for n, taken in enumerate(found.sets) if taken is None), None)
    if left is not None:
        until, after = _next_free(left, uses, found.sets, sets, accepts[left], way)
        waiting = Waiting(lines[left], moment(until) if until is not None else None, after)
    return tuple(lines), None, waiting, found.proven


def _next_free(
    left: int,
    uses: Sequence[SetUse],
    taken: Sequence[int | None],
    sets: Sequence[DaySet],
    accepts: Sequence[int],
    way: Round,
) -> tuple[int | None, CaseFacts | None]:
    """When a set that the case accepts is there after its start, and from which case; the choice stands."""
    found: list[tuple[int, int]] = []
    for n in accepts:
        before = [j for j, one in enumerate(taken) if one == n and uses[j].start <= uses[left].start]
        if before:
            found.append((max(uses[j].end for j in before) + way.shortest, before[-1]))
        else:
            found.append((sets[n].ready, -1))
    later = [(until, j) for until, j in found if until > uses[left].start]
    if not later:
        return None, None
    until, j = min(later)
    return until, uses[j].case if j >= 0 else None
