"""For which case each set of the round is wanted next: by its holds first, then by what cases will use."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from cases.readiness.day_uses import SetUse, Span, uses_of
from cases.readiness.facts import CaseFacts, Snapshot, comes_back, lacks_critical
from cases.readiness.shelf import minute
from trays.instruments.ready import SetFacts

AT_ONCE = 0
NOT_KNOWN = 2**40


@dataclass(frozen=True, slots=True)
class Wanted:
    """The case that a set is wanted for next, and the minute of its start."""

    case: CaseFacts
    start: int


Pairs = Collection[tuple[int, int]]


def wanted_next(snapshot: Snapshot, served: Pairs = ()) -> dict[int, Wanted]:
    """By set of the round the first case that it is wanted for; sets that no case needs are left out.

    `served` are pairs of case and set that need no more: the case has had the set already. Sets that are
    held are wanted by whom they are held for. Each other use takes, in order of starts, a set that is there
    by then, ready ones first; if none is, the one that comes soonest. A set used is there again at the end
    of its way back.
    """
    spans = _spans(snapshot)
    cases = sorted(snapshot.cases, key=lambda facts: (spans[facts.id][0], facts.list_id, facts.position))
    found = _by_holds(snapshot, cases, spans, served)
    design_of = {row.pk: row.design_id for row in snapshot.sets}
    kept = {(one.case.id, design_of[pk]) for pk, one in found.items()}
    kept |= {(case, design_of[pk]) for case, pk in served if pk in design_of}
    there = {row.pk: _there(row, snapshot) for row in snapshot.sets}
    in_round = {row.pk for row in snapshot.sets if not row.ready_on(snapshot.day)}
    for use in uses_of(snapshot, cases, spans).uses:
        if any((use.case.id, design) in kept for design in use.designs):
            continue
        taken = _choose(use, snapshot, there)
        if taken is None:
            continue
        if taken.pk in in_round and taken.pk not in found:
            found[taken.pk] = Wanted(use.case, use.start)
        there[taken.pk] = snapshot.back(use.end)
        in_round.discard(taken.pk)
    return found


def _spans(snapshot: Snapshot) -> dict[int, Span]:
    return {
        facts.id: (minute(facts.starts_at), minute(facts.starts_at) + facts.minutes)
        for facts in snapshot.cases
    }


def _by_holds(
    snapshot: Snapshot, cases: Iterable[CaseFacts], spans: Mapping[int, Span], served: Pairs
) -> dict[int, Wanted]:
    rows = {row.pk: row for row in snapshot.sets if not row.ready_on(snapshot.day)}
    by_case = {facts.id: facts for facts in cases}
    first_of_list: dict[int, CaseFacts] = {}
    for facts in by_case.values():
        first_of_list.setdefault(facts.list_id, facts)
    found: dict[int, Wanted] = {}
    for hold in sorted(snapshot.set_holds, key=lambda one: one.starts_at):
        keeper = by_case.get(hold.case_id or 0) or first_of_list.get(hold.list_id or 0)
        if keeper is None or (keeper.id, hold.set_id) in served:
            continue
        if hold.set_id in rows and hold.set_id not in found:
            found[hold.set_id] = Wanted(keeper, spans[keeper.id][0])
    return found


def _there(row: SetFacts, snapshot: Snapshot) -> int:
    if row.ready_on(snapshot.day):
        return AT_ONCE
    if not comes_back(row) or lacks_critical(row):
        return NOT_KNOWN
    due = snapshot.due(row)
    return due if due is not None else NOT_KNOWN


def _choose(use: SetUse, snapshot: Snapshot, there: Mapping[int, int]) -> SetFacts | None:
    """A set for the use that nobody else holds over its time."""
    blocked = {
        hold.set_id
        for hold in snapshot.set_holds
        if minute(hold.starts_at) < use.end
        and minute(hold.ends_at) > use.start
        and hold.case_id != use.case.id
        and hold.list_id != use.case.list_id
    }
    rows = [row for row in snapshot.sets if row.design_id in use.designs and row.pk not in blocked]
    rows = [row for row in rows if there[row.pk] < NOT_KNOWN]
    if not rows:
        return None
    in_time = [row for row in rows if there[row.pk] <= use.start]
    # Of those in time what is ready at once; else what comes soonest.
    return min(in_time or rows, key=lambda row: (there[row.pk], row.code))
