"""Stores in Chromium: an alert is ordered, approved, sent and received by scan, and the case is covered."""

import re
from collections.abc import Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.hashers import make_password
from django.core.cache import cache
from django.test import Client
from django.utils import timezone

from tests.world import World, make_world
from trays.catalogue.models import Component
from trays.identifiers import gs1
from trays.staff.models import Person
from trays.stock.models import Unit

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture
def world(committing: None) -> World:
    """The small world with a right knee in nine days whose likely femoral size is not on site."""
    cache.clear()
    made = make_world()
    made.stock_everything(4)
    made.sets_of_each(2)
    now = timezone.now()
    Unit.objects.update(expires=now.date() + timedelta(days=900))
    Component.objects.update(price=Decimal("100.00"))
    Person.objects.update(pin=make_password("4711"))
    made.component("femoral", "2", side="right").units.all().delete()
    made.a_case(
        predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=now.date() + timedelta(days=9),
        reference="LK-77", predicted_at=now - timedelta(days=2),
    )  # fmt: skip
    return made


@pytest.fixture
def signed_in(live_server: Any, chromium: Any, world: World) -> Iterator[Any]:
    """Somebody's page, signed in already."""
    contexts = []

    def page_of(person: Person) -> Any:
        client = Client()
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        cookie = client.cookies[settings.SESSION_COOKIE_NAME].value
        context = chromium.new_context(base_url=live_server.url)
        context.add_cookies(
            [{"name": settings.SESSION_COOKIE_NAME, "value": cookie, "url": live_server.url}]
        )
        contexts.append(context)
        page = context.new_page()
        page.complaints = []
        page.on("console", lambda said: page.complaints.append(said.text) if said.type == "error" else None)
        page.on("pageerror", lambda error: page.complaints.append(str(error)))
        return page

    yield page_of
    for context in contexts:
        context.close()


def test_from_an_alert_to_a_covered_case(world: World, signed_in: Any) -> None:
    coordinator, stores = signed_in(world.cast.coordinator), signed_in(world.cast.stores)
    coordinator.goto("/fortnight/")
    coordinator.get_by_role("link", name="LK-77").first.click()
    case_page = coordinator.url
    assert re.search(r"On site\s+Short", coordinator.locator("main").inner_text())
    assert "none on site" in coordinator.locator("main").inner_text()

    stores.goto("/reorders/")
    line = stores.locator("table.reorder tbody tr", has_text="Femoral component A, RIGHT").filter(
        has=stores.locator("th b.size", has_text="2")
    )
    line.get_by_role("button", name=re.compile("^Order 1")).click()
    stores.get_by_text(re.compile(r"Drafted: Merrowfield, PO-\d+")).wait_for()
    assert stores.get_by_role("link", name="On their way, 1").count() == 1

    coordinator.goto(case_page)
    assert "not sent or not confirmed yet" in coordinator.locator("main").inner_text()
    assert re.search(r"On site\s+Short", coordinator.locator("main").inner_text())

    stores.goto("/orders/")
    stores.get_by_role("link", name=re.compile(r"PO-\d+")).first.click()
    stores.get_by_label("PIN").fill("4711")
    stores.get_by_role("button", name="Sign and approve").click()
    stores.get_by_role("radio", name="By e-mail").check()
    stores.get_by_role("button", name="It was sent", exact=True).click()
    stores.get_by_role("link", name="Receive by scan").click()
    stores.get_by_role("button", name="Begin to take it in").click()

    wanted = world.component("femoral", "2", side="right")
    last = (timezone.now() + timedelta(days=800)).strftime("%y%m%d")
    label = gs1.build([("01", wanted.pack_levels.get().code), ("17", last), ("10", "N771")])
    stores.get_by_label("Scan or type a code").fill(label)
    stores.keyboard.press("Enter")
    stores.get_by_text("Everything has come").first.wait_for()
    stores.get_by_role("button", name="Finish this delivery").click()

    coordinator.goto(case_page)
    assert re.search(r"On site\s+Covered", coordinator.locator("main").inner_text())
    assert stores.complaints == [] and coordinator.complaints == []
