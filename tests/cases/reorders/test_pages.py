"""The pages of reorder alerts and stock: who sees them, what they say, what they cost."""

import io
import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.utils import timezone
from openpyxl import load_workbook

from cases.reservations.models import Hold
from tests.world import World
from trays.parties.models import Party, Tenure

PAGES = ("/reorders/", "/stock/", "/stock/femoral-a/", "/stock/insert-a/", "/stock/soft-goods/")
SEES_STOCK = ("coordinator", "technician", "scrub", "circulating", "surgeon", "stores", "quality", "keeper")
SEES_REORDERS = ("coordinator", "stores", "quality", "keeper")


def today() -> date:
    """The pages go by the real clock."""
    return timezone.now().date()


@pytest.fixture
def busy(world: World) -> World:
    cache.clear()
    far = today() + timedelta(days=900)
    for key, component in world.components.items():
        if key[0] in ("femoral", "tibial", "insert"):
            world.unit(component, 2, expires=far)
    wanted = world.component("femoral", "2", side="right")
    wanted.units.all().delete()
    world.unit(wanted, 1, expires=far, tenure=Tenure.CONSIGNED, lot="T88101")
    for hour in (9, 10, 11):
        world.a_case(
            predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=today() + timedelta(days=2), hour=hour
        )
    return world


@pytest.mark.parametrize("who", SEES_STOCK)
def test_hospital_roles_see_stock(busy: World, as_person: Any, who: str) -> None:
    client = as_person(who)
    for page in PAGES[1:]:
        assert client.get(page).status_code == 200


@pytest.mark.parametrize("who", SEES_REORDERS)
def test_those_who_order_see_alerts(busy: World, as_person: Any, who: str) -> None:
    page = as_person(who).get("/reorders/").content.decode()
    assert "Three booked cases may take it by" in page
    assert "Femoral component A, RIGHT" in page


@pytest.mark.parametrize("who", ["technician", "scrub", "circulating", "surgeon", "supplier", "stranger"])
def test_others_do_not_see_alerts(busy: World, as_person: Any, who: str) -> None:
    assert as_person(who).get("/reorders/").status_code == 403


@pytest.mark.parametrize("who", ["supplier", "stranger"])
@pytest.mark.parametrize("page", PAGES[1:])
def test_nobody_else_sees_stock(busy: World, as_person: Any, who: str, page: str) -> None:
    assert as_person(who).get(page).status_code == 403


def test_another_sites_stock_is_not_there(busy: World, as_person: Any) -> None:
    far = as_person("far_coordinator")
    for page in PAGES:
        assert far.get(f"{page}?site=larkmere").status_code == 404
    assert "T88101" not in far.get("/stock/femoral-a/").content.decode()
    assert "Nothing is below" in far.get("/reorders/").content.decode()


def test_the_keeper_chooses_the_site(busy: World, as_person: Any) -> None:
    page = as_person("keeper").get("/stock/?site=fennside").content.decode()
    assert "site=larkmere" in page


def test_cells_show_whose_the_units_are_and_what_is_missing(busy: World, as_person: Any) -> None:
    page = as_person("stores").get("/reorders/").content.decode()
    assert 'class="half"' in page
    assert 'class="gap"' in page
    assert "1 usable, " in page
    assert "style=" not in page


def test_filters_by_supplier_and_day_and_nonsense(busy: World, as_person: Any) -> None:
    other = Party.objects.create(code="TAR", name="Tarn & Ridley", kind="supplier")
    busy.families["tibial"].components.update(supplier=other)
    for unit in busy.component("tibial", "2").units.all():
        unit.delete()
    client = as_person("stores")
    everything = client.get("/reorders/").content.decode()
    assert re.search(r"Tarn &amp; Ridley, \d", everything)
    assert "Tibial component A" not in client.get("/reorders/?supplier=MER").content.decode()
    assert "Femoral component A, RIGHT" not in client.get("/reorders/?supplier=TAR").content.decode()
    for query in ("supplier=%00", "when=x", "when=late", "page=999", "sort=-nonsense", "supplier=nobody"):
        assert client.get(f"/reorders/?{query}").status_code == 200
    assert client.get("/stock/femoral-a/?state=%00&side=x").status_code == 200


def test_the_family_page_names_holds_dates_and_places(busy: World, as_person: Any) -> None:
    component = busy.component("femoral", "1", side="left")
    soon, held = component.units.order_by("pk")
    soon.expires = today() + timedelta(days=10)
    soon.save()
    case = busy.a_case(reference="LK-7", day=today() + timedelta(days=5))
    Hold.objects.create(unit=held, case=case, placed_at=timezone.now(), placed_by=busy.cast.stores)
    client = as_person("stores")
    page = client.get("/stock/femoral-a/").content.decode()
    assert "held, LK-7" in page
    assert "short-dated" in page
    assert "Implant store, shelf 1" in page
    assert "T88101" not in client.get("/stock/femoral-a/?state=held").content.decode()
    assert "LK-7" not in client.get("/stock/femoral-a/?state=free").content.decode()


def test_an_unknown_family_is_not_there(busy: World, as_person: Any) -> None:
    for code in ("no-such-family", "%00", "a%0Ab", "x" * 3000, "../sets"):
        assert as_person("stores").get(f"/stock/{code}/").status_code == 404


def test_a_code_with_a_stroke_has_its_page_too(busy: World, as_person: Any) -> None:
    family = busy.families["patellar"]
    family.code = "pat/a.1"
    family.save()
    client = as_person("stores")
    assert 'href="/stock/pat/a.1/"' in client.get("/stock/").content.decode()
    assert client.get("/stock/pat/a.1/").status_code == 200


def test_files_say_what_the_screen_says_and_no_spreadsheet_runs_them(busy: World, as_person: Any) -> None:
    component = busy.component("femoral", "2", side="right")
    component.name = "=1+1"
    component.save()
    client = as_person("stores")
    text = client.get("/reorders/?as=csv").content.decode("utf-8-sig")
    heads = text.splitlines()[0].split(",")
    assert {"Code", "Usable", "Wanted", "Suggested quantity", "Order by", "Supplier"} <= set(heads)
    assert "'=1+1" in text
    assert ",=1+1" not in text
    book = load_workbook(io.BytesIO(client.get("/reorders/?as=xlsx").content))
    cells = [cell for row in book.active.iter_rows() for cell in row]
    assert any(cell.value == "'=1+1" for cell in cells)
    assert not any(cell.data_type == "f" for cell in cells)
    assert client.get("/stock/?as=csv").content.count(b"\r\n") == 6
    units = client.get("/stock/femoral-a/?units-as=csv").content.decode("utf-8-sig")
    assert "T88101" in units


def test_sorting_and_htmx_give_the_lines_alone(busy: World, as_person: Any) -> None:
    client = as_person("stores")
    part = client.get(
        "/reorders/?sort=-by", headers={"HX-Request": "true", "HX-Target": "table-lines"}
    ).content.decode()
    assert "<html" not in part and "<table" in part
    part = client.get(
        "/stock/femoral-a/?units-sort=-lot", headers={"HX-Request": "true", "HX-Target": "units-lines"}
    ).content.decode()
    assert "<html" not in part and "T88101" in part


def test_the_pages_keep_their_budgets_of_queries(
    busy: World, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    client = as_person("stores")
    client.get("/reorders/")  # the horizon is computed once and kept
    budgets = {
        # session, person, roles, sites; positions and the eleven of the alerts; what is set aside;
        # uses that wait for their bill
        "/reorders/": 20,
        # units, piles, families
        "/stock/": 19,
        # family, its components and its kin, units, holds
        "/stock/femoral-a/": 21,
        "/stock/soft-goods/": 21,
    }
    for page, most in budgets.items():
        with django_assert_max_num_queries(most):
            client.get(page)
