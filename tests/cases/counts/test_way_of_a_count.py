"""A count from the opening of the case to its last stage."""

import pytest

from cases.bookings.models import Case
from cases.counts.kinds_count import as_json
from cases.counts.models_counts import Entry
from tests.cases.counts.theatre import a_theatre
from tests.world import World
from trays.web.errors import Refusal

pytestmark = pytest.mark.django_db


def test_a_case_is_counted_from_first_to_final(world: World) -> None:
    theatre = a_theatre(world)
    assert Case.objects.get().status == "opened"
    theatre.begin("First")
    theatre.add("Gauze", 5)
    theatre.add("Gauze", 5)
    theatre.add("Blade", 1)
    with pytest.raises(Refusal, match="not-balanced"):
        theatre.close("First")
    theatre.count_right("First")
    theatre.close("First")
    theatre.whole_stage("Cavity")
    theatre.whole_stage("Final")
    state = theatre.state()
    assert [stage.state for stage in state.stages] == ["closed"] * 3
    assert {gap.code for gap in state.gaps} == {"unsigned"}
    assert {line["name"]: line["should_be"] for line in as_json(state)["lines"]}["Gauze"] == 10
    assert Entry.objects.filter(conflict=True).count() == 0
