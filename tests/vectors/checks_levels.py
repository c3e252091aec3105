"""The kinds about levels and budgets."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from cases.planning.budget import Offer, best_purchase
from tests.vectors.checks import CLOSE, case_of

Vector = dict[str, Any]


def a_budget(given: Vector, answer: Vector) -> Iterator[str]:
    """q4_alloc, all of it, for both aims."""
    cases = [case_of(case, ref) for ref, case in enumerate(given["cases"])]
    offers = [Offer(item, float(cost), given["max_add"].get(item, 0)) for item, cost in given["cost"].items()]
    aims: list[tuple[Literal["served", "all"], str]] = [("served", "exp_served"), ("all", "p_all")]
    for aim, name in aims:
        mine = best_purchase(cases, given["stock"], offers, float(given["budget"]), aim=aim)
        if not mine.every_plan:
            yield f"{name}: not every purchase was tried"
        if mine.plans != answer["plans"]:
            yield f"plans is {answer['plans']}, the planner tried {mine.plans}"
        if not abs(mine.value - answer[name]) <= CLOSE:
            yield f"{name} is {answer[name]!r}, the planner says {mine.value!r}"
        if not abs(mine.cost - answer[f"{name}_cost"]) <= CLOSE:
            yield f"{name}_cost is {answer[f'{name}_cost']!r}, the planner spends {mine.cost!r}"
        listed = [{item: n for item, n in adds.items() if n} for adds in answer[f"{name}_adds"]]
        if len(listed) < 8 and dict(mine.adds) not in listed:
            yield f"{dict(mine.adds)} is not among the best purchases for {name}"
