"""What is said of the pick list that would be made now."""

from datetime import timedelta

import pytest
from django.urls import reverse

from cases.forecasts.models import ErrorTable, Outcome
from cases.readiness.assess import case_board
from cases.readiness.listing import list_words
from tests.world import NOW, SIZES, TODAY
from trays.parties.models import Tenure


@pytest.fixture
def even(world):
    """Nothing is predicted, so each size counts alike; three femoral sizes of four reach the target."""
    ErrorTable.objects.all().delete()
    world.site.wanted_in_room = 0.7
    world.site.sizes_each_way = 0
    world.site.save()
    for name in ("patellar", "tibial", "insert"):
        world.slots[name].use = 0.0
        world.slots[name].save()
    world.sets_of_each(1)
    return world


def stock(world, *tenures: str) -> None:
    for size, tenure in zip(SIZES, tenures, strict=True):
        world.unit(world.component("femoral", size, side="right"), tenure=tenure)


def said(world) -> list[str]:
    board = case_board(case=world.a_case(predictions={}), at=NOW)
    assert board.room is not None
    assert board.law is not None
    return list(list_words(board.room, board.law, board.speaker))


def test_nothing_is_said_where_the_shortest_list_is_also_the_cheapest(even):
    stock(even, *[Tenure.OWNED] * 4)
    assert said(even) == []


def test_a_list_of_units_the_site_would_rather_open_is_named_beside_the_shortest(even):
    # By rank the shortest list is 1 to 3; the site would rather not open what is on loan.
    stock(even, Tenure.LOANED, Tenure.OWNED, Tenure.OWNED, Tenure.OWNED)
    assert said(even) == [
        "By the site’s order of owners and by trays, the list handled most cheaply brings Femoral 2–4 "
        "instead: 3 units, 1 loaned fewer."
    ]


def test_the_order_of_owners_is_the_sites_own(even):
    even.site.owner_order = ["loaned", "owned", "consigned"]
    even.site.save()
    stock(even, Tenure.LOANED, Tenure.OWNED, Tenure.OWNED, Tenure.OWNED)
    assert said(even) == []
    even.site.owner_order = ["owned", "loaned", "consigned"]
    even.site.save()
    assert "1 loaned fewer" in said(even)[0]


def test_a_list_with_fewer_trays_is_named(even):
    stock(even, *[Tenure.OWNED] * 4)
    even.site.wanted_in_room = 0.5
    even.site.save()
    # Two sizes are enough. Those up to 2 have blocks of their own, and these come in three trays.
    even.a_set("blocks-small", "A-01", trays=3)
    assert said(even) == [
        "By the site’s order of owners and by trays, the list handled most cheaply brings Femoral 3–4 "
        "instead: 2 units."
    ]


def test_what_unbroken_runs_and_the_sites_minimum_add_is_said(even):
    stock(even, *[Tenure.OWNED] * 4)
    even.site.sizes_each_way = 1
    even.site.wanted_in_room = 0.4
    even.site.save()
    board = case_board(case=even.a_case(predictions={"femoral": (1, 1)}), at=NOW)
    assert list_words(board.room, board.law, board.speaker) == (
        "The site’s minimum adds 1 unit to the computed list.",
    )


def test_what_sizes_in_between_cost_is_said(even):
    stock(even, *[Tenure.OWNED] * 4)
    even.site.wanted_in_room = 0.9
    even.site.save()
    # Lately the smallest and the largest size were used, and nothing in between.
    for number in range(400):
        Outcome.objects.create(
            site=even.site,
            reference=f"H-{number}",
            slot="femoral",
            component=even.component("femoral", SIZES[3 * (number % 2)], side="right"),
            used_on=TODAY - timedelta(days=20),
        )
    assert said(even) == ["2 units would do if sizes in between could be left out; unbroken runs make it 4."]


def test_the_page_of_the_case_says_it(even, as_person):
    stock(even, Tenure.LOANED, Tenure.OWNED, Tenure.OWNED, Tenure.OWNED)
    case = even.a_case(predictions={})
    page = as_person("coordinator").get(reverse("case", args=[case.pk])).content.decode()
    assert "the list handled most cheaply brings Femoral 2–4 instead" in page
