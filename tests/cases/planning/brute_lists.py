"""Every list there is, one by one: slow, and plain to check. It shares no arithmetic with the planner."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from fractions import Fraction
from functools import cache
from itertools import chain, combinations, product

from cases.planning.bringing import Box, Costs, SlotRanks
from cases.planning.kinds import CaseDemand
from tests.cases.planning.brute import demands, outcomes, serves

SLACK = Fraction(1, 10**11)


@cache
def asks(case: CaseDemand) -> tuple[tuple[tuple[tuple[str, ...], ...], dict[str, int], Fraction], ...]:
    """Every way the case may turn out: designs that serve each need, units asked for, chance."""
    return tuple(
        (tuple(tuple(serves(need, drawn)) for need in case.needs), asked, p * q)
        for drawn, _, p in outcomes(case)
        for asked, q in demands(case, drawn)
    )


def served(case: CaseDemand, counts: Mapping[str, int]) -> Fraction:
    """P(all that is drawn is there, second units too, with sets for every need), rules on file or not."""
    total = Fraction(0)
    for options, asked, p in asks(case):
        if all(counts.get(item, 0) >= n for item, n in asked.items()) and any(
            all(way.count(item) <= counts.get(item, 0) for item in way) for way in product(*options)
        ):
            total += p
    return total


def points(counts: Iterable[tuple[str, int]], costs: Costs, units: set[str]) -> int:
    """What a list costs."""
    total = 0
    for item, n in counts:
        one = costs.unit if item in units else lambda item, _: costs.of_set(item)
        total += sum(one(item, k) for k in range(1, n + 1))
    return total


def most(case: CaseDemand) -> dict[str, int]:
    """The most units of each item and sets of each design that the case may ask for at once."""
    found: dict[str, int] = {}
    for slot in case.slots:
        for item in slot.items:
            found[item] = found.get(item, 0) + (2 if slot.extra else 1)
    for need in case.needs:
        for item in dict.fromkeys(option.item for option in need.options):
            found[item] = found.get(item, 0) + 1
    return found


def best_list(
    case: CaseDemand, target: float, there: Mapping[str, int], costs: Costs
) -> tuple[int, Fraction, Fraction]:
    """Least cost of any list for the target (or the same share of what is there), the best P at that cost,
    and P with everything."""
    units = {item for slot in case.slots for item in slot.items}
    upper = {item: min(n, there.get(item, 0)) for item, n in most(case).items()}
    full = served(case, upper)
    goal = _goal(target, full)
    lists = [
        tuple(zip(upper, numbers, strict=True))
        for numbers in product(*(range(n + 1) for n in upper.values()))
    ]
    lists.sort(key=lambda one: points(one, costs, units))
    best: tuple[int, Fraction] | None = None
    for one in lists:
        cost = points(one, costs, units)
        if best and cost > best[0]:
            break
        p = served(case, dict(one))
        if p >= goal and (best is None or p > best[1]):
            best = cost, p
    assert best is not None
    return (*best, full)


def _goal(target: float, full: Fraction) -> Fraction:
    wanted = Fraction(target).limit_denominator(10**6)
    return (wanted if full >= wanted - SLACK else wanted * full) - SLACK


def boxes_of(own: SlotRanks, minimum: Box | None) -> Iterator[Box | None]:
    """Every unbroken run of sizes and of second measures that holds the minimum; None without one."""
    sizes, seconds = (range(n + 1) for n in own.last)
    if minimum is None:
        yield None
    for a, b in combinations(chain(sizes, [sizes.stop]), 2):
        for c, d in combinations(chain(seconds, [seconds.stop]), 2):
            box = Box((a, b - 1), (c, d - 1))
            if minimum is None or box.hull(minimum) == box:
                yield box


def best_runs(
    case: CaseDemand,
    ranks: Sequence[SlotRanks],
    there: Mapping[str, int],
    target: float,
    minimum: Mapping[int, Box],
    costs: Costs,
) -> int:
    """Least cost of any unbroken runs for the target that hold the minimum.

    Each slot brings one unit of all that is there in its box, while they last, and second units as it
    likes; each need the cheapest designs with which all sizes brought are served, as far as any there does.
    """
    upper = {item: min(n, there.get(item, 0)) for item, n in most(case).items()}
    goal = _goal(target, served(case, upper))
    ways = [list(boxes_of(own, minimum.get(slot))) for slot, own in enumerate(ranks)]
    best = 10**9
    for boxes in product(*ways):
        sets, spent = _kits(case, ranks, boxes, there, costs)
        counts = dict(sets)
        for slot, own, box in zip(case.slots, ranks, boxes, strict=True):
            for item in _inside(slot.items, own, box):
                if counts.get(item, 0) < there.get(item, 0):
                    counts[item] = counts.get(item, 0) + 1
                    spent += costs.unit(item, counts[item])
        if spent >= best:
            continue
        spare = {i: upper[i] - n for i, n in counts.items() if i not in sets and n < upper[i]}
        for numbers in product(*(range(n + 1) for n in spare.values())):
            more = dict(zip(spare, numbers, strict=True))
            cost = spent + sum(
                costs.unit(item, counts[item] + k) for item, n in more.items() for k in range(1, n + 1)
            )
            if (
                cost < best
                and served(case, {**counts, **{i: counts[i] + n for i, n in more.items()}}) >= goal
            ):
                best = cost
    return best


def _inside(items: Sequence[str], own: SlotRanks, box: Box | None) -> list[str]:
    at = zip(items, own.sizes, own.seconds, strict=True)
    return [item for item, size, second in at if box is not None and box.holds(size, second)]


def _kits(
    case: CaseDemand,
    ranks: Sequence[SlotRanks],
    boxes: Sequence[Box | None],
    there: Mapping[str, int],
    costs: Costs,
) -> tuple[dict[str, int], int]:
    """Sets for what is brought, each need for itself, and their points."""
    able = [drawn for drawn, _, _ in outcomes(case) if _can_be_had(case, drawn, there)]
    found: dict[str, int] = {}
    total = 0
    for need in case.needs:
        deciding = {slot for option in need.options for slot, _ in option.serves}
        brought = []
        for drawn in able:
            held = all(
                drawn[s] is None
                or case.slots[s].items[drawn[s]] in _inside(case.slots[s].items, ranks[s], boxes[s])
                for s in deciding
            )
            if held:
                brought.append({item for item in serves(need, drawn) if there.get(item, 0) > 0})
        designs = sorted({item for some in brought for item in some})
        ways = chain.from_iterable(combinations(designs, n) for n in range(len(designs) + 1))
        kit = min(
            (way for way in ways if all(some & set(way) for some in brought)),
            key=lambda way: sum(costs.of_set(item) for item in way),
        )
        total += sum(costs.of_set(item) for item in kit)
        for item in kit:
            found[item] = found.get(item, 0) + 1
    return found, total


def _can_be_had(case: CaseDemand, drawn: Sequence[int | None], there: Mapping[str, int]) -> bool:
    units = all(
        i is None or there.get(slot.items[i], 0) > 0 for slot, i in zip(case.slots, drawn, strict=True)
    )
    return units and all(any(there.get(i, 0) > 0 for i in serves(need, tuple(drawn))) for need in case.needs)
