"""One check per kind of vector: builds the input, calls the planner, yields a sentence per difference."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from cases.planning import coverage, fit, picking, replenish, sharing, sizing
from cases.planning.kinds import CaseDemand, PlanningError, Rule, Shelf, SlotLaw

Vector = dict[str, Any]

CLOSE = 1e-12
CLOSE_COST = 1e-11


def _fraction(pair: Sequence[int]) -> float:
    return pair[0] / pair[1]


def case_of(given: Vector, ref: int = 0) -> CaseDemand:
    """A case as the vectors write it."""
    slots = tuple(
        SlotLaw(
            slot["name"],
            tuple(slot["items"]),
            tuple(float(w) for w in slot["w"]),
            use=_fraction(slot.get("use", [1, 1])),
            extra=_fraction(slot.get("extra", [0, 1])),
        )
        for slot in given["slots"]
    )
    rules = tuple(
        Rule(rule["a"], rule["b"], frozenset((i, j) for i, j in rule["allow"])) for rule in given["rules"]
    )
    return CaseDemand(ref, slots, rules)


def _differ(what: str, mine: float, theirs: float | None, close: float = CLOSE) -> Iterator[str]:
    if theirs is None or not abs(mine - theirs) <= close:
        yield f"{what} is {theirs!r}, the planner says {mine!r}"


def _differ_all(what: str, mine: Sequence[float], theirs: Sequence[float]) -> Iterator[str]:
    if len(mine) != len(theirs):
        yield f"{what} has {len(theirs)} values, the planner gives {len(mine)}"
        return
    for n, (a, b) in enumerate(zip(mine, theirs, strict=True)):
        yield from _differ(f"{what}[{n}]", a, b)


def one_case(given: Vector, answer: Vector) -> Iterator[str]:
    """q1. Not compared: `n_best`, `n_reaching` (how many other sets would do)."""
    case = case_of(given["case"])
    law = fit.joint(case)
    if law.impossible or not answer["feasible"]:
        if law.impossible == answer["feasible"]:
            yield f"feasible is {answer['feasible']}, the planner says {not law.impossible}"
        return
    present: dict[str, int] = {}
    for slot, index in given["set"]:
        item = case.slots[slot].items[index]
        present[item] = present.get(item, 0) + 1
    found = coverage.cover(case, present)
    yield from _differ("p_cover", found.p_cover_low, answer["p_cover"])
    yield from _differ("p_short", found.p_short_high, answer["p_short"])
    for n, (mine, theirs) in enumerate(zip(fit.marginals(law), answer["marginals"], strict=True)):
        yield from _differ_all(f"marginals[{n}]", mine.tolist(), theirs)
    yield from _shortest_list(case, _fraction(given["target"]), answer)


def _shortest_list(case: CaseDemand, target: float, answer: Vector) -> Iterator[str]:
    best = picking.shortest(case, target)
    if not best.proven:
        yield "the shortest list is not proven"
    if sum(n for _, n in best.units) != answer["min_size"]:
        yield f"min_size is {answer['min_size']}, the planner needs {sum(n for _, n in best.units)}"
    yield from _differ("best_p_short", best.p_short, answer["best_p_short"])
    checked = coverage.cover(case, dict(best.units))
    yield from _differ("best_p", checked.p_cover_low, answer["best_p"])
    if answer["n_best"] <= len(answer["best_sets"]):
        listed = dict(best.units)
        mine = [[s, i] for s, slot in enumerate(case.slots) for i, x in enumerate(slot.items) if x in listed]
        if mine not in answer["best_sets"]:
            yield f"{mine} is not among the best sets"


def shared_list(given: Vector, answer: Vector) -> Iterator[str]:
    """q2, all of it."""
    cases = [case_of(case, ref) for ref, case in enumerate(given["cases"])]
    shelf = Shelf.plain(given["stock"])
    found = sharing.assess(cases, shelf)
    if not all(one.exact for one in found):
        yield "a case has only a bound"
    yield from _differ_all("p_short", [one.p_short_high for one in found], answer["p_short"])
    yield from _differ_all("p_ok", [one.p_cover_low for one in found], answer["p_ok"])
    whole = sharing.serve_list(cases, shelf)
    if not whole.exact:
        yield "the list has only a bound"
        return
    yield from _differ("p_all", whole.p_all, answer["p_all"])
    yield from _differ("p_any_short", whole.p_any_short, answer["p_any_short"])
    yield from _differ("exp_short", whole.exp_short, answer["exp_short"])
    yield from _differ_all("p_first_short", whole.p_first_short, answer["p_first_short"])
    yield from _differ_all("dist_short", whole.dist_short, answer["dist_short"])
    tails = sharing.over_demand(cases, given["stock"])
    for item, theirs in answer["item_tail"].items():
        yield from _differ(f"item_tail of {item}", tails[item], theirs)


def item_level(given: Vector, answer: Vector) -> Iterator[str]:
    """q4_level, all of it."""
    parts = [(1.0 - _fraction(p), _fraction(p)) for p in given["bern"]]
    law = replenish.demand(parts, float(given["lam"]))
    first = law[: len(answer["pmf"])].tolist()
    yield from _differ_all("pmf", first + [0.0] * (len(answer["pmf"]) - len(first)), answer["pmf"])
    yield from _differ("mean", replenish.mean(law), answer["mean"], CLOSE_COST)
    target, cu, co = _fraction(given["target"]), float(given["cu"]), float(given["co"])
    ready = replenish.describe(law, replenish.level(law, target))
    fill = replenish.fill_level(law, target)
    cost = replenish.cost_level(law, cu, co)
    for name, mine in (("S_ready", ready.units), ("S_fill", fill), ("S_cost", cost)):
        if mine != answer[name]:
            yield f"{name} is {answer[name]}, the planner says {mine}"
    yield from _differ("p_ready", ready.p_met, answer["p_ready"])
    yield from _differ("p_over", ready.p_over, answer["p_over"])
    yield from _differ("exp_short_at_S_ready", ready.expected_short, answer["exp_short_at_S_ready"])
    expected = replenish.mean(law)
    filled = 1.0 - replenish.expected_short(law, fill) / expected if expected else 1.0
    yield from _differ("fill", filled, answer["fill"])
    worth = replenish.expected_cost(law, cost, cu, co)
    yield from _differ("cost_at_S_cost", worth, answer["cost_at_S_cost"], CLOSE_COST)


def sizes(given: Vector, answer: Vector) -> Iterator[str]:
    """q7_size, all of it."""
    try:
        mine = sizing.spread(given["low"], given["high"], given["offset_w"], given["n_sizes"])
    except PlanningError as fault:
        yield f"refused: {fault}"
        return
    yield from _differ_all("p", mine.tolist(), answer["p"])
