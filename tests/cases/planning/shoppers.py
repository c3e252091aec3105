"""Random lists, shelves, offers and actions for tests of levels, budgets and loans."""

from __future__ import annotations

import random
from collections.abc import Sequence

from cases.planning.budget import Offer
from cases.planning.kinds import CaseDemand, Rule, SlotLaw
from cases.planning.loans_cover import Action, Present


def near(n: int) -> Rule:
    """Slots 0 and 1 fit where at most one size lies between them."""
    return Rule(0, 1, frozenset((i, j) for i in range(n) for j in range(n) if abs(i - j) <= 1))


def a_case(
    rng: random.Random,
    ref: int,
    *,
    slots: int = 2,
    sizes: int = 3,
    linked: bool = False,
    family: int = 0,
    extra: float = 0.0,
) -> CaseDemand:
    """A case of so many slots over the sizes of one family each."""
    laws = tuple(
        SlotLaw(
            f"slot {slot}",
            tuple(f"{family}.{slot}.{size}" for size in range(sizes)),
            tuple(float(rng.randint(1, 19)) for _ in range(sizes)),
            extra=extra if slot == 0 else 0.0,
        )
        for slot in range(slots)
    )
    return CaseDemand(ref, laws, (near(sizes),) if linked else (), start=ref, end=ref, day=ref)


def items_of(cases: Sequence[CaseDemand]) -> list[str]:
    return sorted({item for case in cases for slot in case.slots for item in slot.items})


def a_shop(
    rng: random.Random, cases: Sequence[CaseDemand], most_there: int = 1
) -> tuple[dict[str, int], list[Offer]]:
    """What is there of each item, and what each costs."""
    items = items_of(cases)
    stock = {item: rng.randint(0, most_there) for item in items}
    return stock, [Offer(item, float(rng.randint(1, 4)), rng.randint(0, 2)) for item in items]


def some_present(rng: random.Random, case: CaseDemand, *, in_parts: bool = False) -> Present:
    """A shelf that has most items for sure, or with a chance."""
    return {
        item: (rng.choice([1.0, 0.9, 0.5]) if in_parts else 1.0,)
        for slot in case.slots
        for item in slot.items
        if rng.random() < 0.6
    }


def some_actions(rng: random.Random, cases: Sequence[CaseDemand], count: int) -> list[Action]:
    """Loan sets of a few items and single orders, some of which come too late for some cases."""
    items = items_of(cases)
    found = []
    for number in range(count):
        arrives = rng.randint(0, len(cases))
        if number % 2:
            brings = {
                item: rng.randint(1, 2) for item in rng.sample(items, min(len(items), rng.randint(2, 4)))
            }
            found.append(Action(f"loan {number}", "loan", float(rng.randint(20, 80)), brings, arrives))
        else:
            one = {rng.choice(items): 1}
            cost, most = float(rng.randint(5, 30)), rng.randint(1, 2)
            found.append(Action(f"order {number}", "order", cost, one, arrives, most))
    return found
