"""What to buy within an amount so that, on average, the most booked cases find their components.

Counted are whole cases: a case that lacks two components gains nothing from one of them. The figures are
lower bounds of an average (`planning.spending`): at least so many cases are expected to find all their
components, whoever draws first. What is bought helps only cases on days after it has come.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import numpy as np

from cases.planning.buying import Purse
from cases.planning.misses import Draws, Misses, misses
from cases.planning.parts import Floats, Ints
from cases.planning.spending import Spent, spend
from cases.reorders.alerts import look
from cases.reorders.demand import ItemFacts, SiteFacts
from cases.reorders.pairs import Pairs, pairs_of
from cases.reorders.windows import window_end
from trays.catalogue.models import Component
from trays.parties.workdays import due, next_workday

MOST_PACKS = 12
"""Order multiples of one component that are proposed at most."""

SECONDS = 1.0
"""Time for the exact programme; what it has found by then is used, and its gap told."""

NOT_WORTH_A_UNIT = 0.001
"""A unit that adds less than this of a case is not bought: the figures are no finer."""

WORTH_NAMING = 0.005
"""A case whose chance rises by less is not named."""


@dataclass(frozen=True, slots=True)
class Buy:
    """One component to buy: `gain` is what it adds to the cases served on average, beside the others.

    `on_order` pieces were on their way when it was chosen.
    """

    component: Component
    units: int
    cost: Decimal
    arrives: date
    gain: float
    references: tuple[str, ...]
    on_order: int = 0


@dataclass(frozen=True, slots=True)
class BestBuys:
    """What an amount buys. `currency` is "" where each unit counts as one.

    `served` and `before` are the cases that find their components on average, at least, of `cases` booked
    ones; no other purchase for the amount has a `served` above `bound`. `exact`: none has a greater one.
    `solver`: the integer programme was asked. `unpriced` components could not be considered.
    """

    amount: Decimal
    currency: str
    buys: tuple[Buy, ...]
    cost: Decimal
    cases: int
    served: float
    before: float
    bound: float
    exact: bool
    solver: bool
    unpriced: int

    @property
    def gap(self) -> float:
        return max(0.0, self.bound - self.served)

    @property
    def units(self) -> int:
        return sum(buy.units for buy in self.buys)


def currency_of(items: Sequence[ItemFacts]) -> str:
    """The currency in which most of the components have a price; "" where none has one."""
    counts: dict[str, int] = {}
    for item in items:
        if item.component.price:
            counts[item.component.currency] = counts.get(item.component.currency, 0) + 1
    return max(sorted(counts), key=lambda code: counts[code], default="")


def best_buys(facts: SiteFacts, *, amount: Decimal, currency: str) -> BestBuys:
    """Choose what to buy.

    Parameters
    ----------
    facts : SiteFacts
        The site as its alerts read it.
    amount : Decimal
        In `currency`, or a number of units where that is "".
    """
    pairs = pairs_of(facts.items, facts.day, unbooked_cases=False)
    draws = pairs.arrays()
    items = facts.items[: draws.items]
    priced = [_price(item.component, currency) for item in items]
    table = _by_packs(misses(draws), draws, pairs, items, facts.day)
    purse = Purse(
        cost=np.array(
            [float(price * _multiple(i)) if price else 1.0 for i, price in zip(items, priced, strict=True)]
        ),
        most=np.array([MOST_PACKS if price else 0 for price in priced], dtype=np.int64),
        budget=float(amount),
    )
    nothing = np.zeros(len(items), dtype=np.int64)
    spent = spend(table, nothing, purse, seconds=SECONDS, grain=NOT_WORTH_A_UNIT)
    buys = _buys(spent, table, items, priced, pairs, facts)
    drawn = set(draws.item.tolist())
    return BestBuys(
        amount=amount,
        currency=currency,
        buys=tuple(buys),
        cost=sum((buy.cost for buy in buys), Decimal(0)),
        cases=draws.cases,
        served=spent.served,
        before=spent.before,
        bound=spent.bound,
        exact=spent.exact,
        solver=spent.solver,
        unpriced=sum(1 for number, price in enumerate(priced) if not price and number in drawn),
    )


def _price(component: Component, currency: str) -> Decimal | None:
    if not currency:
        return Decimal(1)
    return component.price if component.price and component.currency == currency else None


def _multiple(item: ItemFacts) -> int:
    return item.component.order_multiple


def _by_packs(table: Misses, draws: Draws, pairs: Pairs, items: Sequence[ItemFacts], day: date) -> Misses:
    """The table by packs bought on top of what is free: of use only to cases after they have come."""
    views = [look(item, day=day, until=window_end(item.component, day)) for item in items]
    free = np.array([view.free for view in views], dtype=np.int64)
    multiple = np.array([_multiple(item) for item in items], dtype=np.int64)
    arrives = [_arrives(item.component, day) for item in items]
    helped = np.array(
        [
            pairs.days[case] > arrives[item]
            for case, item in zip(draws.case.tolist(), draws.item.tolist(), strict=True)
        ],
        dtype=np.bool_,
    )
    packs: Ints = np.arange(MOST_PACKS + 1)
    bought = packs * np.where(helped, multiple[draws.item], 0)[:, None]
    column = np.minimum(free[draws.item][:, None] + bought, table.width - 1)
    return Misses(draws, np.take_along_axis(table.chance, column, axis=1))


def _arrives(component: Component, day: date) -> date:
    return due(next_workday(day), component.supplier.lead_working_days)


def _buys(
    spent: Spent,
    table: Misses,
    items: Sequence[ItemFacts],
    priced: Sequence[Decimal | None],
    pairs: Pairs,
    facts: SiteFacts,
) -> list[Buy]:
    """The bought components, the one that adds most first."""
    names = {number: facts.references.get(case[1], "") for case, number in pairs.cases.items()}
    with_all = np.maximum(0.0, 1.0 - table.short(spent.plan))
    buys = []
    for number in np.flatnonzero(spent.plan).tolist():
        item, price = items[number], priced[number] or Decimal(0)
        units = int(spent.plan[number]) * _multiple(item)
        buys.append(
            Buy(
                component=item.component,
                units=units,
                cost=price * units,
                arrives=_arrives(item.component, facts.day),
                gain=float(spent.each[number]),
                references=_helped(table, spent.plan, number, with_all, names),
                on_order=item.on_order(),
            )
        )
    return sorted(buys, key=lambda buy: (-round(buy.gain, 9), buy.component.code))


def _helped(
    table: Misses, plan: Ints, number: int, with_all: Floats, names: Mapping[int, str]
) -> tuple[str, ...]:
    """The cases that would be worse off without it, most first."""
    without = plan.copy()
    without[number] = 0
    lost = with_all - np.maximum(0.0, 1.0 - table.short(without))
    order = np.argsort(-lost, kind="stable").tolist()
    return tuple(names[case] for case in order if lost[case] >= WORTH_NAMING and names[case])
