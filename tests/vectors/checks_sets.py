"""q6: identical sets over a day, one sterilizer."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from cases.planning.turnaround import AT_ONCE, Round, over_a_day

Vector = dict[str, Any]

GRID = 5
"""Minutes: the vectors give a latest leave as a multiple of this."""


def day_of_sets(given: Vector, answer: Vector) -> Iterator[str]:
    """q6, all of it."""
    way = Round(given["decon"], given["cycle"], given["cap"], given["after"], (given["free_at"],))
    cases = [(start, end) for start, end in given["cases"]]
    found = over_a_day(cases, [AT_ONCE] * given["sets"], way)
    mine: dict[str, object] = {
        "feasible": found.feasible,
        "first_conflict": found.wait.case if found.wait else None,
        "sets_needed": found.sets_needed,
        "latest_leave": None,
    }
    if found.latest_leave is not None:
        mine["latest_leave"] = [
            None if leave is None else leave - leave % GRID for leave in found.latest_leave
        ]
    for what, value in mine.items():
        if value != answer[what]:
            yield f"{what} is {answer[what]!r}, the planner says {value!r}"
