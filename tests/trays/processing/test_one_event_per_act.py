"""Each act of a pack's round writes exactly one event: it names every step that a pack took, it names nobody,
and what is sent again is not done again.

The acts are found by walking the rooms: a new one that is not tried here fails.
"""

import inspect
import io
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from tests.cast import PASSWORD
from tests.trays.ledger.acts import left_out, verbs, writes_one_event
from tests.trays.processing.conftest import Department
from tests.world import NOW, TODAY, World
from trays.instruments import services as instruments
from trays.instruments.models import ContentsLine, Pack, PackState
from trays.instruments.models_pieces import Care
from trays.ledger.models import Event
from trays.processing import (
    bench,
    deciding,
    machines,
    putting,
    recalling,
    receiving,
    runs,
    shortfalls,
    storing,
    undoing,
)
from trays.processing.bench import Found
from trays.processing.models import Assembly, LineState, Move, Shortfall
from trays.processing.models_machines import DayTestRule, Indicator, Run
from trays.processing.models_recall import Recall
from trays.processing.receiving import Lacking
from trays.staff import signing

# What takes a moment and a person and yet is no whole act.
NO_WHOLE_ACT = {
    "sign", "notice", "end_for_line", "mark_back", "write_run",
    "issue_within", "open_within", "return_within",
}  # fmt: skip
LATER = NOW + timedelta(hours=3)
LOG = "seconds;temp °C\n" + "".join(f"{second};134.5\n" for second in range(0, 400, 10))

Act = Callable[..., Any]


class Floor:
    """A department with packs at every stage, taken there when an act asks for them."""

    def __init__(self, department: Department) -> None:
        self.at = department
        self.by = department.technician
        self.hall = department.hall
        self.shelf = department.world.sterile_store
        self.theatre = department.world.theatre
        self.quality = department.world.cast.quality

    def used(self) -> Pack:
        world = self.at.world
        return world.a_set("general", f"G-{world.next()}", state=PackState.USED).packs.get()

    def received(self) -> Pack:
        pack = self.used()
        self.at.receive(pack)
        return self.fresh(pack)

    def cleaned(self) -> Pack:
        pack = self.received()
        self.at.washed(pack)
        return self.fresh(pack)

    def packed(self) -> Pack:
        return self.fresh(self.at.packed(self.cleaned()))

    def released(self) -> Pack:
        pack = self.packed()
        self.at.released(pack)
        return self.fresh(pack)

    def stored(self) -> Pack:
        pack = self.released()
        self.at.stored(pack)
        return self.fresh(pack)

    def issued(self) -> Pack:
        pack = self.stored()
        storing.packs_issue(by=self.by, packs=[pack], place=self.theatre, at=NOW)
        return self.fresh(pack)

    def fresh(self, pack: Pack) -> Pack:
        return Pack.objects.select_related("set__site", "set__version", "place").get(pk=pack.pk)

    def list_open(self) -> Assembly:
        return bench.assembly_begin(by=self.by, pack=self.cleaned(), place=self.hall, at=NOW)

    def list_with_a_line(self) -> Assembly:
        made = self.list_open()
        line = self.lines(made)[0]
        bench.lines_check(
            by=self.by, assembly=made, found=[Found(line, LineState.MISSING, line.quantity - 1)], at=NOW
        )
        return made

    def list_spoken(self) -> Assembly:
        return bench.rest_there(by=self.by, assembly=self.list_open(), at=NOW)

    def lines(self, made: Assembly) -> list[ContentsLine]:
        return list(made.version.lines.filter(tray=made.pack.tray).order_by("number"))

    def wash(self, *, filled: bool = True, ended: bool = False) -> Run:
        made = runs.run_open(by=self.by, machine=self.at.washer, programme=self.at.wash, at=NOW)
        if filled:
            runs.run_fill(by=self.by, run=made, packs=[self.received()], at=NOW)
        if ended:
            runs.run_start(by=self.by, run=made, at=NOW)
            runs.run_end(by=self.by, run=made, verdict="passed", at=NOW + timedelta(minutes=55))
        return made

    def load(self, *, lot: str = "") -> Run:
        return self.at.loaded(self.packed(), lot=lot)

    def filling(self) -> Run:
        packed = self.packed()
        made = runs.run_open(by=self.by, machine=self.at.sterilizer, programme=self.at.steam, at=NOW)
        return runs.run_fill(by=self.by, run=made, packs=[packed], at=NOW)

    def recalled(self) -> Recall:
        run = self.at.released(self.packed())
        return recalling.recall_open(
            by=self.by, machine=self.at.sterilizer, run=run, cause="failed_cycle", scope="this_load",
            reason="door seal", at=LATER,
        )  # fmt: skip

    def doubted(self) -> Pack:
        """Released, and quarantined since for a doubt of its own."""
        pack = self.packed()
        self.at.released(pack)
        storing.packs_quarantine(by=self.by, packs=[pack], reason="doubt", at=LATER)
        return self.fresh(pack)

    def accounted(self) -> Recall:
        made = self.recalled()
        recalling.pack_account(by=self.by, sought=made.packs.get(), outcome="secured", at=LATER)
        return made

    def released_with_an_indicator(self) -> Indicator:
        run = self.load(lot="B77")
        deciding.load_release(by=self.at.sign_as(self.at.colleague), run=run, at=NOW)
        return run.indicators.get()

    def short(self) -> Shortfall:
        pack = self.used()
        line = pack.set.version.lines.filter(tray=pack.tray).order_by("number")[0]
        receiving.packs_receive(
            by=self.by, packs=[pack], place=self.hall, at=NOW,
            lacking=[Lacking(pack.pk, line, 1, "missing")],
        )  # fmt: skip
        return Shortfall.objects.get(pack=pack)

    def care(self) -> Care:
        return Care.objects.create(
            set=self.used().set, what="Sharpen", every_days=90, done_on=TODAY - timedelta(days=100)
        )

    def stopped(self) -> None:
        machines.machine_stop(by=self.by, machine=self.at.washer, reason="door seal", at=NOW)

    def rule(self) -> DayTestRule:
        return DayTestRule.objects.get(kind="washer")


def call(verb: Act, **given: Any) -> Act:
    """The act, to be done with a client key or without."""
    return lambda **key: verb(**given, **key)


def pin_known(f: Floor) -> Act:
    f.by.set_password(PASSWORD)
    f.by.save()
    return call(signing.pin_set, by=f.by, password=PASSWORD, pin="739164", at=NOW)


def lines_found(f: Floor) -> Act:
    made = f.list_open()
    first, *rest = f.lines(made)
    found = [Found(first, LineState.MISSING, first.quantity - 1)]
    found += [Found(line, LineState.THERE, line.quantity) for line in rest]
    return call(bench.lines_check, by=f.by, assembly=made, found=found, at=NOW)


# What must have been done before each act, and then the act.
ACTS: dict[str, Callable[[Floor], Act]] = {
    "packs_receive": lambda f: call(
        receiving.packs_receive, by=f.by, packs=[f.used(), f.used()], place=f.hall, at=NOW, urgent=True
    ),
    "packs_reject": lambda f: call(
        receiving.packs_reject, by=f.by, packs=[f.cleaned()], reason="dirty", place=f.hall, at=NOW
    ),
    "run_open": lambda f: call(
        runs.run_open, by=f.by, machine=f.at.washer, programme=f.at.wash, at=NOW
    ),
    "run_fill": lambda f: call(
        runs.run_fill, by=f.by, run=f.wash(filled=False), packs=[f.received(), f.received()], at=NOW
    ),
    "run_take_out": lambda f: (
        lambda run: call(runs.run_take_out, by=f.by, run=run, pack=run.packs.get().pack, at=NOW)
    )(f.filling()),
    "run_start": lambda f: call(runs.run_start, by=f.by, run=f.filling(), at=NOW, indicator_lot="B77"),
    "run_end": lambda f: (
        lambda run: call(
            runs.run_end, by=f.by, run=runs.run_start(by=f.by, run=run, at=NOW), verdict="passed", at=LATER
        )
    )(f.filling()),
    "run_give_up": lambda f: call(runs.run_give_up, by=f.by, run=f.filling(), at=NOW),
    "run_log_import": lambda f: (
        lambda run: lambda **key: runs.run_log_import(
            by=f.by, run=run, file=io.BytesIO(LOG.encode()), at=NOW, **key
        )
    )(f.load()),
    "wash_decide": lambda f: call(
        deciding.wash_decide, by=f.by, run=f.wash(ended=True), passed=True, at=LATER
    ),
    "load_release": lambda f: call(
        deciding.load_release, by=f.at.sign_as(f.at.colleague), run=f.load(), at=LATER
    ),
    "load_fail": lambda f: call(
        deciding.load_fail, by=f.at.sign_as(f.by), run=f.load(), reason="wet packs", at=LATER
    ),
    "indicator_add": lambda f: call(
        deciding.indicator_add, by=f.by, run=f.load(), kind="integrating", lot="I4", result="passed", at=LATER
    ),
    "indicator_read": lambda f: call(
        recalling.indicator_read, by=f.by, indicator=f.released_with_an_indicator(), grew=True, at=LATER
    ),
    "assembly_begin": lambda f: call(
        bench.assembly_begin, by=f.by, pack=f.cleaned(), place=f.hall, at=NOW
    ),
    "assembly_take_over": lambda f: call(
        bench.assembly_take_over, by=f.at.colleague, assembly=f.list_open(), at=NOW
    ),
    "lines_check": lines_found,
    "rest_there": lambda f: call(bench.rest_there, by=f.by, assembly=f.list_with_a_line(), at=NOW),
    "check_undo": lambda f: call(undoing.check_undo, by=f.by, assembly=f.list_with_a_line(), at=NOW),
    "assembly_close": lambda f: call(bench.assembly_close, by=f.by, assembly=f.list_spoken(), at=NOW),
    "assembly_reopen": lambda f: call(
        bench.assembly_reopen, by=f.by, assembly=f.at.assembled(f.cleaned()), at=NOW
    ),
    "pack_close": lambda f: call(
        bench.pack_close, by=f.by, assembly=f.at.assembled(f.cleaned()), packaging="wrap", weight_grams=6200,
        indicator_lot="X2", at=NOW,
    ),
    "packs_store": lambda f: call(
        storing.packs_store, by=f.by, packs=[f.released()], place=f.shelf, bin="1-2", at=LATER
    ),
    "packs_issue": lambda f: call(
        storing.packs_issue, by=f.by, packs=[f.stored()], place=f.theatre, at=LATER
    ),
    "packs_return": lambda f: call(
        storing.packs_return, by=f.by, packs=[f.issued()], place=f.shelf, at=LATER
    ),
    "packs_put": lambda f: call(putting.packs_put, by=f.by, packs=[f.stored()], place=f.theatre, at=LATER),
    "packs_open": lambda f: call(storing.packs_open, by=f.by, packs=[f.issued()], place=f.theatre, at=LATER),
    "packs_quarantine": lambda f: call(
        storing.packs_quarantine, by=f.by, packs=[f.stored()], reason="torn", at=LATER
    ),
    "packs_take_out": lambda f: call(
        storing.packs_take_out, by=f.by, packs=[f.received()], how="repair", at=LATER
    ),
    "recall_open": lambda f: call(
        recalling.recall_open, by=f.by, machine=f.at.sterilizer, run=f.at.released(f.packed()),
        cause="faulty_machine", scope="this_load", reason="door seal", at=LATER,
    ),
    "pack_account": lambda f: call(
        recalling.pack_account, by=f.by, sought=f.recalled().packs.get(), outcome="secured", at=LATER
    ),
    "recall_close": lambda f: call(
        recalling.recall_close, by=f.at.sign_as(f.quality), recall=f.accounted(), at=LATER
    ),
    "quarantine_lift": lambda f: call(
        recalling.quarantine_lift, by=f.at.sign_as(f.quality),
        packs=[f.doubted()], at=LATER,
    ),
    "shortfall_end": lambda f: call(
        shortfalls.shortfall_end, by=f.by, shortfall=f.short(), how="found", at=LATER
    ),
    "day_test_record": lambda f: call(
        machines.day_test_record, by=f.by, machine=f.at.washer, rule=f.rule(), passed=False, at=LATER
    ),
    "machine_stop": lambda f: call(
        machines.machine_stop, by=f.by, machine=f.at.washer, reason="door seal", at=LATER
    ),
    "machine_start": lambda f: (
        f.stopped(), call(machines.machine_start, by=f.by, machine=f.at.washer, at=LATER)
    )[1],
    "care_done": lambda f: call(instruments.care_done, by=f.by, care=f.care(), at=NOW),
    "pin_set": pin_known,
}  # fmt: skip


@pytest.fixture
def floor(department: Department) -> Floor:
    return Floor(department)


def test_every_act_of_the_round_is_tried_here() -> None:
    names = verbs(of_the_round=True)
    assert left_out(names, tried=ACTS, halves=NO_WHOLE_ACT) == ([], set())


def test_an_act_that_is_not_tried_is_found() -> None:
    assert left_out(["wash", "dry"], tried=["wash"], halves=[]) == (["dry"], set())
    assert left_out(["wash", "wash"], tried=["wash"], halves=["rinse"]) == (["wash", "wash"], {"rinse"})


@pytest.mark.parametrize("name", ACTS)
def test_an_act_of_the_round_writes_one_event_that_names_its_steps_and_nobody(
    name: str, floor: Floor, world: World
) -> None:
    act = ACTS[name](floor)
    known = set(Move.objects.values_list("pk", flat=True))
    people = [person.name for person in (*world.cast.by_role().values(), floor.at.colleague)]
    event = writes_one_event(act, nameless=people)
    steps = Move.objects.exclude(pk__in=known).values_list("pack", "before", "after")
    told = event.lines.filter(subject="pack").values_list("subject_id", "before", "after")
    assert set(steps) <= set(told)


@pytest.mark.parametrize("name", ACTS)
def test_an_act_of_the_round_sent_again_with_its_key_is_not_done_again(name: str, floor: Floor) -> None:
    act = ACTS[name](floor)
    key = {"client_key": uuid4()} if takes_a_key(name) else None
    if key is None:
        assert name in WITHOUT_A_KEY
        return
    act(**key)
    count, steps = Event.objects.count(), Move.objects.count()
    act(**key)
    assert (Event.objects.count(), Move.objects.count()) == (count, steps)


WITHOUT_A_KEY = {"assembly_take_over", "pin_set"}
"""Doing these again comes to the same."""


def takes_a_key(name: str) -> bool:
    homes = (
        bench, deciding, instruments, machines, putting, recalling, receiving, runs, shortfalls, signing,
        storing, undoing,
    )  # fmt: skip
    (verb,) = {getattr(home, name) for home in homes if hasattr(home, name)}
    return "client_key" in inspect.signature(verb).parameters
