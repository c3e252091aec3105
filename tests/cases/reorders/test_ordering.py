"""From an alert to a draft order: once, at the price in force, and set aside only for a reason."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.cache import cache
from django.db import IntegrityError
from django.urls import reverse
from django.utils import timezone

from cases.reorders.alerts import AlertRow, Because, alerts
from cases.reorders.models import LevelBy, SetAside, StockRule
from cases.reorders.reasons import reason
from cases.reorders.services import Bought, Wanted, alert_set_aside, alert_take_up, alerts_order, budget_order
from tests.world import World
from trays.catalogue.models import Component
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.loans.models_agreements import Price
from trays.orders.drafting import line_take_off
from trays.orders.models import Order, OrderLine
from trays.parties.models import Party
from trays.stock.models import Unit
from trays.stock.models_transfers import Transfer, TransferUnit
from trays.web.errors import NotAllowed, Refusal


def now() -> Any:
    return timezone.now()


def today() -> date:
    return now().date()


@pytest.fixture
def lacking(world: World) -> Component:
    """Three right knees in two days want a size of which one is there."""
    cache.clear()
    world.stock_everything(6)
    wanted = world.component("femoral", "2", side="right")
    wanted.units.all().delete()
    Unit.objects.update(expires=today() + timedelta(days=900))
    world.unit(wanted, 1, expires=today() + timedelta(days=900))
    for hour in (9, 11, 13):
        world.a_case(
            predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=today() + timedelta(days=2), hour=hour
        )
    return wanted


def alert(world: World, component: Component, *, way: bool = False) -> AlertRow:
    found = alerts(site=world.site, at=now())
    return next(row for row in (found.on_way if way else found.rows) if row.component == component)


def order(world: World, component: Component, **more: Any) -> list[Order]:
    row = alert(world, component)
    wanted = [Wanted(component.pk, row.suggested)]
    return alerts_order(by=world.cast.stores, site=world.site, wanted=wanted, at=now(), **more)


def test_an_alert_becomes_a_draft_and_is_then_on_its_way(world: World, lacking: Component) -> None:
    row = alert(world, lacking)
    (draft,) = order(world, lacking)
    line = draft.lines.get()
    assert (draft.state, draft.supplier, draft.site) == ("draft", world.supplier, world.site)
    assert (line.component, line.quantity) == (lacking, row.suggested)
    assert line.cause
    after = alert(world, lacking, way=True)
    assert (after.on_order, after.missing) == (row.suggested, 0)
    assert "not all of" in reason(after) and draft.number in reason(after)
    assert all(one.component != lacking for one in alerts(site=world.site, at=now()).rows)


def test_it_is_one_event_and_names_no_case(world: World, lacking: Component) -> None:
    before = Event.objects.count()
    order(world, lacking)
    event = Event.objects.order_by("-pk")[0]
    assert Event.objects.count() == before + 1
    assert event.verb == "reorder.order"
    assert {line.subject for line in event.lines.all()} == {"order", "order_line"}
    assert "R0" not in event.text
    assert verify() == []


def test_pressed_twice_is_ordered_once(world: World, lacking: Component) -> None:
    row, key = alert(world, lacking), uuid4()
    wanted = [Wanted(lacking.pk, row.suggested)]
    given = {"by": world.cast.stores, "site": world.site, "wanted": wanted, "at": now()}
    first = alerts_order(**given, client_key=key)
    assert alerts_order(**given, client_key=key) == first
    with pytest.raises(Refusal, match="no-such-alert"):
        alerts_order(**given, client_key=uuid4())
    assert OrderLine.objects.count() == 1


def test_what_a_page_showed_long_ago_is_not_ordered_as_it_was(world: World, lacking: Component) -> None:
    row = alert(world, lacking)
    with pytest.raises(Refusal, match="facts-changed"):
        alerts_order(
            by=world.cast.stores, site=world.site, wanted=[Wanted(lacking.pk, row.suggested + 1)], at=now()
        )
    assert not Order.objects.exists()


def test_one_cause_has_one_open_line_by_the_database_too(world: World, lacking: Component) -> None:
    (draft,) = order(world, lacking)
    line = draft.lines.get()
    with pytest.raises(IntegrityError):
        OrderLine.objects.create(
            order=draft, number=9, component=lacking, quantity=1, currency="GBP", cause=line.cause
        )


def test_a_line_taken_off_brings_the_alert_back(world: World, lacking: Component) -> None:
    before = alert(world, lacking).suggested
    (draft,) = order(world, lacking)
    line_take_off(by=world.cast.stores, line=draft.lines.get(), at=now())
    assert alert(world, lacking).suggested == before
    assert len(order(world, lacking)) == 1


def test_one_draft_for_each_supplier_at_the_price_in_force(world: World, lacking: Component) -> None:
    other = Party.objects.create(code="TAR", name="Tarn & Ridley", kind="supplier", lead_working_days=2)
    tibial = world.component("tibial", "2")
    world.families["tibial"].components.update(supplier=other)
    tibial.units.all().delete()
    Price.objects.create(
        supplier=world.supplier, component=lacking, price=Decimal("411.50"), currency="GBP",
        valid_from=today() - timedelta(days=9),
    )  # fmt: skip
    wanted = [Wanted(one.pk, alert(world, one).suggested) for one in (lacking, tibial)]
    first, second = alerts_order(by=world.cast.stores, site=world.site, wanted=wanted, at=now())
    assert (first.supplier, second.supplier) == (world.supplier, other)
    assert first.lines.get().unit_price == Decimal("411.5000")
    assert Event.objects.filter(verb="reorder.order").count() == 1


def test_a_unit_that_the_other_site_sends_is_on_its_way_and_one_that_leaves_is_not_there(
    world: World, lacking: Component
) -> None:
    row = alert(world, lacking)
    shelf = world.shelf
    far = type(shelf).objects.create(
        site=world.far_site, code="F1", name="Fennside store", kind="shelf", walk=1
    )
    (coming,) = world.unit(lacking, 1, place=far, expires=today() + timedelta(days=900))
    made = Transfer.objects.create(
        number="T1", source=world.far_site, target=world.site, made_at=now(), made_by=world.cast.stores
    )
    TransferUnit.objects.create(transfer=made, unit=coming)
    assert alert(world, lacking).suggested == row.suggested - 1
    out = Transfer.objects.create(
        number="T2", source=world.site, target=world.far_site, made_at=now(), made_by=world.cast.stores
    )
    TransferUnit.objects.create(transfer=out, unit=lacking.units.get(site=world.site))
    after = alert(world, lacking)
    assert (after.usable, after.suggested) == (0, row.suggested)


def test_those_who_do_not_order_are_refused(world: World, lacking: Component) -> None:
    wanted = [Wanted(lacking.pk, alert(world, lacking).suggested)]
    for who in (world.cast.quality, world.cast.technician, world.cast.far_coordinator):
        with pytest.raises(NotAllowed):
            alerts_order(by=who, site=world.site, wanted=wanted, at=now())


def aside(world: World, component: Component, **more: Any) -> SetAside:
    given = {"reason": "lent", "digest": alert(world, component).digest, **more}
    return alert_set_aside(by=world.cast.stores, site=world.site, component=component, at=now(), **given)


def test_setting_aside_needs_a_reason(world: World, lacking: Component) -> None:
    for reason_given, note in (("", ""), ("because", ""), ("other", "  ")):
        with pytest.raises(Refusal, match="no-reason"):
            aside(world, lacking, reason=reason_given, note=note)
    with pytest.raises(Refusal, match="facts-changed"):
        aside(world, lacking, digest="0" * 32)
    assert aside(world, lacking, reason="other", note="A colleague brings two").note
    with pytest.raises(Refusal, match="set-aside-already"):
        aside(world, lacking)


def test_an_alert_set_aside_is_away_until_its_facts_change(
    world: World, lacking: Component, as_person: Any
) -> None:
    aside(world, lacking)
    client = as_person("stores")
    page = client.get("/reorders/").content.decode()
    assert "Set aside, 1" in page
    assert "Femoral component A, RIGHT" not in page
    away = client.get("/reorders/?when=aside").content.decode()
    assert "Set aside on" in away and "S. Stores" in away and "Take it up again" in away
    lacking.units.all().delete()
    cache.clear()
    back = client.get("/reorders/").content.decode()
    assert "Femoral component A, RIGHT" in back
    assert "It is back: then 1 usable, 0 on order" in back
    assert "Set aside, 1" not in back
    aside(world, lacking)
    assert SetAside.objects.filter(ended_at__isnull=True).count() == 1
    assert SetAside.objects.count() == 2


def test_it_can_be_taken_up_again(world: World, lacking: Component) -> None:
    row = aside(world, lacking)
    alert_take_up(by=world.cast.stores, set_aside=row, at=now())
    with pytest.raises(Refusal, match="taken-up-already"):
        alert_take_up(by=world.cast.stores, set_aside=row, at=now())
    assert not SetAside.objects.filter(ended_at__isnull=True).exists()


def test_the_page_orders_with_a_press_and_shows_what_it_drafted(
    world: World, lacking: Component, as_person: Any
) -> None:
    client = as_person("stores")
    page = client.get("/reorders/").content.decode()
    value = re.search(rf'form="order" name="wanted" value="({lacking.pk}:\d+)"', page)
    key = re.search(r'name="client_key" value="([0-9a-f-]+)"', page)
    assert value and key
    for _press in range(2):
        answer = client.post(
            reverse("reorder-order"), {"wanted": value[1], "client_key": key[1]}, follow=True
        )
        assert "Drafted: Merrowfield, PO-" in answer.content.decode()
    assert Order.objects.count() == 1
    page = client.get("/reorders/?when=way").content.decode()
    assert "On its way" in page
    assert 'class="order"' in page
    for nonsense in ("x", "1", "1:2:3", "1:\u0662", "-1:2", ""):
        assert client.post(reverse("reorder-order"), {"wanted": nonsense}).status_code == 422
    assert client.post(reverse("reorder-order"), {}).status_code == 409


def test_the_page_sets_aside_with_a_reason_only(world: World, lacking: Component, as_person: Any) -> None:
    client = as_person("stores")
    url = reverse("reorder-set-aside", args=[lacking.pk])
    page = client.get(url).content.decode()
    digest = re.search(r'name="digest" value="([0-9a-f]+)"', page)
    assert digest and "Three booked cases may take it" in page
    wrong = client.post(url, {"reason": "other", "note": "", "digest": digest[1]})
    assert wrong.status_code == 422
    assert "Choose one; with another reason, say which." in wrong.content.decode()
    right = client.post(url, {"reason": "ending", "note": "", "digest": digest[1]}, follow=True)
    assert "Set aside: Femoral 2 right" in right.content.decode()
    assert client.get(url.replace(str(lacking.pk), "999999")).status_code == 404


def test_quality_sees_alerts_without_buttons(world: World, lacking: Component, as_person: Any) -> None:
    client = as_person("quality")
    page = client.get("/reorders/").content.decode()
    assert '<button class="btn" form=' not in page
    assert client.post(reverse("reorder-order"), {"wanted": "1:1"}).status_code == 403
    assert client.get(reverse("reorder-set-aside", args=[lacking.pk])).status_code == 403


def test_a_level_by_cost_follows_what_a_shortage_costs(world: World) -> None:
    cache.clear()
    item = world.component("consumable", "swab-5")
    item.piles.update(quantity=0)
    rule = StockRule.objects.create(
        site=world.site, component=item, level_by=LevelBy.COST, short_cost=Decimal(900), keep_cost=Decimal(10)
    )
    from cases.forecasts.models import Outcome
    from cases.reorders.demand import site_facts

    assert not Outcome.objects.exists()
    dear = next(one for one in site_facts(site=world.site, at=now()).items if one.component == item)
    assert dear.wanted is not None and dear.wanted > 0.99
    rule.short_cost, rule.keep_cost = Decimal(1), Decimal(900)
    rule.save()
    cheap = next(one for one in site_facts(site=world.site, at=now()).items if one.component == item)
    assert cheap.wanted is not None and cheap.wanted < 0.2
    with pytest.raises(IntegrityError):
        StockRule.objects.filter(pk=rule.pk).update(short_cost=None)


def test_an_alert_says_that_cost_asks_for_it(world: World, lacking: Component) -> None:
    """A neighbouring size that its cases hardly take: their target is met long before cost is."""
    hardly = world.component("femoral", "4", side="right")
    StockRule.objects.create(
        site=world.site, component=hardly, level_by=LevelBy.COST, short_cost=Decimal(90_000),
        keep_cost=Decimal("0.01"),
    )  # fmt: skip
    told = set()
    for left in (2, 1, 0):
        for unit in list(hardly.units.order_by("pk"))[left:]:
            unit.delete()
        rows = {row.component.pk: row for row in alerts(site=world.site, at=now()).rows}
        if hardly.pk in rows:
            told.add((rows[hardly.pk].why.because, "By what a shortage" in reason(rows[hardly.pk])))
    assert (Because.COST, True) in told


def test_what_a_budget_buys_becomes_drafts_once(world: World, lacking: Component, as_person: Any) -> None:
    lacking.units.all().delete()
    world.a_case(predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=today() + timedelta(days=7))
    client = as_person("stores")
    page = client.get("/reorders/budget/?amount=2&of=units").content.decode()
    buys = re.findall(r'name="buy" value="([\d:]+)"', page)
    key = re.search(r'name="client_key" value="([0-9a-f-]+)"', page)
    assert buys and key
    url = reverse("reorder-budget-order")
    assert client.post(url, {"buy": buys, "client_key": key[1]}).status_code == 303
    assert client.post(url, {"buy": buys, "client_key": key[1]}).status_code == 303
    assert Order.objects.count() == 1
    assert client.post(url, {"buy": buys, "client_key": str(uuid4())}).status_code == 409
    assert OrderLine.objects.count() == len(buys)
    with pytest.raises(Refusal, match="nothing-chosen"):
        budget_order(by=world.cast.stores, site=world.site, buys=[], at=now())
    with pytest.raises(Refusal, match="no-such-alert"):
        budget_order(by=world.cast.stores, site=world.site, buys=[Bought(10**8, 1, 0)], at=now())
