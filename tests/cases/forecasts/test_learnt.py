"""What a site's own outcomes teach: planner by planner, each leaning on the others, and slots together."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import numpy as np
import pytest

from cases.bookings.models import CaseSlot
from cases.forecasts.learnt import ErrorLaw, ErrorLaws, Foretold
from cases.forecasts.models import ErrorTable, ErrorTableRow, Outcome
from cases.forecasts.queries import MOST_OUTCOMES, error_laws
from cases.planning.learning import DEFAULT_STRENGTH
from tests.world import NOW, TODAY, World

XRAY, CT = "xray_template", "ct_template"
EXACT = (0.0, 0.0, 0.2, 0.6, 0.2, 0.0, 0.0)
TABLES = {(slot, method): (EXACT, "Our own") for slot in ("femoral", "tibial") for method in (XRAY, CT)}


def seen(
    errors: list[int], planner: int | None = 1, slot: str = "femoral", method: str = XRAY
) -> list[Foretold]:
    return [Foretold(slot, method, planner, error, f"case {n}") for n, error in enumerate(errors)]


def laws(*groups: list[Foretold]) -> ErrorLaws:
    return ErrorLaws(TABLES, tuple(one for group in groups for one in group))


def larger(law: ErrorLaw) -> float:
    """The chance that a larger size is used than was predicted."""
    return sum(law.offsets[len(law.offsets) // 2 + 1 :])


def test_a_planners_own_outcomes_move_the_law_further_than_another_planners() -> None:
    found = laws(seen([1] * 30, planner=1))
    own, other = found.of("femoral", XRAY, 1), found.of("femoral", XRAY, 2)
    untaught = laws().of("femoral", XRAY, 1)
    assert larger(own) > larger(other) > larger(untaught) + 0.1
    assert (own.own, own.others) == (30, 0)
    assert (other.own, other.others) == (0, 30)
    assert own.table == pytest.approx(untaught.offsets)


def test_another_method_or_slot_teaches_nothing() -> None:
    found = laws(seen([1] * 30, method=CT), seen([1] * 30, slot="tibial"))
    assert found.of("femoral", XRAY, 1).offsets == laws().of("femoral", XRAY, 1).offsets


def test_what_lies_beyond_the_table_counts_at_its_end() -> None:
    assert (
        laws(seen([9] * 20)).of("femoral", XRAY, 1).offsets
        == laws(seen([3] * 20)).of("femoral", XRAY, 1).offsets
    )


def test_lately_counts_more_than_long_ago() -> None:
    drifted, steady = laws(seen([0] * 60 + [1] * 60)), laws(seen([0, 1] * 60))
    assert larger(drifted.of("femoral", XRAY, 1)) > larger(steady.of("femoral", XRAY, 1)) + 0.1


def test_the_strength_is_assumed_until_twenty_groups_can_tell_and_then_fitted() -> None:
    rng = np.random.default_rng(2)
    groups = []
    for planner in range(20):
        law = rng.dirichlet(5.0 * np.array([0.005, 0.005, 0.2, 0.58, 0.2, 0.005, 0.005]))
        groups.append(seen((rng.choice(7, size=20, p=law) - 3).tolist(), planner=planner))
    few, enough = laws(*groups[:19]), laws(*groups)
    assert few.strength == (DEFAULT_STRENGTH, False)
    alpha, fitted = enough.strength
    assert fitted
    assert 5 / 2 < alpha < 5 * 2
    law = enough.of("femoral", XRAY, 3)
    assert (law.strength, law.fitted, law.groups) == (alpha, True, 20)


def pairs(count: int, *, together: bool = True) -> ErrorLaws:
    rng = np.random.default_rng(7)
    femoral = rng.integers(-1, 2, size=count).tolist()
    tibial = femoral if together else rng.integers(-1, 2, size=count).tolist()
    return laws(seen(femoral), seen(tibial, slot="tibial"))


def test_two_slots_go_together_from_fifty_cases_on_if_that_foretold_better() -> None:
    assert pairs(50).pair("femoral", "tibial", XRAY).used
    assert not pairs(49).pair("femoral", "tibial", XRAY).used
    assert pairs(49).pair("femoral", "tibial", XRAY).gain > 0
    assert not pairs(200, together=False).pair("femoral", "tibial", XRAY).used
    assert pairs(60).pair("femoral", "tibial", CT).cases == 0


def test_a_case_with_two_outcomes_of_one_slot_is_no_pair() -> None:
    one = Foretold("femoral", XRAY, 1, 0, "A")
    other = Foretold("tibial", XRAY, 1, 0, "A")
    assert ErrorLaws(TABLES, (one, other)).pair("femoral", "tibial", XRAY).cases == 1
    assert ErrorLaws(TABLES, (one, one, other)).pair("femoral", "tibial", XRAY).cases == 0


def test_ten_years_of_outcomes_are_read_like_the_newest_of_them(
    world: World, django_assert_num_queries: Any
) -> None:
    component = world.component("femoral", "3", side="right")
    table = ErrorTable.objects.create(slot="femoral", method=XRAY, source="Ours", valid_from=TODAY)
    ErrorTableRow.objects.create(table=table, offset=0, weight=1)
    Outcome.objects.bulk_create(
        Outcome(
            site=world.site, reference=f"H{n}", slot="femoral", component=component, predicted_rank=2,
            used_on=TODAY - timedelta(days=n), method=XRAY, planner=world.cast.surgeon,
        )
        for n in range(MOST_OUTCOMES + 500)
    )  # fmt: skip
    with django_assert_num_queries(3):
        found = error_laws(site=world.site, on=TODAY)
    assert len(found.outcomes) == MOST_OUTCOMES
    assert found.outcomes[-1].reference == "H0"


@pytest.fixture
def both(world: World) -> Callable[[], dict[str, Any]]:
    """A knee on both sides, and what is predicted for each side's femoral slot."""
    from cases.readiness.snapshot import take

    case = world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)}, sides=("left", "right"))

    def predicted() -> dict[str, Any]:
        (facts,) = take(site=world.site, at=NOW, case=case).cases
        return {one.side: one.slots[0].prediction for one in facts.constructs}

    return predicted


def test_the_side_that_is_done_foretells_the_other(world: World, both: Callable[[], dict[str, Any]]) -> None:
    assert {one.method for one in both().values()} == {XRAY}
    slot = CaseSlot.objects.get(construct__side="left", plan_slot__code="femoral")
    Outcome.objects.create(
        site=world.site, case_slot=slot, reference=slot.construct.case.reference, slot="femoral",
        component=world.component("femoral", "4", side="left"), used_on=TODAY,
    )  # fmt: skip
    found = both()
    assert (found["right"].method, found["right"].low, found["right"].high) == ("other_side", 3, 3)
    assert found["left"].method == XRAY
