"""The work of sterile services by latest start: what is wanted next by when, what waits, what is late."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from django.db.models import Count, F

from cases.desks.next_act import Around, NextAct, around, next_act
from cases.desks.wanted import Wanted, wanted_next
from cases.picks.models import PackFor
from cases.readiness.facts import Snapshot
from cases.readiness.kinds import Word
from cases.readiness.shelf import moment
from cases.readiness.snapshot import take
from cases.readiness.way import SURE, Estimate, Way
from trays.instruments.models import Pack, PackState
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.processing.models_machines import Indicator, Run, RunState
from trays.processing.queries import MachineLine, machine_lines, outstanding
from trays.processing.times import STAGES

S = PackState
DAYS = 14
TO_DO = (S.OPENED, *STAGES, S.QUARANTINED)
"""What a pack is in while there is something to do with it."""


@dataclass(frozen=True, slots=True)
class WorkLine:
    """One pack: where it is since when, its next act, and whom it is wanted for.

    `start_by` is the latest start of the act; `late` the minutes since then. `chance` is that of being there
    by the start of its case; None where nobody can say, or no case wants it.
    """

    pack: Pack
    packs: int
    run: Run | None
    run_ends: datetime | None
    act: NextAct
    wanted: Wanted | None
    start_by: datetime | None
    late: int
    estimate: Estimate | None
    chance: float | None
    word: Word | None

    @property
    def starts(self) -> datetime | None:
        """When the case that wants it starts."""
        return moment(self.wanted.start) if self.wanted is not None else None

    @property
    def comes_late(self) -> bool:
        """Whether it is more likely than asked for to miss its case, although the act is not late yet."""
        due = self.estimate.at if self.estimate is not None else None
        return not self.late and self.wanted is not None and due is not None and due > self.wanted.start

    @property
    def order(self) -> tuple[bool, datetime, datetime, str]:
        """Those wanted first by latest start; then what no case wants, by how long it has waited."""
        far = datetime.max.replace(tzinfo=UTC)
        return (self.start_by is None, self.start_by or far, self.pack.since or far, self.pack.number)


@dataclass(frozen=True, slots=True)
class WorkBoard:
    """All that the page shows of one site."""

    at: datetime
    snapshot: Snapshot
    machines: tuple[MachineLine, ...]
    owed: tuple[Indicator, ...]
    lines: tuple[WorkLine, ...]

    @property
    def late(self) -> tuple[WorkLine, ...]:
        return tuple(line for line in self.lines if line.late)

    @property
    def wanted(self) -> tuple[WorkLine, ...]:
        return tuple(line for line in self.lines if line.wanted is not None)

    def releasable(self, run: Run) -> int:
        """How many packs can be released when a load ends."""
        return sum(1 for line in self.lines if line.run is not None and line.run.pk == run.pk)


def work_board(*, site: Site, at: datetime) -> WorkBoard:
    """The work of a site now (a fixed number of queries: the snapshot's, twelve more)."""
    snapshot = take(site=site, at=at, days=DAYS)
    packs = list(
        Pack.objects.filter(set__site=site, state__in=TO_DO)
        .select_related("set__version__design", "place")
        .annotate(of=Count("set__packs"))
    )
    beside = around(packs)
    had = PackFor.objects.filter(pack__in=packs, round=F("pack__round"), returned_at__isnull=True)
    wanted = wanted_next(snapshot, set(had.values_list("case_id", "pack__set_id")))
    lines = [_line(pack, snapshot, beside, wanted.get(pack.set_id), at) for pack in packs]
    return WorkBoard(
        at=at,
        snapshot=snapshot,
        machines=tuple(machine_lines(site=site, day=site_day(site, at))),
        owed=tuple(outstanding(sites=[site])),
        lines=tuple(sorted(lines, key=lambda line: line.order)),
    )


def _line(pack: Pack, snapshot: Snapshot, beside: Around, wanted: Wanted | None, at: datetime) -> WorkLine:
    run = beside.run_of(pack)
    act = next_act(pack, beside)
    way = snapshot.way
    estimate = way.estimate([(pack.pk, pack.state)]) if way is not None else None
    start_by = _start_by(pack, run, snapshot, wanted) if wanted is not None and not act.waits else None
    late = max(0, int((at - start_by).total_seconds() // 60)) if start_by is not None else 0
    chance = estimate.chance(wanted.start) if estimate is not None and wanted is not None else None
    return WorkLine(
        pack=pack,
        packs=getattr(pack, "of", 1),
        run=run,
        run_ends=_ends(run),
        act=act,
        wanted=wanted,
        start_by=start_by,
        late=late,
        estimate=estimate,
        chance=chance,
        word=_word(chance, snapshot) if wanted is not None else None,
    )


def _ends(run: Run | None) -> datetime | None:
    if run is None or run.started_at is None or run.state != RunState.RUNNING:
        return None
    return run.started_at + timedelta(minutes=run.programme.minutes)


def _start_by(pack: Pack, run: Run | None, snapshot: Snapshot, wanted: Wanted) -> datetime:
    """Back from the case's start: with the last delivery in time, through the stages that remain."""
    if snapshot.way is None:
        return moment(wanted.start - snapshot.policy.turnaround)
    way = snapshot.way
    ready = moment(way.last_delivery(wanted.start))
    return way.working.before(ready, minutes_left(way, pack.state, run))


def minutes_left(way: Way, state: str, run: Run | None) -> int:
    """The nine-in-ten working minutes of the stages from the next act on.

    A stage whose machine has been started is what remains of it once the door opens.
    """
    stage = {S.OPENED: S.USED, S.QUARANTINED: S.IN_LOAD}.get(S(state), S(state))
    stages: Sequence[str] = STAGES[STAGES.index(stage) :]
    minutes = [way.laws[name].quantile(SURE) for name in stages]
    if run is not None and run.state in (RunState.RUNNING, RunState.ENDED):
        minutes[0] = max(0, minutes[0] - run.programme.minutes)
    return sum(minutes)


def _word(chance: float | None, snapshot: Snapshot) -> Word:
    policy = snapshot.policy
    if chance is None:
        return Word.UNKNOWN
    if chance >= policy.wanted_in_room - 1e-9:
        return Word.COVERED
    return Word.THIN if chance >= policy.wanted_in_room - policy.margin - 1e-9 else Word.SHORT
