"""Units that will expire before they are likely to be used: how surely, and what can be done about it."""

from datetime import date, timedelta
from itertools import product
from typing import Any

import numpy as np
import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from cases.reorders.demand import Draw, ItemFacts, StockUnit
from cases.reorders.expiring import units_exchange
from cases.reorders.expiry import How, _by_date, expiring_at
from tests.world import World
from trays.catalogue.models import Component
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.loans.models_agreements import Agreement
from trays.orders.models import Order
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.stock.models import Unit
from trays.stock.models_apart import SupplierReturn
from trays.stock.models_transfers import Transfer
from trays.web.errors import NotAllowed, Refusal

DAY = date(2026, 12, 1)


def now() -> Any:
    return timezone.now()


def today() -> date:
    return now().date()


def facts(component: Component, dates: list[int], draws: list[tuple[int, float]]) -> ItemFacts:
    return ItemFacts(
        component=component,
        units=tuple(StockUnit(DAY + timedelta(days=n), Tenure.OWNED) for n in dates),
        draws=tuple(Draw(DAY + timedelta(days=n), case, one=p) for case, (n, p) in enumerate(draws)),
    )


@pytest.mark.parametrize(
    ("dates", "draws"),
    [
        ([5], [(3, 0.4)]),
        ([5], [(6, 1.0)]),
        ([0, 0, 4], [(0, 0.5), (2, 0.7), (4, 0.2)]),
        ([3, 3, 8, 9], [(1, 0.9), (2, 0.3), (5, 0.5), (8, 0.6), (9, 0.1)]),
    ],
)
def test_the_chance_is_that_of_playing_out_every_outcome(
    world: World, dates: list[int], draws: list[tuple[int, float]]
) -> None:
    """Each booked draw comes or does not; a unit is used if one comes while it is the first not expired."""
    component = world.component("tibial", "2")
    expected: dict[int, list[float]] = {}
    used = np.zeros(len(dates))
    for outcome in product((0, 1), repeat=len(draws)):
        p = float(np.prod([q if came else 1 - q for came, (_n, q) in zip(outcome, draws, strict=True)]))
        taken: set[int] = set()
        for came, (n, _q) in sorted(zip(outcome, draws, strict=True), key=lambda one: one[1][0]):
            free = [i for i, end in enumerate(dates) if end >= n and i not in taken]
            if came and free:
                taken.add(free[0])
        for i in taken:
            used[i] += p
    for i, end in enumerate(dates):
        expected.setdefault(end, []).append(float(used[i]))
    found = _by_date(facts(component, dates, draws), DAY)
    for end, chances in expected.items():
        assert found[DAY + timedelta(days=end)] == pytest.approx(sorted(chances, reverse=True))


@pytest.fixture
def dated(world: World) -> Unit:
    """A consigned unit of a size that nobody asks for, for another month."""
    cache.clear()
    (unit,) = world.unit(
        world.component("tibial", "4"), 1, expires=today() + timedelta(days=30), tenure=Tenure.CONSIGNED
    )
    return unit


def found(world: World) -> Any:
    return expiring_at(site=world.site, at=now(), others=[world.far_site])


def test_a_unit_without_any_known_use_is_listed_and_one_that_is_asked_for_is_not(
    world: World, dated: Unit
) -> None:
    wanted = world.component("tibial", "2")
    world.unit(wanted, 1, expires=today() + timedelta(days=30))
    world.unit(wanted, 2, expires=today() + timedelta(days=600))
    for n in (3, 5):
        world.a_case(
            predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=today() + timedelta(days=n),
            predicted_at=now() - timedelta(days=1),
        )  # fmt: skip
    lost = [one for one in found(world) if one.likely_lost]
    assert [one.unit for one in lost] == [dated]
    assert lost[0].chance < 0.1
    used = next(one for one in found(world) if one.unit.component == wanted)
    assert used.chance > 0.5 and used.offers == ()


def test_the_supplier_exchanges_within_the_window_of_the_agreement(world: World, dated: Unit) -> None:
    assert found(world)[0].offers == ()
    Agreement.objects.create(
        code="A1", site=world.site, supplier=world.supplier, valid_from=today() - timedelta(days=9),
        exchange_window_days=20,
    )  # fmt: skip
    assert found(world)[0].offers == ()
    Agreement.objects.update(exchange_window_days=60)
    assert [offer.how for offer in found(world)[0].offers] == [How.EXCHANGE]


def test_another_site_that_asks_for_it_takes_it_and_the_order_of_owners_may_be_why(
    world: World, dated: Unit
) -> None:
    far = Place.objects.create(site=world.far_site, code="T9", name="Theatre 9", kind="theatre", walk=9)
    case = world.a_case(
        predictions={"femoral": (3, 3), "tibial": (3, 3)}, day=today() + timedelta(days=5), theatre=far,
        predicted_at=now() - timedelta(days=1),
    )  # fmt: skip
    type(case).objects.filter(pk=case.pk).update(site=world.far_site)
    case.list.__class__.objects.filter(pk=case.list_id).update(site=world.far_site)
    (offer,) = found(world)[0].offers
    assert (offer.how, offer.site) == (How.MOVE, world.far_site)
    assert offer.chance > 0.5


def test_pressed_it_is_exchanged_in_one_act(world: World, dated: Unit) -> None:
    before = Event.objects.count()
    (order,) = units_exchange(by=world.cast.stores, site=world.site, units=[dated], at=now())
    assert Event.objects.count() == before + 1
    assert (order.kind, order.lines.get().lot) == ("exchange", dated.lot)
    assert SupplierReturn.objects.get().units.get().unit == dated
    dated.refresh_from_db()
    assert dated.state == Unit.State.QUARANTINE
    assert found(world) == ()
    assert verify() == []
    with pytest.raises(Refusal):
        units_exchange(by=world.cast.stores, site=world.site, units=[dated], at=now())
    assert Order.objects.count() == 1
    with pytest.raises(NotAllowed):
        units_exchange(by=world.cast.quality, site=world.site, units=[dated], at=now())


def test_the_page_and_its_buttons(world: World, dated: Unit, as_person: Any) -> None:
    Agreement.objects.create(
        code="A1", site=world.site, supplier=world.supplier, valid_from=today() - timedelta(days=9),
        exchange_window_days=60,
    )  # fmt: skip
    client = as_person("stores")
    url = reverse("expiry")
    page = client.get(url).content.decode()
    assert "1 unit expires within 180 days. 1 is not likely to be used before." in page
    assert f'value="exchange.{dated.pk}"' in page
    for nonsense in ("", "x", "move.1", "first.x", f"first.{dated.pk}.3", "exchange.\u0661"):
        assert client.post(url, {"do": nonsense}).status_code == 422
    assert client.post(url, {"do": f"first.{10**9}"}).status_code == 404
    assert client.post(url, {"do": f"move.{dated.pk}.{10**9}"}).status_code == 404
    answer = client.post(url, {"do": f"move.{dated.pk}.{world.far_site.pk}"}, follow=True)
    assert "Listed to go to Fennside" in answer.content.decode()
    Transfer.objects.get()
    assert "No unit here will expire" in client.get(url).content.decode()
    assert as_person("scrub").get(url).status_code == 403
    assert as_person("quality").post(url, {"do": f"first.{dated.pk}"}).status_code == 404
    assert "style=" not in page


def test_marked_to_be_used_first(world: World, dated: Unit, as_person: Any) -> None:
    client = as_person("stores")
    client.post(reverse("expiry"), {"do": f"first.{dated.pk}"})
    dated.refresh_from_db()
    assert dated.use_first
    assert "marked to be used first" in client.get(reverse("expiry")).content.decode()


def test_it_takes_a_fixed_number_of_queries(
    world: World, dated: Unit, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    client = as_person("stores")
    client.get(reverse("expiry"))
    world.unit(world.component("tibial", "3"), 30, expires=today() + timedelta(days=30))
    with django_assert_max_num_queries(40):
        client.get(reverse("expiry"))
