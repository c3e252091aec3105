"""Reading sterile services of a site as they are at one moment: the facts that `way` reckons with."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from cases.planning import durations
from cases.planning.waits import Machine
from cases.readiness.shelf import minute
from cases.readiness.way import Runs, Standing, Way, queue_places
from trays.instruments.models import Pack, PackState
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.processing.models_machines import (
    Indicator,
    IndicatorKind,
    IndicatorResult,
    MachineKind,
    RunPack,
    RunState,
)
from trays.processing.models_machines import Machine as MachineRow
from trays.processing.models_policy import TripKind
from trays.processing.policies import policy_on, programmes_on
from trays.processing.times import STAGES, Hours, hours_of, stage_laws
from trays.processing.trips import Journey, timetables

AHEAD_DAYS = 45
"""So many days of hours and timetable are laid out: the horizon, and a way back from its last day."""
_IN_THE_ROUND = (PackState.OPENED, *STAGES[:-1])


def way_at(*, site: Site, at: datetime) -> Way | None:
    """The way of the site's sets as its sterile services are now; None where no machine is on file.

    Seventeen queries at most, whatever there is; one where there is no machine.
    """
    rows = list(MachineRow.objects.filter(site=site))
    if not rows:
        return None
    day = site_day(site, at)
    hours = hours_of(site)
    trips = timetables(site)
    collections = trips[TripKind.COLLECTION]
    inside = list(
        RunPack.objects.filter(run__machine__in=rows, open=True).values_list(
            "pack_id", "run_id", "run__machine_id", "run__state", "run__started_at", "run__programme__minutes"
        )
    )
    known = _indicators(site, day, {row[1] for row in inside})
    shortest = {kind: _shortest(site, kind, day) for kind in MachineKind.values}
    return Way(
        now=minute(at),
        laws=stage_laws(site=site, at=at, hours=hours, collections=collections or None),
        hours=_windows(hours, day),
        working=hours,
        collections=_runs(collections.days(day, AHEAD_DAYS)),
        deliveries=_runs(trips[TripKind.DELIVERY].days(day, AHEAD_DAYS)),
        machines={
            kind: tuple(
                Machine(_free_at(row, inside, at), shortest[kind], row.packs)
                for row in rows
                if row.kind == kind and row.out_since is None and shortest[kind]
            )
            for kind in MachineKind.values
        },
        packs=_standings(
            site, at, hours, {row[0]: max(_until(row[3:], at), known.get(row[1], 0)) for row in inside}
        ),
    )


Inside = tuple[int, int, int, str, datetime | None, int]


def _shortest(site: Site, kind: str, day: date) -> int:
    """How long the shortest programme takes that is for more than use at once; 0 where there is none."""
    rows = programmes_on(site=site, kind=kind, day=day)
    return min((row.minutes for row in rows if not row.immediate_use), default=0)


def _until(run: tuple[str, datetime | None, int], at: datetime) -> int:
    """When the run that a pack is in ends; now, if it has; one that is being filled could start now."""
    state, started, minutes = run
    if state == RunState.FILLING:
        return minute(at) + minutes
    if state == RunState.RUNNING and started is not None:
        return minute(started) + minutes
    return minute(at)


def _indicators(site: Site, day: date, runs: Iterable[int]) -> dict[int, int]:
    """By run with implants in it the minute at which its biological indicator is looked for, where the site
    holds such a load back until then.
    """
    if not policy_on(site=site, day=day).biological_for_implants:
        return {}
    owed = Indicator.objects.filter(
        run__in=list(runs),
        run__implants=True,
        kind=IndicatorKind.BIOLOGICAL,
        result=IndicatorResult.OUTSTANDING,
        due_at__isnull=False,
    )
    return {run: minute(due) for run, due in owed.values_list("run_id", "due_at") if due is not None}


def _free_at(row: MachineRow, inside: Iterable[Inside], at: datetime) -> int:
    ends = [
        minute(started) + minutes
        for _pack, _run, machine, state, started, minutes in inside
        if machine == row.pk and state == RunState.RUNNING and started is not None
    ]
    return max([minute(at), *ends])


def _standings(site: Site, at: datetime, hours: Hours, until: dict[int, int]) -> dict[int, Standing]:
    """Every pack of the round; queues go by urgency, then by who has waited longest."""
    rows = list(
        Pack.objects.filter(set__site=site, state__in=_IN_THE_ROUND)
        .order_by("-urgent", "since", "number")
        .values_list("pk", "state", "since")
    )
    places = queue_places([(pk, state) for pk, state, _since in rows if pk not in until])
    return {
        pk: Standing(
            state=state,
            since=since,
            passed=hours.between(since, at) if since is not None else 0,
            place=places.get(pk),
            until=until.get(pk),
        )
        for pk, state, since in rows
    }


def _windows(hours: Hours, day: date) -> durations.Hours | None:
    if hours.always:
        return None
    # From the day before: what began then may end after midnight.
    rows = hours.windows(day - timedelta(days=1), AHEAD_DAYS + 1)
    joined: list[tuple[int, int]] = []
    for opens, closes in ((minute(a), minute(b)) for a, b in rows):
        if joined and opens <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(closes, joined[-1][1]))
        elif closes > opens:
            joined.append((opens, closes))
    return durations.Hours(tuple(joined))


def _runs(journeys: Iterable[Journey]) -> Runs:
    pairs = sorted((minute(one.leaves), minute(one.arrives)) for one in journeys)
    latest, arrives = 0, []
    for _leaves, there in pairs:
        latest = max(latest, there)
        arrives.append(latest)
    return Runs(tuple(leaves for leaves, _there in pairs), tuple(arrives))
