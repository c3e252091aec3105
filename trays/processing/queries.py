"""Reading the round: machines and what is in them, one run, what waits where, recalls. Fixed queries each."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Prefetch, Q, QuerySet

from trays.instruments.models import Pack, PackState
from trays.parties.models import Site
from trays.processing.models import Move, Shortfall
from trays.processing.models_machines import (
    DayTest,
    DayTestRule,
    Indicator,
    IndicatorResult,
    Machine,
    MachineKind,
    Run,
    RunLog,
    RunPack,
    RunState,
)
from trays.processing.models_recall import Recall, RecallOutcome, RecallPack
from trays.processing.policies import tests_owed


@dataclass(frozen=True, slots=True)
class MachineLine:
    """A machine now: the run that is in it or waits for a decision, and the tests it owes today."""

    machine: Machine
    run: Run | None
    packs: int
    until: datetime | None
    owed: tuple[DayTestRule, ...]

    @property
    def code(self) -> str:
        return self.machine.code


def machine_lines(*, site: Site, day: date) -> list[MachineLine]:
    """The machines of a site (four queries)."""
    machines = list(Machine.objects.filter(site=site).select_related("place", "site"))
    owed = tests_owed(machines=machines, day=day)
    newest: dict[int, Run] = {}
    runs = Run.objects.filter(machine__in=machines, state__in=Run.OPEN).select_related("programme")
    for run in runs.annotate(inside=Count("packs")).order_by("opened_at", "pk"):
        newest[run.machine_id] = run
    return [
        MachineLine(
            machine,
            inside := newest.get(machine.pk),
            getattr(inside, "inside", 0),
            _until(inside),
            tuple(owed[machine.pk]),
        )
        for machine in machines
    ]


def _until(run: Run | None) -> datetime | None:
    if run is None or run.started_at is None or run.state != RunState.RUNNING:
        return None
    return run.started_at + timedelta(minutes=run.programme.minutes)


def undecided(*, site: Site) -> list[Run]:
    """Runs of a site that have ended and wait for somebody's decision, oldest first (one query)."""
    rows = Run.objects.filter(machine__site=site, state=RunState.ENDED).select_related("machine", "programme")
    return list(rows.annotate(inside=Count("packs")).order_by("ended_at", "pk"))


def runs_of(machine: Machine, most: int = 30) -> QuerySet[Run]:
    """A machine's latest runs, newest first."""
    rows = machine.runs.select_related("programme", "decided_by").annotate(
        inside=Count("packs", distinct=True),
        owing=Count("indicators", filter=Q(indicators__result=IndicatorResult.OUTSTANDING), distinct=True),
    )
    return rows.order_by("-number")[:most]


def tests_of(machine: Machine, day: date) -> list[DayTest]:
    """The tests of one day, in the order they were done."""
    return list(
        DayTest.objects.filter(machine=machine, day=day).select_related("rule", "by").order_by("at", "pk")
    )


def whole_runs() -> QuerySet[Run]:
    """Runs with what their page shows."""
    packs = RunPack.objects.select_related("pack__set__version__design", "pack__place").order_by("position")
    return Run.objects.select_related(
        "machine__site", "machine__place", "programme", "opened_by", "decided_by", "early_with", "signature"
    ).prefetch_related(
        Prefetch("packs", packs),
        Prefetch("indicators", Indicator.objects.select_related("read_by").order_by("placed_at", "pk")),
        Prefetch("logs", RunLog.objects.select_related("imported_by").order_by("-imported_at", "-pk")),
    )


def waiting(*, site: Site, states: Iterable[str]) -> list[Pack]:
    """The packs of a site in these states, those that wait longest first."""
    rows = Pack.objects.filter(set__site=site, state__in=list(states))
    return list(
        rows.select_related("set__version__design", "set__site", "place").order_by(
            "-urgent", "since", "number"
        )
    )


def outstanding(*, sites: Iterable[Site]) -> list[Indicator]:
    """Results that are owed, those due first."""
    rows = Indicator.objects.filter(
        result=IndicatorResult.OUTSTANDING, run__machine__site__in=list(sites), run__started_at__isnull=False
    )
    return list(rows.select_related("run__machine__site", "run__programme").order_by("due_at", "pk"))


def open_shortfalls(*, sites: Iterable[Site]) -> QuerySet[Shortfall]:
    """What packs lack and nobody has ended, oldest first."""
    rows = Shortfall.objects.filter(ended_at__isnull=True, pack__set__site__in=list(sites))
    return rows.select_related(
        "pack__set__version__design", "pack__place", "line__instrument", "line__rack_stock", "noticed_by"
    ).order_by("noticed_at", "pk")


def recalls(*, sites: Iterable[Site]) -> QuerySet[Recall]:
    """Recalls, open ones first, with how many packs are still sought."""
    rows = Recall.objects.filter(site__in=list(sites)).select_related("site", "machine", "run", "opened_by")
    return rows.annotate(
        sought=Count("packs"), still=Count("packs", filter=Q(packs__outcome=RecallOutcome.OPEN))
    ).order_by("closed_at", "-opened_at")


def recall_packs(recall: Recall) -> Sequence[RecallPack]:
    """Every pack of a recall with where it is now, those still sought first (one query)."""
    rows = recall.packs.select_related(
        "pack__set__version__design", "pack__place", "run__machine", "outcome_by"
    )
    return sorted(rows, key=lambda row: (row.outcome != RecallOutcome.OPEN, row.pack.set.code, row.pack.tray))


def out_of_date(*, site: Site, day: date) -> list[Pack]:
    """What lies on the shelves of a site and may not be used any more (one query)."""
    rows = Pack.objects.filter(set__site=site, state=PackState.STORED, sterile_until__lt=day)
    return list(rows.select_related("set__version__design", "place").order_by("sterile_until", "number"))


def steps_of(pack: Pack, most: int = 40) -> list[Move]:
    """The latest steps of a pack, newest first (one query)."""
    rows = pack.moves.select_related("by", "place", "run__machine")
    return list(rows.order_by("-sequence")[:most])


def lacks_of(pack: Pack) -> list[Shortfall]:
    """What a pack lacks (one query)."""
    rows = pack.shortfalls.filter(ended_at__isnull=True)
    return list(rows.select_related("line__instrument", "line__rack_stock").order_by("line__number", "pk"))


def run_of(pack: Pack) -> RunPack | None:
    """The run that a pack is in, or was in last in this round (one query)."""
    rows = pack.runs.filter(round=pack.round).select_related("run__machine")
    return rows.order_by("-run__opened_at", "-pk").first()


def runs_that_take(pack: Pack) -> list[Run]:
    """The runs being filled into which a pack can go now (one query)."""
    kinds = {PackState.RECEIVED: MachineKind.WASHER, PackState.PACKED: MachineKind.STERILIZER}
    kind = kinds.get(PackState(pack.state))
    rows = Run.objects.filter(
        state=RunState.FILLING, machine__site_id=pack.set.site_id, machine__kind=kind or ""
    )
    return list(rows.exclude(packs__pack=pack).select_related("machine").order_by("machine__code"))
