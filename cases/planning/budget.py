"""A budget over items: what to buy so that the most whole cases find all they need.

The aim is cases, not items: filling one of three empty slots serves nobody. For independent parts and one
job per restock the optimum is found by adding the best unit for its cost (Smith, Chambers & Shlifer 1980,
Management Science 26(8)); here a list shares the stock and one item fills one slot, so that rule is only
where the search begins. Every affordable purchase is tried where there are few enough; else a heuristic
(`buying`) answers, beside a proven bound that no purchase exceeds (`ceiling`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from cases.planning.buying import GRAIN, Move, Purse, search, trimmed
from cases.planning.ceiling import most_served
from cases.planning.kinds import CaseDemand, PlanningError, Shelf
from cases.planning.parts import Floats, Ints
from cases.planning.sharing import serve_list
from cases.planning.spending import at_least
from cases.planning.worth import TooMuchWorkError, WholeList

Aim = Literal["served", "all"]
"""Expected number of cases served, or the chance that none is short."""

MOST_PLANS = 100_000

GUIDE = 1e-3


@dataclass(frozen=True)
class Offer:
    """What may be bought of one item: `most` units at `cost` each, in any one unit of money or effort."""

    item: str
    cost: float
    most: int

    def __post_init__(self) -> None:
        if not (np.isfinite(self.cost) and self.cost > 0.0):
            raise PlanningError(f"Item {self.item}: the cost of a unit is above nought.")
        if self.most < 0:
            raise PlanningError(f"Item {self.item}: no less than nought can be bought.")


@dataclass(frozen=True)
class Bought:
    """A purchase and what it is worth.

    Attributes
    ----------
    adds : tuple of (item, units), those that are bought, by name
    cost : float
    value, before : float
        The aim with and without the purchase.
    bound : float
        Proven: no purchase within the budget is worth more.
    every_plan : bool
        All affordable purchases were tried: nothing is worth more, and nothing worth as much costs less.
        Else the purchase is a heuristic's.
    exact_value : bool
        `value` is exact; else it is a proven lower bound ("at least").
    plans : int
        Purchases tried, 0 for a heuristic.
    """

    adds: tuple[tuple[str, int], ...]
    cost: float
    value: float
    before: float
    bound: float
    every_plan: bool
    exact_value: bool
    plans: int

    @property
    def gap(self) -> float:
        """By how much a better purchase could be worth more, at most."""
        return max(0.0, self.bound - self.value)


def best_purchase(
    cases: Sequence[CaseDemand],
    stock: Mapping[str, int],
    offers: Iterable[Offer],
    budget: float,
    *,
    aim: Aim = "served",
    most_plans: int = MOST_PLANS,
) -> Bought:
    """What to buy for a list within a budget.

    Parameters
    ----------
    cases : sequence of CaseDemand
        In order; each takes its whole demand or nothing. Without needs for sets.
    stock : mapping of item to units
        What is there for all of them.
    offers
        What may be bought; an item without an offer is not bought.
    budget : float
        Of the offers' unit of cost.
    aim : "served" or "all"
    most_plans : int
        Purchases that are all tried, at most.

    Returns
    -------
    Bought

    Raises
    ------
    PlanningError
        A budget below nought, an item offered twice, or a case that needs sets.

    Notes
    -----
    A list with too many histories to be gone through plan by plan is searched by the bound of `misses`; the
    plan found is then valued by `sharing.serve_list`, exactly where that can be afforded.

    Examples
    --------
    >>> from cases.planning.kinds import SlotLaw
    >>> two = [CaseDemand(n, (SlotLaw("femoral", ("F3", "F4"), (1, 3)),)) for n in (1, 2)]
    >>> best = best_purchase(two, {"F4": 1}, [Offer("F3", 2.0, 2), Offer("F4", 3.0, 2)], 5.0)
    >>> best.adds, best.value, best.every_plan
    ((('F3', 1), ('F4', 1)), 1.9375, True)
    """
    listed = list(offers)
    offered = {offer.item: offer for offer in listed}
    if len(offered) != len(listed):
        raise PlanningError("An item is offered twice.")
    if not (np.isfinite(budget) and budget >= 0.0):
        raise PlanningError("A budget is nought or more.")
    try:
        return _of_list(WholeList.of(cases), stock, offered, budget, aim, most_plans, cases)
    except TooMuchWorkError:
        return _of_many(cases, stock, offered, budget, aim)


def _of_list(
    whole: WholeList,
    stock: Mapping[str, int],
    offered: Mapping[str, Offer],
    budget: float,
    aim: Aim,
    most_plans: int,
    cases: Sequence[CaseDemand],
) -> Bought:
    start = np.array([stock.get(item, 0) for item in whole.items], dtype=np.int64)
    purse = purse_for(whole.items, offered, budget)
    value = _Exact(whole, start, aim)
    plans = affordable(purse, most_plans)
    if plans is not None:
        plan = _best_of(value.of(plans), plans, purse)
    else:
        plan = trimmed(value, search(_Exact(whole, start, aim, GUIDE if aim == "all" else 0.0), purse))
    worth, before = value.worth(plan), value.worth(np.zeros_like(plan))
    bound = worth if plans is not None else max(worth, most_served(cases, whole.items, start, purse, aim))
    return Bought(
        adds=named(whole.items, plan),
        cost=purse.price(plan),
        value=worth,
        before=before,
        bound=bound,
        every_plan=plans is not None,
        exact_value=True,
        plans=0 if plans is None else len(plans),
    )


def _of_many(
    cases: Sequence[CaseDemand],
    stock: Mapping[str, int],
    offered: Mapping[str, Offer],
    budget: float,
    aim: Aim,
) -> Bought:
    items, value, start = at_least(cases, stock, aim)
    purse = purse_for(items, offered, budget)
    plan = search(value, purse)
    worth, exact = _told(cases, items, start + plan, aim, value.worth(plan))
    before, _ = _told(cases, items, start, aim, value.worth(np.zeros_like(plan)))
    return Bought(
        adds=named(items, plan),
        cost=purse.price(plan),
        value=worth,
        before=before,
        bound=max(worth, most_served(cases, items, start, purse, aim)),
        every_plan=False,
        exact_value=exact,
        plans=0,
    )


def _told(
    cases: Sequence[CaseDemand], items: Sequence[str], there: Ints, aim: Aim, least: float
) -> tuple[float, bool]:
    """The aim with these units, exactly where `sharing` can afford it, else at least so much."""
    whole = serve_list(cases, Shelf.plain(dict(zip(items, there.tolist(), strict=True))))
    told = len(cases) - whole.exp_short if aim == "served" else whole.p_all
    return (told, True) if whole.exact else (max(0.0, told, least), False)


def purse_for(items: Sequence[str], offered: Mapping[str, Offer], budget: float) -> Purse:
    """Offers as arrays over numbered items; what is not offered cannot be bought."""
    cost = np.array([offered[item].cost if item in offered else 1.0 for item in items])
    most = np.array([offered[item].most if item in offered else 0 for item in items], dtype=np.int64)
    return Purse(cost, most, budget)


def affordable(purse: Purse, most_plans: int) -> Ints | None:
    """Every purchase within the purse, shape (plans, items), in lexical order; None if there are more."""
    plans = np.zeros((1, 0), dtype=np.int64)
    spent = np.zeros(1)
    for cost, most in zip(purse.cost.tolist(), purse.most.tolist(), strict=True):
        # One more than may be is enough to know; a huge offer is not written out.
        counts = np.arange(min(most, most_plans) + 1)
        price = np.repeat(spent, len(counts)) + cost * np.tile(counts, len(spent))
        keep = price <= purse.budget * (1.0 + 1e-12)
        if keep.sum() > most_plans:
            return None
        plans = np.column_stack((np.repeat(plans, len(counts), axis=0), np.tile(counts, len(spent))))[keep]
        spent = price[keep]
    return plans


def named(items: Sequence[str], plan: Ints) -> tuple[tuple[str, int], ...]:
    """The bought items by name with their numbers."""
    return tuple((item, int(n)) for item, n in zip(items, plan.tolist(), strict=True) if n)


def _best_of(values: Floats, plans: Ints, purse: Purse) -> Ints:
    """Of the plans worth most, the cheapest; of these the last in lexical order: the first items first."""
    best = np.flatnonzero(values >= values.max() - GRAIN)
    prices = plans[best] @ purse.cost
    cheapest = best[prices <= prices.min() * (1.0 + 1e-12)]
    return np.asarray(plans[cheapest[-1]], dtype=np.int64)


class _Exact:
    """Exact values of plans for a list whose histories can be gone through."""

    def __init__(self, whole: WholeList, start: Ints, aim: Aim, guide: float = 0.0) -> None:
        """`guide`: weight of the cases served beside the aim, to lead out of plans that are worth nought."""
        self._whole, self._start, self._aim, self._guide = whole, start, aim, guide

    def of(self, plans: Ints) -> Floats:
        """Of every plan, (plans, items) → (plans,); in portions that stay in reach."""
        found = []
        for portion in np.array_split(plans, -(-len(plans) // 2048)):
            worth = self._whole.worth(self._start + portion)
            value = worth.served if self._aim == "served" else worth.p_all
            found.append(value + self._guide * worth.served if self._guide else value)
        return np.concatenate(found)

    def worth(self, plan: Ints) -> float:
        return float(self.of(plan[None])[0])

    def after(self, plan: Ints, moves: Sequence[Move]) -> Floats:
        plans = np.repeat(plan[None], len(moves), axis=0)
        for line, move in enumerate(moves):
            for item, n in move:
                plans[line, item] += n
        return self.of(plans)

    def bundles(self, plan: Ints) -> Sequence[Move]:
        """What is missing now for each demand of each case, and for the likeliest of all cases together."""
        there = self._start + plan
        together: dict[int, int] = {}
        found: dict[Move, None] = {}
        for demands in self._whole.demands:
            for demand, _ in demands or ():
                found[_lacked(demand, there)] = None
            likeliest = max(demands or (((), 0.0),), key=lambda pair: pair[1])[0]
            for item, n in likeliest:
                together[item] = together.get(item, 0) + n
        found[_lacked(tuple(sorted(together.items())), there)] = None
        return [move for move in found if move]


def _lacked(demand: Sequence[tuple[int, int]], there: Ints) -> Move:
    return tuple((item, int(n - there[item])) for item, n in demand if n > there[item])
