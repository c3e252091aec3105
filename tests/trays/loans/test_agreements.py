"""Agreements: what is agreed against the shelf, the next count, what is to be exchanged, and their pages."""

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from tests.trays.processing.http import questions, signed_in, text_of
from tests.world import World
from trays.ledger.append import Line, record
from trays.loans.agreeing import agreement_count, agreement_end
from trays.loans.models_agreements import Agreement, AgreementCount, AgreementLine, Price
from trays.loans.queries_agreements import (
    against_agreement,
    counts_due,
    replacement_of,
    to_exchange,
    used_since,
)
from trays.parties.models import Tenure
from trays.stock.models import Unit, UnitState
from trays.web.errors import NotAllowed, Refusal


class Shelf:
    """A site with one agreement: two of one size, one of another; the days count from today."""

    def __init__(self, world: World) -> None:
        self.world = world
        self.at: datetime = timezone.now()
        self.day = self.at.date()
        self.two, self.three = world.component("tibial", "2"), world.component("tibial", "3")
        self.agreement = Agreement.objects.create(
            code="CA-1", site=world.site, supplier=world.supplier, valid_from=self.day - timedelta(days=100),
            count_interval_days=90, exchange_window_days=60,
        )  # fmt: skip
        AgreementLine.objects.create(agreement=self.agreement, component=self.two, quantity=2)
        AgreementLine.objects.create(
            agreement=self.agreement, component=self.three, quantity=1, replacement="bill_only"
        )

    def consigned(self, component: Any, count: int = 1, days: int = 700) -> list[Unit]:
        return self.world.unit(
            component, count, tenure=Tenure.CONSIGNED, expires=self.day + timedelta(days=days)
        )

    def lines(self) -> dict[str, tuple[int, int, int, int]]:
        return {
            one.component.size: (one.agreed, one.there, one.missing, one.over)
            for one in against_agreement(site=self.world.site, at=self.at)
        }


@pytest.fixture
def shelf(world: World) -> Shelf:
    return Shelf(world)


def test_what_is_agreed_is_held_against_the_consigned_units_on_hand(shelf: Shelf) -> None:
    shelf.consigned(shelf.two)
    shelf.consigned(shelf.three, 2)
    shelf.consigned(shelf.world.component("tibial", "4"))
    # Neither the hospital's own, nor what is out of stock, nor another site's counts.
    shelf.world.unit(shelf.two)
    shelf.world.unit(shelf.two, tenure=Tenure.CONSIGNED, state=UnitState.IMPLANTED)
    assert shelf.lines() == {"2": (2, 1, 1, 0), "3": (1, 2, 0, 1), "4": (0, 1, 0, 1)}


def test_a_unit_within_the_window_is_to_be_exchanged_and_one_on_its_edge_is_not(shelf: Shelf) -> None:
    soon, edge, past = (shelf.consigned(shelf.two, days=days)[0] for days in (59, 60, -1))
    shelf.world.unit(shelf.two, expires=shelf.day)
    assert to_exchange(site=shelf.world.site, at=shelf.at) == (past, soon)
    assert edge not in to_exchange(site=shelf.world.site, at=shelf.at)


def test_a_count_is_due_its_interval_after_the_last_one(shelf: Shelf) -> None:
    (due,) = counts_due(site=shelf.world.site, at=shelf.at)
    assert (due.last, due.due, due.late) == (None, shelf.day - timedelta(days=10), True)
    shelf.consigned(shelf.two, 2)
    by = shelf.world.cast.stores
    made = agreement_count(
        by=by, agreement=shelf.agreement, seen={shelf.two.pk: 1, shelf.three.pk: 0}, with_supplier="A. Rep",
        at=shelf.at,
    )  # fmt: skip
    assert sorted(made.lines.values_list("component__size", "expected", "seen")) == [("2", 2, 1), ("3", 0, 0)]
    (due,) = counts_due(site=shelf.world.site, at=shelf.at)
    assert (due.last, due.due, due.late) == (shelf.day, shelf.day + timedelta(days=90), False)


@pytest.mark.parametrize(
    ("seen", "code"), [({}, "nothing-counted"), ({"2": -1}, "seen-out-of-range"), ({"4": 1}, "not-agreed")]
)
def test_a_count_that_cannot_be_is_refused(shelf: Shelf, seen: dict[str, int], code: str) -> None:
    counted = {shelf.world.component("tibial", size).pk: count for size, count in seen.items()}
    with pytest.raises(Refusal, match=code):
        agreement_count(by=shelf.world.cast.stores, agreement=shelf.agreement, seen=counted, at=shelf.at)
    with pytest.raises(NotAllowed):
        agreement_count(
            by=shelf.world.cast.scrub, agreement=shelf.agreement, seen={shelf.two.pk: 1}, at=shelf.at
        )
    assert not AgreementCount.objects.exists()


def test_an_agreement_ends_by_its_last_day_and_stays(shelf: Shelf) -> None:
    by = shelf.world.cast.stores
    with pytest.raises(Refusal, match="ends-before-it-begins"):
        agreement_end(by=by, agreement=shelf.agreement, last=shelf.day - timedelta(days=101), at=shelf.at)
    agreement_end(by=by, agreement=shelf.agreement, last=shelf.day - timedelta(days=1), at=shelf.at)
    assert counts_due(site=shelf.world.site, at=shelf.at) == ()
    with pytest.raises(Refusal, match="agreement-ended"):
        agreement_end(by=by, agreement=shelf.agreement, last=shelf.day, at=shelf.at)
    with pytest.raises(IntegrityError), transaction.atomic():
        Agreement.objects.filter(pk=shelf.agreement.pk)._raw_delete("default")


def test_what_follows_on_a_use_is_said_by_the_agreement_in_force(shelf: Shelf) -> None:
    found = replacement_of(site_id=shelf.world.site.pk, day=shelf.day)
    assert found == {shelf.two.pk: "bill_and_replace", shelf.three.pk: "bill_only"}
    assert replacement_of(site_id=shelf.world.far_site.pk, day=shelf.day) == {}


def test_used_is_what_passed_into_the_hospitals_ownership_since_the_last_count(shelf: Shelf) -> None:
    one, kept = shelf.consigned(shelf.two, 2)
    with transaction.atomic():
        Unit.objects.filter(pk=one.pk).update(
            state=UnitState.IMPLANTED, owner=shelf.world.hospital, tenure=Tenure.OWNED
        )
        record(
            chain=shelf.world.site.code, verb="use.record", by=shelf.world.cast.scrub, at=shelf.at,
            lines=[Line("title", one.pk, shelf.world.supplier.code, shelf.world.hospital.code)],
        )  # fmt: skip
    assert used_since(agreement=shelf.agreement, since=None) == {shelf.two.pk: 1}
    assert used_since(agreement=shelf.agreement, since=shelf.at + timedelta(seconds=1)) == {}
    assert kept.state == UnitState.SHELF


def test_the_pages_say_what_is_short_and_whose_count_is_late_and_keep_a_count(shelf: Shelf) -> None:
    client = signed_in(shelf.world.cast.stores)
    shelf.consigned(shelf.two, days=30)
    Price.objects.create(
        supplier=shelf.world.supplier, agreement=shelf.agreement, component=shelf.two,
        price=Decimal("410.50"), currency="GBP", valid_from=shelf.agreement.valid_from,
    )  # fmt: skip
    text = text_of(client.get("/agreements/"))
    assert "1 agreement is in force. 2 items are short. 1 unit is to be exchanged." in text
    assert "The count of CA-1 was due on" in text
    text = text_of(client.get(f"/agreements/{shelf.agreement.pk}/"))
    assert "1 short" in text and "410.50 GBP" in text and "Bill and replace" in text
    count = f"/agreements/{shelf.agreement.pk}/count/"
    assert client.post(count, {"with_supplier": "A. Rep"}).status_code == 422
    client.post(count, {f"seen_{shelf.two.pk}": "3", "with_supplier": "A. Rep"})
    text = text_of(client.get(f"/agreements/{shelf.agreement.pk}/"))
    assert "with A. Rep" in text and "Next count by" in text
    made = AgreementCount.objects.get().lines.get()
    assert (made.expected, made.seen) == (1, 3)
    client.post(f"/agreements/{shelf.agreement.pk}/end/", {"last": "2020-01-01"})
    client.post(
        f"/agreements/{shelf.agreement.pk}/end/", {"last": (shelf.day - timedelta(days=1)).isoformat()}
    )
    assert "It has ended." in text_of(client.get(f"/agreements/{shelf.agreement.pk}/"))


def test_the_pages_ask_as_many_questions_for_many_items_as_for_one(shelf: Shelf) -> None:
    client = signed_in(shelf.world.cast.stores)
    addresses = ("/agreements/", f"/agreements/{shelf.agreement.pk}/")
    shelf.consigned(shelf.two)
    few = [questions(client, address) for address in addresses]
    for size in ("1", "4"):
        component = shelf.world.component("tibial", size)
        AgreementLine.objects.create(agreement=shelf.agreement, component=component, quantity=3)
        shelf.consigned(component, 2, days=20)
    assert [questions(client, address) for address in addresses] == few
    assert max(few) <= 22
