"""What to bring as unbroken runs: the fewest units and sets that reach a target, not below the minimum.

Sizes are brought as a run per slot, second measures (thickness, neck length) as a run over all sizes brought.
For each independent block of slots every combination of runs is worked out (`boxes`), and the blocks are put
together at the least cost (`joining`). Where several slots may draw the same item (both sides of a case),
demands add and what one brings may serve another: the answer is then checked against the law of the whole
case, and comes with a stated gap instead of a proof.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cases.planning.bringing import BY_NUMBER, Box, Costs, Ends, Run, SlotRanks, Stock, hull_of
from cases.planning.brought import brought, counts_of
from cases.planning.coverage import missed
from cases.planning.filling import Filling, filled
from cases.planning.fit import Joint, joint
from cases.planning.joining import Together, solve
from cases.planning.kinds import SLACK, CaseDemand, PlanningError
from cases.planning.kits import concerned
from cases.planning.parts import Part, Unions
from cases.planning.splitting import together

_PLENTY = 99
_TRIES = 4
"""Times that more or less is asked of blocks that draw on the same items."""


def runs(
    case: CaseDemand,
    ranks: Sequence[SlotRanks],
    available: Mapping[str, int],
    sets: Mapping[str, int],
    *,
    target: float,
    each_way: int = 1,
    law: Joint | None = None,
    costs: Costs = BY_NUMBER,
    known: dict[Hashable, Filling] | None = None,
) -> Run:
    """The cheapest unbroken runs that reach a target and hold the site's minimum.

    Minimise the points of all units and sets brought, subject to P(all drawn is brought and served) >=
    target, over one box of sizes times second measures per slot that holds the minimum: so many sizes each
    way of the prediction, what must fit them, and every second measure where that is asked for.

    Parameters
    ----------
    case : CaseDemand
        All its sides as one.
    ranks : sequence of SlotRanks, one per slot
    available : mapping of item to int
        Units that may be brought.
    sets : mapping of item to int
        Sets that may be brought.
    target : float
    each_way : int
        So many sizes beyond the prediction on either side are always brought, as far as there are any.
    law : Joint, optional
        `fit.joint(case)` if it is at hand.
    costs : Costs
        Default: every unit and every set counts 1.
    known : dict, optional
        What is worked out for a block is kept here, for cases with an equal block. One dict for one shelf
        and one set of costs.

    Returns
    -------
    Run
        Where what is there cannot give the target, the same share of what it can give (to each side, if
        sides draw on the same items). A slot, or a need for a set, for which nothing at all is there is left
        out of the sum.

    Raises
    ------
    PlanningError
        An impossible case.
    TooManyOutcomesError
        See `fit.joint`.

    Notes
    -----
    Exact for each block up to `boxes.MOST_BOXES` combinations of runs; beyond it ends are taken off one by
    one, and the gap is stated. Second units are chosen by gain per point; the bound counts them by their sum.

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> case = CaseDemand(1, (SlotLaw("stem", ("S1", "S2", "S3", "S4"), (50, 0, 45, 5)),))
    >>> found = runs(case, [SlotRanks.in_order(4)], {"S1": 1, "S2": 1, "S3": 1, "S4": 1}, {}, target=0.9)
    >>> found.boxes[0].sizes, found.cost
    ((0, 2), 3)
    """
    law = law or joint(case)
    if law.impossible:
        raise PlanningError(f"Case {case.ref}: no combination meets the fit rules.")
    stock, shared = Stock(available, sets, costs), _shares(case)
    parts = _sides(case) if shared else law.parts
    worked = {} if known is None else known
    blocks = [filled(case, part, ranks, stock, worked) for part in parts if part.slots]
    full = math.prod(one.block.full for one in blocks)
    goal = (target if full >= target - SLACK else target * full) - SLACK
    bare = solve(blocks, goal, {})
    least = minimum(case, ranks, each_way, bare.boxes)
    ask = _Ask(law, ranks, stock, blocks, least)
    if shared:
        return _pooled(ask, target, goal)
    return ask.brought(bare if bare.holds(least) else solve(blocks, goal, least), bare)


def minimum(
    case: CaseDemand, ranks: Sequence[SlotRanks], each_way: int, computed: Mapping[int, Box | None]
) -> dict[int, Box]:
    """The site's minimum by slot: sizes each way of the prediction, what must fit them, every second measure
    asked for; nothing for a slot for which none is prescribed.

    Parameters
    ----------
    computed : mapping of slot to Box or None
        The runs without a minimum: their sizes and second measures stand where only the other is prescribed.
    """
    sizes: list[Ends | None] = []
    for own in ranks:
        if own.planned is None:
            sizes.append(None)
            continue
        low, high = (min(rank, own.last[0]) for rank in own.planned)
        sizes.append((max(0, low - each_way), min(own.last[0], high + each_way)))
    found: dict[int, Box] = {}
    for n, own in enumerate(ranks):
        bare = computed.get(n)
        ends = sizes[n] if own.planned is not None else _fitting(case, ranks, n, sizes)
        if ends is None and own.all_seconds and bare is not None:
            ends = bare.sizes
        if ends is not None:
            some = bare is not None and not own.all_seconds
            found[n] = Box(ends, bare.seconds if some and bare else (0, own.last[1]))
    return found


def _fitting(
    case: CaseDemand, ranks: Sequence[SlotRanks], number: int, sizes: Sequence[Ends | None]
) -> Ends | None:
    """Sizes of a slot without prediction that fit the minimum of a predicted one; None if no rule narrows
    them."""
    found: Ends | None = None
    own = ranks[number]
    for rule in case.rules:
        if number not in (rule.a, rule.b):
            continue
        its = rule.b if number == rule.a else rule.a
        other, ends, pairs = ranks[its], sizes[its], rule.allow | rule.unknown
        if ends is None or len(pairs) == len(own.sizes) * len(other.sizes):
            continue
        fitting = {
            own.sizes[i]
            for i, j in (pairs if number == rule.a else ((b, a) for a, b in pairs))
            if ends[0] <= other.sizes[j] <= ends[1] and not own.is_spare(i) and not other.is_spare(j)
        }
        if fitting:
            run = (min(fitting), max(fitting))
            found = run if found is None else hull_of(found, run)
    return found


# Items that several slots may draw


@dataclass(frozen=True)
class _Ask:
    """Everything that an answer for the blocks is turned into a run with."""

    law: Joint
    ranks: Sequence[SlotRanks]
    stock: Stock
    blocks: Sequence[Filling]
    least: Mapping[int, Box]

    def brought(self, answer: Together, bare: Together) -> Run:
        blocks = [one.block for one in self.blocks]
        return brought(self.law.case, self.ranks, self.stock, blocks, bare, answer)

    def chance(self, counts: Mapping[str, int]) -> float:
        """P(the whole case finds all it needs), what nothing at all is there for told apart."""
        found = {**counts, **self._pretended()}
        return 1.0 - together(missed(rows, found) for rows in self.law.rows)

    def _pretended(self) -> dict[str, int]:
        case, found = self.law.case, {}
        for one in self.blocks:
            for slot in one.block.part.slots:
                if one.block.hopeless(slot):
                    found.update(dict.fromkeys(case.slots[slot].items, _PLENTY))
        for need in case.needs:
            if not any(self.stock.sets.get(option.item, 0) > 0 for option in need.options):
                found.update((option.item, _PLENTY) for option in need.options)
        return found


def _pooled(ask: _Ask, target: float, goal: float) -> Run:
    """What is brought where blocks draw on the same items: the whole case just reaches the target with it.

    Each block alone is asked for more where they take from one another what is there, and for less where
    what one brings may serve another: by halving, and the cheapest found counts. Where all that is there
    does not reach the target, each brings what it would bring alone.
    """
    if ask.chance({**ask.stock.units, **ask.stock.sets}) < target - SLACK:
        found = ask.brought(solve(ask.blocks, goal, ask.least), solve(ask.blocks, goal, {}))
        gap = max(0, found.cost - _fewest(ask.blocks, ask.chance(counts_of(ask.law.case, found))))
        return replace(found, proven=gap == 0, gap=gap)
    wanted = target - SLACK
    full = math.prod(one.block.full for one in ask.blocks) - SLACK
    floor = max(0.0, 1.0 - 4.0 * (1.0 - goal))
    good: float | None = None
    bad: float | None = None
    best: tuple[int, float, Together] | None = None
    for _ in range(_TRIES):
        trial = solve(ask.blocks, goal, ask.least, floor)
        run = ask.brought(trial, trial)
        if ask.chance(counts_of(ask.law.case, run)) >= wanted:
            good = goal
            if best is None or run.cost < best[0]:
                best = run.cost, goal, trial
        else:
            bad = goal
        if good is None:
            goal = (goal + full) / 2.0
        else:
            goal = max(floor, 2.0 * good - 1.0) if bad is None else (good + bad) / 2.0
    _, goal, trial = best or (0, full, solve(ask.blocks, full, ask.least))
    # What is for the minimum alone shows beside the runs for the same goal without it.
    found = ask.brought(trial, solve(ask.blocks, goal, {}))
    gap = max(0, found.cost - _fewest(ask.blocks, wanted))
    return replace(found, proven=gap == 0, gap=gap)


def _fewest(blocks: Sequence[Filling], wanted: float) -> int:
    """Points that units cost at the least: each slot must find its item with the chance wanted, and slots
    that share items may share all of them."""
    groups, least = Unions(), dict[object, int]()
    for one in blocks:
        for slot in one.block.part.slots:
            items = one.block.case.slots[slot].items
            groups.join([("slot", slot), *(("item", item) for item in items)])
    for one in blocks:
        for place, slot in enumerate(one.block.part.slots):
            if one.block.hopeless(slot):
                continue
            share = np.bincount(one.block.drawn[place] + 1, weights=one.block.p)
            kept = share[0] + np.concatenate([[0.0], np.cumsum(np.sort(share[1:])[::-1])])
            units = int(np.searchsorted(kept, wanted - SLACK))
            cost = int(np.sort(one.block.unit_costs(slot, 1))[:units].sum())
            key = groups.find(("slot", slot))
            least[key] = max(cost, least.get(key, 0))
    return sum(least.values())


def _shares(case: CaseDemand) -> bool:
    """Whether some item belongs to two slots, or some set to two needs."""
    items = [item for slot in case.slots for item in slot.items]
    designs = [item for need in case.needs for item in {option.item for option in need.options}]
    return len(set(items)) < len(items) or len(set(designs)) < len(designs)


def _sides(case: CaseDemand) -> tuple[Part, ...]:
    """The parts of a case if every slot had items of its own, each with the needs that concern it alone."""
    slots = tuple(
        replace(slot, items=tuple(f"{n}:{item}" for item in slot.items)) for n, slot in enumerate(case.slots)
    )
    found = []
    for part in joint(replace(case, slots=slots, needs=())).parts:
        needs = [n for n, need in enumerate(case.needs) if set(part.slots) >= concerned(need) > set()]
        found.append(replace(part, needs=tuple(needs)))
    return tuple(found)
