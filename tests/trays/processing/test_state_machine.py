"""Whatever people do to packs in whatever order: the laws of the round hold, a refusal changes nothing.

Short by default; TRAYSPAN_LONG=1 tries many more and longer rounds.
"""

import os
from collections.abc import Callable
from datetime import timedelta
from typing import Any, ClassVar

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from tests.trays.processing.conftest import Department
from tests.world import NOW
from trays.instruments.models import Pack, PackState
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.processing import bench, deciding, recalling, receiving, runs, storing
from trays.processing.models import Move
from trays.processing.models_machines import Indicator, Run, RunPack, RunState
from trays.processing.ways import way
from trays.web.errors import Refusal

LONG = os.environ.get("TRAYSPAN_LONG") == "1"
PACKS = st.integers(0, 3)


class Rounds(RuleBasedStateMachine):
    """A department that has four packs; its rules are what people do to them."""

    department: ClassVar[Department]
    first: ClassVar[list[int]]

    def __init__(self) -> None:
        super().__init__()
        self.block = transaction.atomic()
        self.block.__enter__()
        self.at = NOW

    def teardown(self) -> None:
        assert verify() == []
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)

    def pack(self, number: int) -> Pack:
        return Pack.objects.select_related("set__site", "place").get(pk=self.first[number])

    def act(self, do: Callable[..., Any], **what: Any) -> None:
        """Do it, or be refused and leave everything as it was."""
        self.at += timedelta(minutes=7)
        before = (
            Event.objects.count(),
            list(Pack.objects.order_by("pk").values_list()),
            Move.objects.count(),
        )
        try:
            do(at=self.at, **what)
        except Refusal as refused:
            assert refused.sentence and refused.next_step
            now = (
                Event.objects.count(),
                list(Pack.objects.order_by("pk").values_list()),
                Move.objects.count(),
            )
            assert now == before
        else:
            assert Event.objects.count() == before[0] + 1

    def latest_run(self, machine: Any, state: str) -> Run | None:
        rows = Run.objects.select_related("machine__site", "programme")
        return rows.filter(machine=machine, state=state).order_by("-pk").first()

    @rule(number=PACKS)
    def receive(self, number: int) -> None:
        self.act(
            receiving.packs_receive,
            by=self.department.technician,
            packs=[self.pack(number)],
            place=self.department.hall,
        )

    @rule(number=PACKS, reason=st.sampled_from(receiving.REASONS_BACK))
    def reject(self, number: int, reason: str) -> None:
        self.act(
            receiving.packs_reject,
            by=self.department.technician,
            packs=[self.pack(number)],
            reason=reason,
            place=self.department.hall,
        )

    @rule(number=PACKS, wash=st.booleans(), at_once=st.booleans())
    def fill(self, number: int, wash: bool, at_once: bool) -> None:
        machine = self.department.washer if wash else self.department.sterilizer
        if (run := self.latest_run(machine, RunState.FILLING)) is None:
            programme = (
                self.department.wash
                if wash
                else (self.department.at_once if at_once else self.department.steam)
            )
            self.act(runs.run_open, by=self.department.technician, machine=machine, programme=programme)
            run = self.latest_run(machine, RunState.FILLING)
        if run is not None:
            self.act(runs.run_fill, by=self.department.technician, run=run, packs=[self.pack(number)])

    @rule(number=PACKS, wash=st.booleans())
    def take_out(self, number: int, wash: bool) -> None:
        machine = self.department.washer if wash else self.department.sterilizer
        if run := self.latest_run(machine, RunState.FILLING):
            self.act(runs.run_take_out, by=self.department.technician, run=run, pack=self.pack(number))

    @rule(
        wash=st.booleans(),
        verdict=st.sampled_from(["passed", "passed", "failed"]),
        lot=st.sampled_from(["", "B1"]),
    )
    def run_through(self, wash: bool, verdict: str, lot: str) -> None:
        machine = self.department.washer if wash else self.department.sterilizer
        if run := self.latest_run(machine, RunState.FILLING):
            self.act(runs.run_start, by=self.department.technician, run=run, indicator_lot=lot)
        if run := self.latest_run(machine, RunState.RUNNING):
            self.act(runs.run_end, by=self.department.technician, run=run, verdict=verdict)

    @rule(passed=st.booleans())
    def decide_wash(self, passed: bool) -> None:
        if run := self.latest_run(self.department.washer, RunState.ENDED):
            self.act(
                deciding.wash_decide,
                by=self.department.technician,
                run=run,
                passed=passed,
                reason="Looked at",
            )

    @rule(release=st.booleans())
    def decide_load(self, release: bool) -> None:
        if run := self.latest_run(self.department.sterilizer, RunState.ENDED):
            if release:
                self.act(
                    deciding.load_release, by=self.department.sign_as(self.department.colleague), run=run
                )
            else:
                self.act(
                    deciding.load_fail,
                    by=self.department.sign_as(self.department.colleague),
                    run=run,
                    reason="Wet",
                )

    @rule(number=PACKS)
    def assemble(self, number: int) -> None:
        pack = self.pack(number)
        self.act(bench.assembly_begin, by=self.department.technician, pack=pack, place=self.department.hall)
        made = pack.assemblies.filter(round=pack.round).first()
        if made is not None and made.closed_at is None:
            self.act(bench.rest_there, by=self.department.technician, assembly=made)
            self.act(bench.assembly_close, by=self.department.technician, assembly=made)

    @rule(number=PACKS)
    def wrap(self, number: int) -> None:
        pack = self.pack(number)
        if made := pack.assemblies.filter(round=pack.round).first():
            self.act(
                bench.pack_close, by=self.department.technician, assembly=made, packaging="wrap",
                weight_grams=5000, indicator_lot="X1",
            )  # fmt: skip

    @rule(number=PACKS)
    def take_apart(self, number: int) -> None:
        pack = self.pack(number)
        if made := pack.assemblies.filter(round=pack.round).first():
            self.act(bench.assembly_reopen, by=self.department.technician, assembly=made)

    @rule(number=PACKS, act=st.sampled_from(["store", "issue", "return", "open", "quarantine"]))
    def handle(self, number: int, act: str) -> None:
        packs = [self.pack(number)]
        theatre, shelf = self.department.world.theatre, self.department.world.sterile_store
        if act == "store":
            self.act(storing.packs_store, by=self.department.technician, packs=packs, place=shelf)
        elif act == "issue":
            self.act(storing.packs_issue, by=self.department.technician, packs=packs, place=theatre)
        elif act == "return":
            self.act(storing.packs_return, by=self.department.technician, packs=packs, place=shelf)
        elif act == "open":
            self.act(storing.packs_open, by=self.department.world.cast.scrub, packs=packs, place=theatre)
        else:
            self.act(storing.packs_quarantine, by=self.department.technician, packs=packs, reason="doubt")

    @rule(number=PACKS, how=st.sampled_from(sorted(set(storing.OUT) - {"condemned"})))
    def take_out_of_the_round(self, number: int, how: str) -> None:
        self.act(storing.packs_take_out, by=self.department.technician, packs=[self.pack(number)], how=how)

    @rule(number=PACKS)
    def lift(self, number: int) -> None:
        self.act(
            recalling.quarantine_lift,
            by=self.department.sign_as(self.department.world.cast.quality),
            packs=[self.pack(number)],
        )

    @rule(grew=st.booleans())
    def read(self, grew: bool) -> None:
        row = Indicator.objects.select_related("run__machine__site").filter(result="outstanding").first()
        if row is not None:
            self.act(recalling.indicator_read, by=self.department.technician, indicator=row, grew=grew)

    @rule(scope=st.sampled_from(["this_load", "since_negative"]))
    def recall(self, scope: str) -> None:
        if run := self.latest_run(self.department.sterilizer, RunState.PASSED):
            self.act(
                recalling.recall_open, by=self.department.technician,
                machine=self.department.sterilizer, run=run, cause="failed_cycle", scope=scope,
                reason="Doubt",
            )  # fmt: skip

    @invariant()
    def each_pack_is_where_its_steps_led(self) -> None:
        for pack in Pack.objects.filter(pk__in=self.first):
            state = PackState.USED
            for number, step in enumerate(pack.moves.order_by("sequence"), start=1):
                assert (step.sequence, step.before) == (number, state)
                assert way(step.before, step.after) is not None
                state = step.after
            assert pack.state == state

    @invariant()
    def nothing_is_sterile_but_through_a_load_that_was_released_in_this_round(self) -> None:
        for pack in Pack.objects.filter(pk__in=self.first, state__in=Pack.READY):
            done = RunPack.objects.filter(pack=pack, round=pack.round, run__machine__kind="sterilizer")
            assert done.filter(run__state=RunState.PASSED).exists()
            assert not (pack.immediate_use and pack.state == PackState.STORED)

    @invariant()
    def a_pack_is_in_one_machine_and_what_is_in_a_load_is_in_its_load(self) -> None:
        for number in self.first:
            assert RunPack.objects.filter(pack_id=number, open=True).count() <= 1
        for pack in Pack.objects.filter(pk__in=self.first, state=PackState.IN_LOAD):
            inside = RunPack.objects.get(pack=pack, open=True)
            assert inside.run.machine_id == self.department.sterilizer.pk


@pytest.mark.slow
def test_the_laws_hold_whatever_is_done(department: Department) -> None:
    Rounds.department = department
    Rounds.first = [
        department.world.a_set("general", f"G-0{n}", state=PackState.USED).packs.get().pk for n in range(4)
    ]
    run_state_machine_as_test(
        Rounds,
        settings=settings(
            max_examples=400 if LONG else 40,
            stateful_step_count=60 if LONG else 25,
            deadline=None,
            suppress_health_check=list(HealthCheck),
        ),
    )
