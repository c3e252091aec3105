"""The page "Best for a budget": what an amount buys in whole cases, and how sure that is."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.core.cache import cache
from django.utils import timezone

from cases.planning import spending
from cases.reorders.best_buys import best_buys, currency_of
from cases.reorders.demand import Draw, ItemFacts, SiteFacts, StockUnit
from tests.cases.reorders.test_arithmetic import DAY
from tests.cases.reorders.test_wishes import part
from tests.world import World
from trays.catalogue.models import Component
from trays.parties.workdays import due, next_workday

PAGE = "/reorders/budget/"
LATER = DAY + timedelta(days=4)


def today() -> date:
    """The pages go by the real clock."""
    return timezone.now().date()


@pytest.fixture
def busy(world: World) -> World:
    """Six knees next week; the middle femoral size is not there, everything else is."""
    cache.clear()
    far = today() + timedelta(days=900)
    for key, component in world.components.items():
        if key[0] in ("femoral", "tibial", "insert", "patellar"):
            world.unit(component, 6, expires=far)
    world.component("femoral", "2", side="right").units.all().delete()
    for hour in range(8, 14):
        world.a_case(
            predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=today() + timedelta(days=7), hour=hour
        )
    return world


def facts(*items: ItemFacts) -> SiteFacts:
    return SiteFacts(DAY, items, 0.95, {1: "LK-1", 2: "LK-2"})


def drawn(code: str, *cases: int, units: int = 0, day: date = LATER, **more: Any) -> ItemFacts:
    """An item that cases draw for sure, of which so many are there."""
    there = tuple(StockUnit(None, "owned") for _ in range(units))
    component = part(code)
    for name, value in more.items():
        setattr(component, name, value)
    return ItemFacts(component, there, draws=tuple(Draw(day, case, one=1.0) for case in cases))


def test_two_missing_components_of_one_case_are_bought_together_or_not_at_all() -> None:
    site = facts(drawn("a", 1), drawn("b", 1), drawn("c", 2))
    one = best_buys(site, amount=Decimal(1), currency="")
    assert [buy.component.code for buy in one.buys] == ["c"]
    assert (one.before, one.served, one.exact) == (0.0, 1.0, True)
    three = best_buys(site, amount=Decimal(3), currency="")
    assert {buy.component.code: buy.gain for buy in three.buys} == {"a": 1.0, "b": 1.0, "c": 1.0}
    assert three.served == 2.0
    assert {buy.references for buy in three.buys} == {("LK-1",), ("LK-2",)}


def test_what_comes_too_late_for_a_case_buys_it_nothing() -> None:
    arrives = due(next_workday(DAY), 2)
    late = best_buys(facts(drawn("a", 1, day=arrives)), amount=Decimal(5), currency="")
    assert (late.buys, late.served) == ((), 0.0)
    in_time = best_buys(facts(drawn("a", 1, day=arrives + timedelta(days=1))), amount=Decimal(5), currency="")
    assert [(buy.units, buy.arrives) for buy in in_time.buys] == [(1, arrives)]


def test_money_counts_by_price_and_what_has_none_is_left_out() -> None:
    site = facts(
        drawn("dear", 1, price=Decimal("90.00"), currency="GBP"),
        drawn("cheap", 2, price=Decimal("20.00"), currency="GBP", order_multiple=2),
        drawn("bare", 3),
    )
    assert currency_of(site.items) == "GBP"
    found = best_buys(site, amount=Decimal(50), currency="GBP")
    assert [(buy.component.code, buy.units, buy.cost) for buy in found.buys] == [
        ("cheap", 2, Decimal("40.00"))
    ]
    assert (found.unpriced, found.cost, found.cases) == (1, Decimal("40.00"), 3)
    assert currency_of(facts(drawn("bare", 1)).items) == ""


def test_no_booked_case_means_nothing_to_buy() -> None:
    found = best_buys(facts(ItemFacts(part("a"))), amount=Decimal(5), currency="")
    assert (found.cases, found.buys, found.gap) == (0, (), 0.0)
    assert best_buys(facts(), amount=Decimal(5), currency="").buys == ()


def test_the_page_says_what_to_buy_and_for_how_many_cases(busy: World, as_person: Any) -> None:
    page = as_person("stores").get(PAGE, {"amount": "6", "of": "units"}).content.decode()
    assert "of 6 booked cases at least" in page
    assert "Femoral component A, RIGHT" in page
    assert "Exact: no other purchase" in page
    assert "No component has a price on file: each unit counts as one." in page
    text = (
        as_person("stores").get(PAGE, {"amount": "6", "of": "units", "as": "csv"}).content.decode("utf-8-sig")
    )
    assert "Adds, in cases" in text.splitlines()[0]


def test_without_the_solver_the_page_calls_it_a_search_and_shows_the_gap(
    busy: World, as_person: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Two families are missing: one unit serves nobody, and the bound of the search does not know that.
    for key, component in busy.components.items():
        if key[0] in ("femoral", "tibial"):
            component.units.all().delete()
    monkeypatch.setattr(spending, "installed", lambda: False)
    page = as_person("stores").get(PAGE, {"amount": "1", "of": "units"}).content.decode()
    assert "Chosen by a search that need not find the best" in page
    assert "another purchase could serve at most" in page
    monkeypatch.undo()
    page = as_person("stores").get(PAGE, {"amount": "1", "of": "units"}).content.decode()
    assert "Exact: no other purchase" in page


def test_prices_are_used_where_they_are_on_file(busy: World, as_person: Any) -> None:
    Component.objects.filter(family__kind="implant").update(price=Decimal("250.00"))
    page = as_person("stores").get(PAGE, {"amount": "500", "of": "GBP"}).content.decode()
    assert "2 units for 500.00 GBP: of 6 booked cases at least" in page


@pytest.mark.parametrize(
    "query",
    [
        "amount=",
        "amount=x&of=units",
        "amount=-3&of=units",
        "amount=1e99&of=units",
        "amount=5&of=EUR",
        "of=units",
    ],
)
def test_a_bad_amount_is_named_and_kept(busy: World, as_person: Any, query: str) -> None:
    answer = as_person("stores").get(f"{PAGE}?{query}")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert 'class="wrong"' in page
    assert "Give an amount to see what it buys." in page
    if "amount=x" in query:
        assert 'value="x"' in page


@pytest.mark.parametrize("who", ["technician", "scrub", "circulating", "surgeon", "supplier", "stranger"])
def test_others_do_not_see_it(busy: World, as_person: Any, who: str) -> None:
    assert as_person(who).get(PAGE).status_code == 403


def test_another_sites_budget_is_not_there(busy: World, as_person: Any) -> None:
    assert as_person("far_coordinator").get(f"{PAGE}?site=larkmere").status_code == 404


def test_it_keeps_its_budget_of_queries(
    busy: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    client = as_person("stores")
    client.get(PAGE)  # the horizon is computed once and kept
    # session, person, roles, sites; positions and the eleven of the alerts
    with django_assert_max_num_queries(16):
        client.get(PAGE, {"amount": "8", "of": "units"})
