"""A snapshot with what is on its way: units from a day on, sets from a minute on. Nothing is written.

What is on its way is not on site, so no verdict counts it; a plan does, and the reasons of a case name it.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime

from cases.readiness.facts import Snapshot
from cases.readiness.shelf import minute


def with_coming(
    snapshot: Snapshot,
    *,
    units: Iterable[tuple[int, date]] = (),
    sets: Iterable[tuple[int, datetime]] = (),
) -> Snapshot:
    """The snapshot in which things have come.

    Parameters
    ----------
    units
        Component and the day from the start of which one more is there; one pair for each unit.
    sets
        Design and the moment from which one more set is ready.
    """
    arrivals: dict[int, list[date]] = defaultdict(list)
    for component, days in snapshot.arrivals.items():
        arrivals[component] += days
    for component, day in units:
        arrivals[component].append(day)
    due: dict[int, list[int]] = defaultdict(list)
    for design, minutes in snapshot.sets_due.items():
        due[design] += minutes
    for design, ready in sets:
        due[design].append(minute(ready))
    return replace(
        snapshot,
        arrivals={component: tuple(sorted(days)) for component, days in arrivals.items()},
        sets_due={design: tuple(sorted(minutes)) for design, minutes in due.items()},
    )
