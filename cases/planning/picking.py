"""What to bring: the shortest list for a target, drawn out to unbroken runs, with the fewest sets that
serve it.

Outcomes with a pair that has no rule on file are taken as fitting here; the answer's P(short) shows them
apart.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from cases.planning.coverage import Judged, chances, cover, sides
from cases.planning.fit import Joint, joint, marginals
from cases.planning.kinds import SLACK, CaseDemand, PlanningError, Rule
from cases.planning.leaving import frontier

MOST_SET_TRIALS = 200
"""Combinations of sets tried one by one; beyond it sets are dropped one at a time."""


@dataclass(frozen=True)
class Shortest:
    """The shortest list that reaches a target.

    Attributes
    ----------
    units : tuple of (item, number)
        In order of slot and rank.
    p_short : float
        Chance that an outcome needs what is not on the list.
    proven : bool
        No shorter list reaches the target.
    gap : int
        Otherwise at most so many units could be saved.
    """

    units: tuple[tuple[str, int], ...]
    p_short: float
    proven: bool
    gap: int


@dataclass(frozen=True)
class PickLine:
    """One thing to bring. `slot` is None for a set. `why`: computed, run, minimum, all or set."""

    slot: int | None
    item: str
    count: int
    why: str


@dataclass(frozen=True)
class PickAnswer:
    """A pick list.

    Attributes
    ----------
    lines : tuple of PickLine
        Slots in order, each by rank; sets last, in order of the needs.
    p_short_low, p_short_high : float
        With all of it beside the table (see `CaseAnswer`).
    reached : bool
        The list reaches the target, pairs without a rule on file taken as fitting.
    proven, gap
        See `Shortest`; for the computed part.
    added : tuple of PickLine
        What the minimum and "bring all" added to the computed list and its runs.
    """

    lines: tuple[PickLine, ...]
    p_short_low: float
    p_short_high: float
    reached: bool
    proven: bool
    gap: int
    added: tuple[PickLine, ...]


def shortest(case: CaseDemand, target: float, given: frozenset[str] = frozenset()) -> Shortest:
    """The fewest units with which the case finds what it needs with chance `target`, sets left aside.

    Parameters
    ----------
    case : CaseDemand
        A second unit that may be opened counts as needed.
    target : float
        0 gives the empty list; 1 all that can be drawn.
    given : frozenset of str
        Items of which one unit is brought in any case; it is on the list if it can be drawn.

    Returns
    -------
    Shortest
        Among the shortest lists one with the greatest cover (of a part too large to list, one that is
        proven to reach the target).

    Raises
    ------
    PlanningError
        An impossible case, or a target outside 0..1.

    Notes
    -----
    Parts are independent, so the best of each for every number left out is enough. In a part of one slot,
    leaving out the least likely first is best. In a linked part the sets that may be left out are searched
    (`leaving`).
    """
    if not 0.0 <= target <= 1.0:
        raise PlanningError("A target must be a chance between 0 and 1.")
    law = joint(replace(_all_fitting(case), needs=()))
    if law.impossible:
        raise PlanningError(f"Case {case.ref}: no combination meets the fit rules.")
    most = {item: len(asked) - 1 for item, asked in law.asked.items()}
    if target <= 0.0:
        units = _in_order(law, {item: 1 for item in most if item in given})
        return Shortest(units, chances(law, dict(units)).short_high, True, 0)
    limit = 1.0 - target + SLACK
    parts = [frontier(law, number, limit, given) for number in range(len(law.parts))]
    chosen = _best_split([part.loss for part in parts], limit)
    hoped = _best_split([part.hoped for part in parts], limit)
    for part, left_out in zip(parts, chosen, strict=True):
        for item, _ in part.left[left_out]:
            most[item] -= 1
    gap = sum(hoped) - sum(chosen)
    units = _in_order(law, most)
    return Shortest(units, chances(law, dict(units)).short_high, gap == 0, gap)


def _best_split(losses: Sequence[Sequence[float]], limit: float) -> list[int]:
    """How many to leave out of each part: the most in all within `limit`, then the least loss."""
    best: dict[int, tuple[float, list[int]]] = {0: (0.0, [])}
    for options in losses:
        grown: dict[int, tuple[float, list[int]]] = {}
        for total, (short, split) in best.items():
            for n, loss in enumerate(options):
                new = short + (1.0 - short) * loss
                if new <= limit and (total + n not in grown or new < grown[total + n][0]):
                    grown[total + n] = (new, [*split, n])
        best = grown
    return best[max(best)][1]


def _in_order(law: Joint, counts: Mapping[str, int]) -> tuple[tuple[str, int], ...]:
    names = dict.fromkeys(item for slot in law.case.slots for item in slot.items)
    return tuple((item, counts[item]) for item in names if counts.get(item, 0) > 0)


def pick_list(
    case: CaseDemand,
    target: float,
    planned: Mapping[int, tuple[int, int]] | None = None,
    each_way: int = 1,
    bring_all: frozenset[int] = frozenset(),
    sets: Mapping[str, int] | None = None,
) -> PickAnswer:
    """The list to bring: computed, then unbroken, then not below the minimum, then with sets.

    Parameters
    ----------
    case : CaseDemand
        Items of each slot in order of size.
    target : float
    planned : mapping of slot to (low, high), optional
        Predicted item indices of a slot; where it is not given, the likeliest item.
    each_way : int
        So many sizes beyond `planned` on either side are always brought.
    bring_all : frozenset of int
        Slots of which every item is brought that fits the runs of the slots it is ruled with (insert
        thicknesses).
    sets : mapping of item to int, optional
        Sets that may be brought. Default: of each listed option as many as there are needs that list it.

    Returns
    -------
    PickAnswer
        At least one unit of each item in a run; two where the computed list says so. The fewest sets with
        which the list reaches the target; if no sets do, the fewest that do as well as all.

    Raises
    ------
    PlanningError
        As `shortest`.
    """
    planned = planned or {}
    whole = {n: _fitting(case, n, {}) for n in bring_all}
    given = frozenset(case.slots[n].items[i] for n, indices in whole.items() for i in indices)
    core = shortest(case, target, given)
    computed = {item: n for item, n in core.units if item not in given or n > 1}
    runs, lines = _runs(case, computed, planned, each_way, bring_all)
    for number in sorted(bring_all):
        for i in _fitting(case, number, runs):
            item = case.slots[number].items[i]
            lines.append(
                PickLine(number, item, computed.get(item, 1), "computed" if item in computed else "all")
            )
    lines = _once_each(sorted(lines, key=lambda line: line.slot or 0))
    counts = {line.item: line.count for line in lines}
    fitting = joint(_all_fitting(case))
    chosen = _fewest_sets(fitting, counts, target, sets)
    lines += [PickLine(None, item, n, "set") for item, n in chosen.items()]
    counts.update(chosen)
    answer = cover(case, counts, help_wanted=False)
    reached = chances(fitting, counts).short_high <= 1.0 - target + SLACK
    added = tuple(line for line in lines if line.why in ("minimum", "all"))
    return PickAnswer(
        tuple(lines), answer.p_short_low, answer.p_short_high, reached, core.proven, core.gap, added
    )


def _runs(
    case: CaseDemand,
    computed: Mapping[str, int],
    planned: Mapping[int, tuple[int, int]],
    each_way: int,
    bring_all: frozenset[int],
) -> tuple[dict[int, range], list[PickLine]]:
    """Per slot the unbroken run of indices to bring, and its lines; slots of `bring_all` left out."""
    runs: dict[int, range] = {}
    lines: list[PickLine] = []
    modes = [int(np.argmax(p)) if len(p) else 0 for p in marginals(joint(replace(case, needs=())))]
    for number, slot in enumerate(case.slots):
        if number in bring_all or not slot.items:
            continue
        listed = [i for i, item in enumerate(slot.items) if item in computed]
        low, high = planned.get(number, (modes[number], modes[number]))
        floor = range(max(0, low - each_way), min(len(slot.items) - 1, high + each_way) + 1)
        runs[number] = range(min([*listed, floor.start]), max([*listed, floor.stop - 1]) + 1)
        unbroken = range(min(listed), max(listed) + 1) if listed else range(0)
        for i in runs[number]:
            why = "computed" if i in listed else "run" if i in unbroken else "minimum"
            lines.append(PickLine(number, slot.items[i], computed.get(slot.items[i], 1), why))
    return runs, lines


def _fitting(case: CaseDemand, number: int, runs: Mapping[int, range]) -> list[int]:
    """Items of a slot that fit (or may fit) some item of the run of each slot it is ruled with."""
    kept = set(range(len(case.slots[number].items)))
    for rule in case.rules:
        pairs = rule.allow | rule.unknown
        if rule.a == number and rule.b in runs:
            kept &= {i for i, j in pairs if j in runs[rule.b]}
        elif rule.b == number and rule.a in runs:
            kept &= {j for i, j in pairs if i in runs[rule.a]}
    return sorted(kept)


def _once_each(lines: Sequence[PickLine]) -> list[PickLine]:
    """An item of several slots (both sides) on one line, computed before added."""
    found: dict[str, PickLine] = {}
    for line in lines:
        if line.item not in found or (line.why == "computed" and found[line.item].why != "computed"):
            found[line.item] = line
    return list(found.values())


def _all_fitting(case: CaseDemand) -> CaseDemand:
    rules = tuple(Rule(rule.a, rule.b, rule.allow | rule.unknown) for rule in case.rules)
    return replace(case, rules=rules)


def _fewest_sets(
    law: Joint, counts: Mapping[str, int], target: float, sets: Mapping[str, int] | None
) -> dict[str, int]:
    """Fewest sets for the target, or for as much as all of them would give; then the greatest cover."""
    wanted: dict[str, int] = {}
    for need in law.case.needs:
        for item in dict.fromkeys(option.item for option in need.options):
            wanted[item] = wanted.get(item, 0) + 1
    if sets is not None:
        wanted = {item: min(n, sets.get(item, 0)) for item, n in wanted.items()}
    single = [item for item, n in wanted.items() for _ in range(n)]

    rows = law.rows

    def short(chosen: Sequence[str]) -> float:
        together: dict[str, int] = dict(counts)
        for item in chosen:
            together[item] = together.get(item, 0) + 1
        return sides([Judged(one, together).side() for one in rows], np.ones(1)).short_high

    goal = max(1.0 - target, short(single)) + SLACK
    chosen = _fewest(single, short, goal)
    return {item: chosen.count(item) for item in dict.fromkeys(chosen)}


def _fewest(single: Sequence[str], short: Callable[[Sequence[str]], float], goal: float) -> Sequence[str]:
    """The fewest of `single` whose P(short) is within `goal`, the best of these; else those left by
    dropping."""
    trials = 0
    for size in range(len(single) + 1):
        ways = list(dict.fromkeys(combinations(single, size)))
        trials += len(ways)
        if trials > MOST_SET_TRIALS:
            break
        best, _, way = min((short(way), n, way) for n, way in enumerate(ways))
        if best <= goal:
            return way
    chosen = list(single)
    for item in reversed(single):
        fewer = list(chosen)
        fewer.remove(item)
        if short(fewer) <= goal:
            chosen = fewer
    return chosen
