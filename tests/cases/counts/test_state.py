"""One picture of a count for page, device and paper: always the same few queries, and all of it as JSON."""

import json
from typing import Any

import pytest

from cases.counts import staging
from cases.counts.bringing_in import Opened
from cases.counts.kinds_count import as_json
from cases.counts.state import count_state
from tests.cases.counts.theatre import a_theatre
from tests.world import World

pytestmark = pytest.mark.django_db
QUERIES = 19


def test_a_case_that_was_not_opened_has_no_picture(world: World) -> None:
    assert count_state(world.a_case()) is None


def test_the_picture_takes_the_same_queries_for_an_empty_and_a_full_count(
    world: World, django_assert_num_queries: Any
) -> None:
    theatre = a_theatre(world)
    with django_assert_num_queries(QUERIES):
        count_state(theatre.case)
    for number in range(3):
        theatre.bring_in(world.a_set("general", f"KG-{number}"), opened_already=Opened("other", "S. Scrub"))
    theatre.begin("First")
    theatre.add("Gauze", 5)
    theatre.accept("First")
    theatre.count_right("First")
    theatre.close("First")
    theatre.begin("Cavity")
    theatre.count("Cavity", "Gauze", 4)
    theatre.steps(theatre.differs("Cavity", "Gauze"), 1, 2)
    staging.count_pause(**theatre.said(klass="soft"))
    with django_assert_num_queries(QUERIES):
        state = count_state(theatre.case)
    assert state is not None
    assert len(state.lines) == 12


def test_the_picture_goes_through_json_whole_and_with_its_words(world: World) -> None:
    theatre = a_theatre(world)
    theatre.begin("First")
    theatre.add("Gauze", 10)
    theatre.count("First", "Gauze", 9)
    sent = json.loads(json.dumps(as_json(theatre.state())))
    gauze = next(line for line in sent["lines"] if line["name"] == "Gauze")
    stage = str(theatre.stage("First").pk)
    assert (gauze["should_be"], gauze["said"], gauze["entries"][stage]["counted"]) == (10, "1 fewer", 9)
    assert gauze["newest"][stage] == gauze["entries"][stage]["id"]
    assert sent["board"][0]["said"] == "1 fewer"
    assert sent["board"][0]["under_way"] is True
    assert sent["opened_at"].endswith("+00:00")
    assert sent["caution"].startswith("Count aloud")


def test_between_two_stages_the_board_shows_how_the_last_one_ended(world: World) -> None:
    theatre = a_theatre(world)
    theatre.begin("First")
    theatre.add("Gauze", 10)
    theatre.count_right("First")
    theatre.close("First")
    state = theatre.state()
    assert (state.current, state.next) == (None, theatre.stage("Cavity").pk)
    assert [(row.klass, row.counted, row.said) for row in state.board if row.lines][:1] == [
        ("soft", 10, "equal")
    ]
    # What comes on between two stages is to be counted at the next one; the last one stays as it was agreed.
    theatre.add("Gauze", 5)
    gauze = next(line for line in theatre.state().lines if line.name == "Gauze")
    assert (gauze.should_be, gauze.said) == (15, "to count")
