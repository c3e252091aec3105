"""The check of the vectors of learning (kind q7)."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np

from cases.planning.learning import Group, fit_strength, log_marginal
from cases.planning.learning_scores import prequential

Vector = dict[str, Any]

CLOSE = 1e-12
CLOSE_LOG = 1e-10
CLOSE_STRENGTH = 1e-9


def _number(value: float | Sequence[int]) -> float:
    return value[0] / value[1] if isinstance(value, list) else float(value)  # type: ignore[arg-type]


def _differ(what: str, mine: float | None, theirs: float | None, close: float) -> Iterator[str]:
    if mine is None or theirs is None:
        agree = mine is theirs
    else:
        agree = abs(mine - theirs) <= close
    if not agree:
        yield f"{what} is {theirs!r}, the planner says {mine!r}"


def _differ_rows(what: str, mine: Sequence[Any], theirs: Sequence[Any]) -> Iterator[str]:
    if np.shape(mine) != np.shape(theirs):
        yield f"{what} has the shape {np.shape(theirs)}, the planner gives {np.shape(mine)}"
        return
    for n, (a, b) in enumerate(zip(np.ravel(mine).tolist(), np.ravel(theirs).tolist(), strict=True)):
        yield from _differ(f"{what}[{n}]", a, b, CLOSE)


def learnt(given: Vector, answer: Vector) -> Iterator[str]:
    """q7, all of it."""
    prior, groups = given["prior_w"], given["groups"]
    alpha, keep = _number(given["alpha"]), _number(given.get("keep", 1))
    found = prequential(prior, groups, alpha=alpha, keep=keep)
    yield from _differ_rows("predictive", found.predictive.tolist(), answer["predictive"])
    if bool(found.impossible) != answer["impossible"]:
        yield f"impossible is {answer['impossible']}, the planner says {found.impossible}"
    log_score = None if found.impossible else found.log_score
    yield from _differ("log_score", log_score, answer["log_score"], CLOSE_LOG)
    yield from _differ("brier_mean", found.brier_mean, answer["brier_mean"], CLOSE)
    yield from _differ("rps_mean", found.rps_mean, answer["rps_mean"], CLOSE)
    for n, (mine, theirs) in enumerate(zip(found.posterior, answer["posterior"], strict=True)):
        yield from _differ_rows(f"posterior[{n}]", mine.tolist(), theirs)
    yield from _differ_rows("reliability", found.reliability.tolist(), answer["reliability"])
    counted = [Group(prior, np.bincount(cells, minlength=len(prior))) for cells in groups]
    yield from _strength(counted, given, answer)


def _strength(groups: Sequence[Group], given: Vector, answer: Vector) -> Iterator[str]:
    at_grid = [log_marginal(groups, _number(point)) for point in given["grid"]]
    if answer["log_marginal"] is None:
        if any(math.isfinite(value) for value in at_grid):
            yield "log_marginal is undefined, the planner gives numbers"
    else:
        for n, (mine, theirs) in enumerate(zip(at_grid, answer["log_marginal"], strict=True)):
            yield from _differ(f"log_marginal[{n}]", mine, theirs, CLOSE_LOG)
    found = fit_strength(groups)
    if found.at != (answer["alpha_hat_at"] or "impossible"):
        yield f"alpha_hat_at is {answer['alpha_hat_at']}, the planner says {found.at}"
    if answer["alpha_hat"] is not None:
        close = CLOSE_STRENGTH * answer["alpha_hat"]
        yield from _differ("alpha_hat", found.alpha, answer["alpha_hat"], close)
    elif found.at == "inside":
        yield f"alpha_hat is not a number, the planner says {found.alpha}"
