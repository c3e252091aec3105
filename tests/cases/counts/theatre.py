"""A case counted in theatre, made quickly: soft goods of the plan, a set brought in, acts with few words."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

from cases.bookings.models import Case, PlanConsumable
from cases.counts import adding, counting, opening, settling, staging
from cases.counts.bringing_in import pack_bring_in
from cases.counts.kinds_count import CountState
from cases.counts.models_counts import CountLine, Entry, PackIn, Stage, TheatreCount
from cases.counts.models_discrepancies import Discrepancy
from cases.counts.state import count_state
from tests.world import NOW, World
from trays.catalogue.models import Component, Family
from trays.instruments.models import InstrumentSet, Pack
from trays.staff.models import Person


@dataclass
class Theatre:
    """One case in theatre; each act a minute after the one before."""

    world: World
    case: Case
    now: datetime = NOW
    soft: dict[str, Component] = field(default_factory=dict)

    @property
    def scrub(self) -> Person:
        return self.world.cast.scrub

    @property
    def circulating(self) -> Person:
        return self.world.cast.circulating

    def said(self, **more: Any) -> dict[str, Any]:
        """Who, for which case, when."""
        self.now += timedelta(minutes=1)
        return {"by": self.circulating, "case": self.case, "at": self.now, **more}

    def open(self, **more: Any) -> None:
        opening.case_open(**self.said(scrub=self.scrub, circulating=self.circulating, **more))

    def bring_in(self, one: InstrumentSet | Pack, **more: Any) -> PackIn:
        pack = one if isinstance(one, Pack) else one.packs.get()
        return pack_bring_in(**self.said(pack=pack, indicator=more.pop("indicator", "seen"), **more))

    def line(self, name: str) -> CountLine:
        return CountLine.objects.get(count__case=self.case, name__startswith=name)

    def stage(self, word: str) -> Stage:
        return Stage.objects.get(count__case=self.case, word__startswith=word)

    def begin(self, word: str) -> Stage:
        return counting.stage_begin(**self.said(stage=self.stage(word).pk))

    def add(self, name: str, quantity: int, **more: Any) -> Any:
        return adding.added_record(**self.said(line=self.line(name).pk, quantity=quantity, **more))

    def count(self, word: str, name: str, counted: int, **more: Any) -> Entry:
        line, stage = self.line(name), self.stage(word)
        if "seen" not in more:
            newest = Entry.objects.filter(line=line, stage=stage).order_by("-pk").first()
            more["seen"] = newest.pk if newest else None
        return counting.count_enter(**self.said(line=line.pk, stage=stage.pk, counted=counted, **more))

    def accept(self, word: str) -> list[Entry]:
        packs = list(PackIn.objects.filter(count__case=self.case).values_list("pk", flat=True))
        return counting.packs_accept(**self.said(stage=self.stage(word).pk, packs=packs))

    def count_right(self, word: str) -> None:
        """Count every line that has no number yet as it should be."""
        stage = self.stage(word)
        for line in self.state().lines:
            if line.verdict != "equal" and line.klass in self.state().stage(stage.pk).classes:
                counting.count_enter(
                    **self.said(
                        line=line.pk, stage=stage.pk, counted=line.should_be, seen=line.newest.get(stage.pk)
                    )
                )

    def close(self, word: str, **more: Any) -> Stage:
        people = {"scrub": self.scrub, "circulating": self.circulating, **more}
        return staging.stage_close(**self.said(stage=self.stage(word).pk, **people))

    def whole_stage(self, word: str) -> Stage:
        """Begin a stage, count all as it should be, close it."""
        self.begin(word)
        self.count_right(word)
        return self.close(word)

    def differs(self, word: str, name: str) -> Discrepancy:
        return settling.discrepancy_open(**self.said(stage=self.stage(word).pk, line=self.line(name).pk))

    def steps(self, one: Discrepancy, *numbers: int) -> None:
        for number in numbers:
            settling.step_done(**self.said(discrepancy=one.pk, number=number))

    def settle(self, one: Discrepancy, outcome: str, **more: Any) -> Discrepancy:
        facts = {"second": self.scrub, "note": "Searched; x-ray shows nothing.", **more}
        return settling.discrepancy_settle(**self.said(discrepancy=one.pk, outcome=outcome, **facts))

    def state_row(self) -> TheatreCount:
        return TheatreCount.objects.get(case=self.case)

    def state(self) -> CountState:
        state = count_state(self.case)
        assert state is not None
        return state


def soft_goods(world: World) -> dict[str, Component]:
    """Swabs by fives, blades and pins in the plan of the world."""
    assert world.plan is not None
    family = Family.objects.filter(kind="consumable").first() or Family.objects.create(
        code="consumables", name="Consumables", kind="consumable", sided=False
    )
    made = {}
    for rank, (name, klass, multiple) in enumerate(
        (("Gauze", "soft", 5), ("Wide gauze", "soft", 5), ("Blade", "sharp", 1), ("Pin", "small", 4)),
        start=50,
    ):
        made[name] = Component.objects.create(
            family=family, code=f"soft-{rank}", name=name, size_rank=rank, supplier=world.supplier,
            count_class=klass, count_multiple=multiple,
        )  # fmt: skip
        PlanConsumable.objects.create(plan=world.plan, component=made[name], quantity=1)
    return made


def a_theatre(world: World, *, opened: bool = True, **case: Any) -> Theatre:
    """A booked case with soft goods in its plan; opened unless told otherwise."""
    soft = soft_goods(world)
    theatre = Theatre(world, world.a_case(**case), soft=soft)
    if opened:
        theatre.open()
    return theatre


def key() -> Any:
    return uuid4()
