"""A plan put together by hand, so that a test says exactly what is wanted; the real one is tested apart."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from cases.bookings.models import Case
from cases.picks import services
from cases.readiness.kinds import CaseVerdict, Horizon, Level, PickPlan, PickSize, PickSlot, Word
from tests.world import TODAY, World
from trays.catalogue.models import Component


@dataclass
class Plan:
    """What the stand-in plan says; tests fill it."""

    sizes: list[tuple[Component, str, bool]] = field(default_factory=list)
    sets: list[int] = field(default_factory=list)
    contingency_sets: list[int] = field(default_factory=list)
    consumables: list[tuple[int, int]] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)
    chance: float = 0.96
    on_site: Level | None = None
    before_answer: Callable[[], None] = lambda: None
    asked: int = 0

    def want(
        self, component: Component, group: str = "likely", *, minimum: bool = False, times: int = 1
    ) -> None:
        self.sizes += [(component, group, minimum)] * times

    def answer(self, *, case: Case, at: Any) -> PickPlan:
        by_slot: dict[tuple[str, str], list[PickSize]] = {}
        for component, group, minimum in self.sizes:
            sizes = by_slot.setdefault((component.family.slot, component.side), [])
            sizes.append(PickSize(component.pk, 0.5, group, minimum))
        slots = tuple(
            PickSlot(number, slot.capitalize(), side, tuple(sizes))
            for number, ((slot, side), sizes) in enumerate(by_slot.items())
        )
        self.asked += 1
        self.before_answer()
        return PickPlan(
            case_id=case.pk,
            slots=slots,
            set_ids=tuple(self.sets),
            contingency_set_ids=tuple(self.contingency_sets),
            consumables=tuple(self.consumables),
            in_room=Level(Word.COVERED, self.chance, False, 0.95, 0.0),
            minimum_added="",
            missing=tuple(self.missing),
        )


@pytest.fixture
def plan(world: World, monkeypatch: pytest.MonkeyPatch) -> Plan:
    """The plan in place of the forecast; a verdict on site only when the test gives one."""
    made = Plan()

    def horizon(*, site: Any, at: Any) -> Horizon:
        verdicts = {}
        if made.on_site is not None:
            verdicts = {case.pk: verdict(case, made.on_site) for case in Case.objects.filter(site=site)}
        return Horizon(site_id=site.pk, day=TODAY, cases=tuple(verdicts), verdicts=verdicts, demand={})

    monkeypatch.setattr(services, "pick_plan", made.answer)
    monkeypatch.setattr(services, "horizon", horizon)
    return made


def verdict(case: Case, on_site: Level) -> CaseVerdict:
    """A verdict with one reason."""
    return CaseVerdict(
        case_id=case.pk,
        reference=case.reference,
        day=TODAY,
        starts_at=case.starts_at,
        on_site=on_site,
        in_room=on_site,
        picked=False,
        reasons=("Femoral 3 RIGHT: one on site, also wanted by the next case.",),
        room_reasons=(),
        one_more=None,
        slots=(),
        run=(),
        sizes_line="",
        competitors=(),
        fault="",
    )
