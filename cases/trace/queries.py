"""From a set or a recall to all it touched: a set's history in one query, a recall's cases in a fixed few."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import (
    CharField,
    Exists,
    F,
    IntegerField,
    OuterRef,
    Q,
    QuerySet,
    Subquery,
    TextField,
    Value,
)
from django.db.models.functions import Cast, Coalesce

from cases.bookings.models import Case
from cases.picks.models import PackFor, PickLine
from cases.reservations.models import SetHold
from trays.instruments.models import InstrumentSet, Pack, PackState
from trays.processing.models import Move
from trays.processing.models_machines import RunPack
from trays.processing.models_recall import Recall, RecallOutcome

ROUNDS_SHOWN = 12
"""So many rounds stand on one page of a history; older ones are a link away."""


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happened to one pack of a set: a step, or a run that it was in.

    `kind` is "step" or "run". `before` and `after` are states of the pack for a step; for a run `after` is
    what the run came to. `case` is the case that had the pack then, "" for none.
    """

    at: datetime
    pack: str
    pack_id: int
    tray: int
    round: int
    kind: str
    before: str
    after: str
    place: str
    by: str
    run_id: int | None
    run: str
    machine: str
    case_id: int | None
    case: str
    reason: str


def history(
    instrument_set: InstrumentSet, *, rounds: int = ROUNDS_SHOWN, until: int | None = None
) -> list[Happening]:
    """What happened to the packs of a set, newest round first, each round in order of time.

    One query, which reads the steps and runs of these packs by their indexes, however many others there are.
    `until` names the newest round shown (None: the one each pack is in); older rounds are asked for by it.
    """
    steps, runs = _steps(instrument_set, rounds, until), _runs(instrument_set, rounds, until)
    rows = [Happening(*row) for row in steps.union(runs, all=True)]
    # A run stands before the steps that came of it.
    rows.sort(key=lambda one: (-one.round, one.at, one.kind != "run", one.tray))
    return rows


def _newest(until: int | None) -> Value | F:
    return Value(until, output_field=IntegerField()) if until is not None else F("pack__round")


def _steps(one: InstrumentSet, rounds: int, until: int | None) -> QuerySet[Move, tuple[Any, ...]]:
    had = PackFor.objects.filter(
        Q(returned_at__isnull=True) | Q(returned_at__gte=OuterRef("at")),
        pack=OuterRef("pack"),
        round=OuterRef("round"),
        issued_at__lte=OuterRef("at"),
    ).order_by("-issued_at")
    newest = _newest(until)
    rows = Move.objects.filter(pack__set=one, round__lte=newest, round__gt=newest - rounds).order_by()
    return rows.annotate(
        kind=Value("step", output_field=CharField()),
        run_name=Coalesce(Cast("run__number", TextField()), Value("", output_field=TextField())),
        machine=Coalesce("run__machine__name", Value("")),
        who=Coalesce("by__name", Value("")),
        case=Subquery(had.values("case_id")[:1]),
        reference=Coalesce(Subquery(had.values("case__reference")[:1]), Value("")),
    ).values_list(
        "at", "pack__number", "pack_id", "pack__tray", "round", "kind", "before", "after", "place__name",
        "who", "run_id", "run_name", "machine", "case", "reference", "reason",
    )  # fmt: skip


def _runs(one: InstrumentSet, rounds: int, until: int | None) -> QuerySet[RunPack, tuple[Any, ...]]:
    newest = _newest(until)
    rows = RunPack.objects.filter(
        pack__set=one, round__lte=newest, round__gt=newest - rounds, run__started_at__isnull=False
    ).order_by()
    return rows.annotate(
        kind=Value("run", output_field=CharField()),
        before=Value("", output_field=CharField()),
        run_name=Cast("run__number", TextField()),
        who=Coalesce("run__decided_by__name", "run__opened_by__name"),
        case=Value(None, output_field=IntegerField()),
        reference=Value("", output_field=CharField()),
    ).values_list(
        "run__started_at", "pack__number", "pack_id", "pack__tray", "round", "kind", "before", "run__state",
        "run__machine__place__name", "who", "run_id", "run_name", "run__machine__name", "case", "reference",
        "run__reason",
    )  # fmt: skip


# Recalls


@dataclass(frozen=True, slots=True)
class HadOne:
    """A case that had a pack of a recall, in the round that is in doubt."""

    case: Case
    pack: str
    set: str
    design: str
    round: int
    issued_at: datetime
    opened: bool
    opened_at: datetime | None
    returned_at: datetime | None


@dataclass(frozen=True, slots=True)
class CountedOn:
    """An open case that counted on an affected set: by a hold of its own, its list's, or its pick list."""

    case: Case
    set: str
    design: str
    pack: str
    how: str


def cases_that_had(recall: Recall) -> list[HadOne]:
    """Every case that a pack of the recall left for in that round, those that opened it first (one query)."""
    opened = Move.objects.filter(
        pack=OuterRef("pack"), round=OuterRef("round"), after=PackState.OPENED, at__gte=OuterRef("issued_at")
    )
    rows = PackFor.objects.filter(
        pack__recalls__recall=recall, pack__recalls__round=F("round")
    ).select_related("case__site", "case__list__theatre", "case__procedure", "pack__set__version__design")
    found = [
        HadOne(
            case=row.case,
            pack=row.pack.number,
            set=row.pack.set.code,
            design=row.pack.set.version.design.name,
            round=row.round,
            issued_at=row.issued_at,
            opened=row.opened_at is not None or (row.returned_at is None and row.moved),
            opened_at=row.opened_at,
            returned_at=row.returned_at,
        )
        for row in rows.annotate(moved=Exists(opened))
    ]
    return sorted(found, key=lambda one: (not one.opened, one.issued_at, one.set, one.pack))


def cases_that_counted(recall: Recall) -> list[CountedOn]:
    """Open cases that counted on a pack which the recall has seized or still seeks, and which nobody has
    opened (three queries, up to three more for lists that share sets).
    """
    rows = recall.packs.filter(
        outcome__in=[RecallOutcome.OPEN, RecallOutcome.SECURED], round=F("pack__round")
    ).exclude(pack__state__in=Pack.IN_USE)
    sought = list(
        rows.values_list(
            "pack_id",
            "pack__number",
            "pack__set_id",
            "pack__set__code",
            "pack__set__version__design__name",
        )
    )
    by_set = {row[2]: row for row in sought}
    by_pack = {row[0]: row for row in sought}
    found: dict[tuple[int, int], CountedOn] = {}
    for hold in _holds(by_set):
        cases = [hold.case] if hold.case is not None else list(hold.list.cases.all() if hold.list else [])
        for case in cases:
            if case.status in OPEN:
                row = by_set[hold.set_id]
                how = "held" if hold.case_id else "list"
                found.setdefault((case.pk, hold.set_id), CountedOn(case, row[3], row[4], row[1], how))
    for line in _lines(by_pack):
        row = by_pack[line.pack_id or 0]
        case = line.pick_list.case
        found.setdefault((case.pk, row[2]), CountedOn(case, row[3], row[4], row[1], "listed"))
    return sorted(found.values(), key=lambda one: (one.case.starts_at, one.case.reference, one.set))


OPEN = (Case.Status.BOOKED, Case.Status.OPENED)


def _holds(sets: Iterable[int]) -> QuerySet[SetHold]:
    rows = SetHold.objects.filter(set__in=list(sets), ended_at__isnull=True)
    return rows.select_related("case__list__theatre", "case__procedure", "list__theatre").prefetch_related(
        "list__cases__list__theatre", "list__cases__procedure"
    )


def _lines(packs: Iterable[int]) -> QuerySet[PickLine]:
    rows = PickLine.objects.filter(
        pack__in=list(packs), pick_list__replaced_at__isnull=True, pick_list__case__status__in=OPEN
    )
    return rows.select_related("pick_list__case__list__theatre", "pick_list__case__procedure")
