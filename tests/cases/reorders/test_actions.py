"""Which loan, order or transfer: the cheapest plan, accepted in one act, whose receipt covers the case."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.contrib.auth.hashers import make_password
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case
from cases.picks.retime import set_holds_follow
from cases.readiness.assess import horizon
from cases.readiness.kinds import Word
from cases.reorders.accepting import Accepted, plan_accept
from cases.reorders.models import Proposal
from cases.reorders.views_actions import offered_for
from cases.reservations.models import SetHold
from tests.world import World
from trays.catalogue.models import Component
from trays.instruments.models import InstrumentSet
from trays.ledger.models import Event
from trays.ledger.queries import verify
from trays.loans.arriving import loan_units_arrive
from trays.loans.asking import loan_confirm
from trays.loans.models import Loan
from trays.loans.models_agreements import LoanOffer, LoanOfferUnit
from trays.orders.deliveries import Label, delivery_begin, delivery_receive
from trays.orders.documents import papers_of
from trays.orders.drafting import OrderWish, order_draft
from trays.orders.models import Order
from trays.orders.services import order_approve, order_send
from trays.parties.models import Tenure
from trays.places.models import Place
from trays.staff.signing import signer
from trays.stock.models import Unit
from trays.stock.models_transfers import Transfer
from trays.stock.services import Goods
from trays.stock.transferring import transfer_send
from trays.stock.transfers_in import transfer_receive
from trays.web.errors import NotAllowed, Refusal


def now() -> Any:
    return timezone.now()


def today() -> date:
    return now().date()


@pytest.fixture
def short(world: World) -> Case:
    """A right knee in nine days, its likely femoral size not on site; all else is there, with a price."""
    cache.clear()
    world.stock_everything(4)
    world.sets_of_each(2)
    Unit.objects.update(expires=today() + timedelta(days=900))
    Component.objects.update(price=Decimal("100.00"))
    wanted = femoral(world)
    wanted.units.all().delete()
    world.a_case(
        predictions={"femoral": (3, 3), "tibial": (3, 3)}, day=today() + timedelta(days=9), hour=8,
        predicted_at=now() - timedelta(days=4),
    )  # fmt: skip
    return world.a_case(
        predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=today() + timedelta(days=9), hour=11,
        reference="LK-77", predicted_at=now() - timedelta(days=4),
    )  # fmt: skip


def femoral(world: World) -> Component:
    return world.component("femoral", "2", side="right")


def word(world: World, case: Case) -> Word:
    return horizon(site=world.site, at=now()).verdicts[case.pk].on_site.word


def offer(world: World, fee: str, units: int = 1, component: Component | None = None) -> LoanOffer:
    made = LoanOffer.objects.create(
        code=f"OF{world.next()}", name="Femoral box", supplier=world.supplier, fee=Decimal(fee),
        currency="GBP",
        lead_working_days=1, valid_from=today() - timedelta(days=9),
    )  # fmt: skip
    LoanOfferUnit.objects.create(offer=made, component=component or femoral(world), quantity=units)
    return made


def far_shelf(world: World) -> Place:
    return Place.objects.get_or_create(
        site=world.far_site, code="F1", defaults={"name": "Fennside store", "kind": "shelf", "walk": 1}
    )[0]


def plans(case: Case, *, may_reorder: bool = True) -> Any:
    return offered_for(
        Case.objects.select_related("site", "list").get(pk=case.pk), now(), may_reorder=may_reorder
    )


def accept(world: World, case: Case, place: int = 0, **more: Any) -> Proposal:
    offered, coming = plans(case)
    given = {"by": world.cast.coordinator, **more}
    return plan_accept(
        accepted=Accepted(Case.objects.select_related("site", "list__site", "list__theatre").get(pk=case.pk),
                          offered.plans[place], offered, coming),
        at=now(), **given,
    )  # fmt: skip


def kinds(plan: Any) -> list[tuple[str, int]]:
    return [(act.doing.kind, act.times) for act in plan.acts]


def test_the_cheapest_thing_that_covers_the_case_is_proposed(world: World, short: Case) -> None:
    assert word(world, short) is Word.SHORT
    offered, _coming = plans(short)
    best = offered.plans[0]
    assert kinds(best) == [("order", 1)]
    assert best.holds and best.proven
    assert best.cost == Decimal("100.00")
    assert best.after[short.pk].word is Word.COVERED
    offer(world, "60.00")
    offered, _coming = plans(short)
    assert [kinds(plan) for plan in offered.plans] == [[("loan", 1)], [("order", 1)]]
    world.unit(femoral(world), 2, place=far_shelf(world), expires=today() + timedelta(days=900))
    offered, _coming = plans(short)
    assert kinds(offered.plans[0]) == [("transfer", 1)]
    assert offered.plans[0].acts[0].without.word is Word.SHORT


def test_what_cannot_come_in_time_or_is_needed_there_is_not_proposed(world: World, short: Case) -> None:
    late = offer(world, "1.00")
    late.lead_working_days = 60
    late.save()
    (unit,) = world.unit(femoral(world), 1, place=far_shelf(world), expires=today() + timedelta(days=5))
    offered, _coming = plans(short)
    assert kinds(offered.plans[0]) == [("order", 1)]
    world.supplier.lead_working_days = 60
    world.supplier.save()
    offered, _coming = plans(short)
    assert offered.plans == ()
    unit.expires = today() + timedelta(days=900)
    unit.save()
    assert kinds(plans(short)[0].plans[0]) == [("transfer", 1)]


def test_an_accepted_order_received_by_scan_covers_the_case(
    world: World, short: Case, as_person: Any
) -> None:
    accept(world, short)
    (order,) = Order.objects.all()
    assert order.state == "draft"
    assert word(world, short) is Word.SHORT, "what is on its way is not on site"
    offered, _coming = plans(short)
    assert offered.plans == ()
    assert offered.coming[short.pk].word is Word.COVERED
    stores = world.cast.stores
    stores.pin = make_password("4820")
    stores.save()
    order = order_approve(by=signer(person=stores, pin="4820"), order=order, at=now())
    order = order_send(by=stores, order=order, way="mail", papers=papers_of(order), at=now())
    delivery = delivery_begin(by=stores, order=order, place=world.shelf, at=now())
    line = order.lines.get()
    label = Label(component=line.component, lot="N771", serial="", expires=today() + timedelta(days=800))
    delivery_receive(by=stores, delivery=delivery, label=label, count=line.quantity, at=now())
    assert word(world, short) is Word.COVERED
    page = as_person("coordinator").get(reverse("case", args=[short.pk])).content.decode()
    assert "v-covered" in page and "Femoral 2 RIGHT: none on site" not in page
    assert verify() == []


def test_a_plan_of_several_things_is_one_act(world: World, short: Case) -> None:
    """A loan of one size, another size from the other site: made together, with one event."""
    tibial = world.component("tibial", "2")
    tibial.units.all().delete()
    offer(world, "40.00")
    world.unit(tibial, 3, place=far_shelf(world), expires=today() + timedelta(days=900))
    before = Event.objects.count()
    made = accept(world, short)
    assert Event.objects.count() == before + 1
    event = Event.objects.order_by("-pk")[0]
    assert event.verb == "plan.accept"
    assert {"proposal", "loan", "transfer"} <= {line.subject for line in event.lines.all()}
    assert "LK-77" not in event.text
    assert [act.kind for act in made.acts.all()] == ["transfer", "loan"]
    loan, transfer = Loan.objects.get(), Transfer.objects.get()
    assert (loan.status, loan.case_key) == ("asked", str(short.pk))
    assert (transfer.status, transfer.source, transfer.target) == ("made", world.far_site, world.site)
    assert {one.unit.component for one in transfer.units.all()} == {tibial}
    assert made.chance_after > made.chance_before
    assert verify() == []


def test_accepted_twice_is_done_once(world: World, short: Case) -> None:
    offered, coming = plans(short)
    case = Case.objects.select_related("site", "list__site", "list__theatre").get(pk=short.pk)
    accepted, key = Accepted(case, offered.plans[0], offered, coming), uuid4()
    given = {"by": world.cast.coordinator, "accepted": accepted, "at": now()}
    first = plan_accept(**given, client_key=key)
    assert plan_accept(**given, client_key=key) == first
    with pytest.raises(Refusal, match="plan-out-of-date"):
        plan_accept(**given, client_key=uuid4())
    assert Order.objects.count() == 1


def test_only_those_who_decide_accept(world: World, short: Case, as_person: Any) -> None:
    for who in ("quality", "technician", "far_coordinator"):
        with pytest.raises(NotAllowed):
            accept(world, short, by=getattr(world.cast, who))
    url = reverse("case-actions", args=[short.pk])
    assert as_person("scrub").get(url).status_code == 404
    assert "Accept this plan" not in as_person("quality").get(url).content.decode()
    assert as_person("quality").post(url, {"plan": "x"}).status_code == 404
    assert as_person("coordinator").get(reverse("case-actions", args=[10**8])).status_code == 404


def test_the_page_shows_what_each_thing_buys_and_accepts_with_a_press(
    world: World, short: Case, as_person: Any
) -> None:
    offer(world, "60.00")
    client = as_person("coordinator")
    case_page = client.get(reverse("case", args=[short.pk])).content.decode()
    url = reverse("case-actions", args=[short.pk])
    assert f'href="{url}"' in case_page
    page = client.get(url).content.decode()
    assert "The cheapest way to mend that costs 60.00 GBP." in page
    assert "Borrow: Femoral box" in page
    assert "without it LK-77 is Short" in page
    assert "Order 1: Femoral component A 2 RIGHT" in page
    plan = re.search(r'name="plan" value="([^"]+)"', page)
    key = re.search(r'name="client_key" value="([^"]+)"', page)
    assert plan and key
    for _press in range(2):
        answer = client.post(url, {"plan": plan[1], "client_key": key[1]}, follow=True)
        assert answer.status_code == 200
    text = answer.content.decode()
    assert "Loan LN" in text and "Asked" in text
    assert Loan.objects.count() == 1
    assert "With what is on its way every case of this list is covered" in text
    assert client.post(url, {"plan": plan[1], "client_key": str(uuid4())}).status_code == 409
    assert client.post(url, {"plan": "\x00"}).status_code == 409


def test_another_order_of_the_list_is_proposed_and_made_where_it_helps(world: World, as_person: Any) -> None:
    """The only set of large blocks is elsewhere until late in the morning: the large knee goes second."""
    cache.clear()
    world.site.wanted_on_site, world.site.turnaround_minutes = 0.9, 60
    world.site.save()
    world.stock_everything(4)
    Unit.objects.update(expires=today() + timedelta(days=900))
    for design in (*["general"] * 3, *["blocks-small"] * 3, "blocks-large"):
        world.a_set(design, f"{design}-{world.next()}")
    day = today() + timedelta(days=9)
    large, small = (
        world.a_case(
            predictions={"femoral": (size, size), "tibial": (size, size)}, day=day, hour=hour, reference=name,
            predicted_at=now() - timedelta(days=4),
        )
        for size, hour, name in ((3, 8, "LK-1"), (0, 11, "LK-2"))
    )  # fmt: skip
    elsewhere = world.a_case(
        predictions={"femoral": (0, 0), "tibial": (0, 0)}, day=day, hour=6, theatre=world.second_theatre,
        predicted_at=now() - timedelta(days=4),
    )  # fmt: skip
    SetHold.objects.create(
        set=InstrumentSet.objects.get(code__startswith="blocks-large"), case=elsewhere, placed_at=now(),
        placed_by=world.cast.coordinator, starts_at=elsewhere.starts_at,
        ends_at=elsewhere.starts_at + timedelta(minutes=160),
    )  # fmt: skip
    assert word(world, large) is Word.SHORT
    offered, _coming = plans(large, may_reorder=False)
    assert all(plan.order is None for plan in offered.plans)
    offered, _coming = plans(large)
    best = offered.plans[0]
    assert best.order is not None and best.order.ids == (small.pk, large.pk)
    assert (best.cost, best.holds) == (Decimal(0), True)
    made = accept(world, large, follow=set_holds_follow)
    assert [act.kind for act in made.acts.all()] == ["list"]
    assert Event.objects.get(verb="plan.accept").lines.filter(subject="case").count() == 2
    assert list(large.list.cases.order_by("position").values_list("pk", flat=True)) == [small.pk, large.pk]
    assert word(world, large) is Word.COVERED
    page = as_person("coordinator").get(reverse("case-actions", args=[large.pk])).content.decode()
    assert "The order of the list was changed" in page


def test_the_page_takes_a_fixed_number_of_queries(
    world: World, short: Case, as_person: Any, django_assert_max_num_queries: Any
) -> None:
    client = as_person("coordinator")
    url = reverse("case-actions", args=[short.pk])
    client.get(url)
    with django_assert_max_num_queries(60):
        client.get(url)


def test_an_accepted_loan_covers_the_case_when_its_units_are_scanned_in(world: World, short: Case) -> None:
    offer(world, "60.00")
    accept(world, short)
    loan = Loan.objects.get()
    coordinator, stores = world.cast.coordinator, world.cast.stores
    told = " ".join(horizon(site=world.site, at=now()).verdicts[short.pk].reasons)
    assert f"1 on its way ({loan.number}), not sent or not confirmed yet" in told
    loan_confirm(by=coordinator, loan=loan, arrives_at=now() + timedelta(days=2), at=now())
    told = " ".join(horizon(site=world.site, at=now()).verdicts[short.pk].reasons)
    assert f"1 on its way ({loan.number}), due" in told
    assert word(world, short) is Word.SHORT
    goods = Goods(
        component=femoral(world), owner=world.supplier, tenure=Tenure.LOANED, place=world.shelf, lot="N1",
        expires=today() + timedelta(days=800),
    )  # fmt: skip
    loan_units_arrive(by=stores, loan=Loan.objects.get(), goods=goods, at=now())
    assert word(world, short) is Word.COVERED


def test_an_accepted_transfer_covers_the_case_when_it_is_received(world: World, short: Case) -> None:
    (unit,) = world.unit(femoral(world), 1, place=far_shelf(world), expires=today() + timedelta(days=900))
    accept(world, short)
    transfer = Transfer.objects.get()
    keeper = world.cast.keeper
    told = " ".join(horizon(site=world.site, at=now()).verdicts[short.pk].reasons)
    assert f"1 on its way ({transfer.number})" in told
    transfer_send(by=keeper, transfer=transfer, at=now())
    transfer_receive(by=keeper, transfer=transfer, units=[unit], place=world.shelf, at=now())
    assert word(world, short) is Word.COVERED


def test_what_comes_too_late_for_the_case_is_said_so(world: World, short: Case) -> None:
    world.supplier.lead_working_days = 30
    world.supplier.save()
    order_draft(
        by=world.cast.stores, site=world.site, supplier=world.supplier, kind="stock",
        lines=[OrderWish(femoral(world), 1)], at=now(),
    )  # fmt: skip
    told = " ".join(horizon(site=world.site, at=now()).verdicts[short.pk].reasons)
    assert "too late for this case" in told
