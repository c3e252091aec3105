"""Files of agreements, prices and loan offers: what is taken in, and what is told by row and column."""

from datetime import date
from decimal import Decimal

import pytest

from cases.desks.importing import import_apply
from tests.cases.imports.conftest import AT, told
from trays.ledger.models import Event
from trays.loans.models_agreements import Agreement, LoanOffer, Price
from trays.loans.queries_agreements import offers_on, prices_on
from trays.parties.models import Party
from trays.web.errors import NotAllowed


def line(**changed):
    return {
        "agreement": "CA-1", "site": "larkmere", "supplier": "MER", "valid_from": "2026-01-01",
        "component": "tib-2-x-none", "quantity": "3", **changed,
    }  # fmt: skip


def price(**changed):
    return {
        "supplier": "MER", "component": "tib-2-x-none", "price": "412.50", "currency": "GBP",
        "valid_from": "2026-01-01", **changed,
    }  # fmt: skip


def offer(**changed):
    return {
        "code": "o-1", "name": "Blocks", "supplier": "MER", "fee": "320", "lead_working_days": "2",
        "valid_from": "2026-01-01", **changed,
    }  # fmt: skip


def applied(run, by):
    return import_apply(run=run, by=by, at=AT)


def test_an_agreement_comes_in_with_its_items_and_one_event(check, world):
    run = check("agreements", line(), line(component="tib-3-x-none", quantity="2", replacement="bill_only"))
    assert told(run) == []
    count = Event.objects.count()
    applied(run, world.cast.stores)
    made = Agreement.objects.get()
    assert (made.site, made.supplier, made.count_interval_days) == (world.site, world.supplier, 91)
    assert sorted(made.lines.values_list("component__code", "quantity", "replacement")) == [
        ("tib-2-x-none", 3, "bill_and_replace"),
        ("tib-3-x-none", 2, "bill_only"),
    ]
    assert Event.objects.count() == count + 1
    # What is on file is added to, never changed.
    assert told(check("agreements", line())) == [(2, "component")]
    assert told(check("agreements", line(component="tib-1-x-none"))) == []
    assert told(check("agreements", line(component="tib-1-x-none", valid_from="2026-02-01"))) == [
        (2, "agreement")
    ]


@pytest.mark.parametrize(
    ("changed", "column"),
    [
        ({"site": "nowhere"}, "site"),
        ({"supplier": "LOC"}, "supplier"),
        ({"component": "tib-9"}, "component"),
        ({"quantity": "0"}, "quantity"),
        ({"valid_until": "2025-12-31"}, "valid_until"),
        ({"replacement": "free"}, "replacement"),
        ({"count_interval_days": "0"}, "count_interval_days"),
    ],
)
def test_what_is_wrong_with_an_agreement_is_told(check, changed, column):
    assert told(check("agreements", line(**changed))) == [(2, column)]


def test_another_suppliers_item_is_kept_out(check, world):
    other = Party.objects.create(code="TRD", name="Tarn & Ridley", kind="supplier")
    for kind, row in (("agreements", line()), ("prices", price())):
        assert told(check(kind, {**row, "supplier": other.code})) == [(2, "component")]


def test_two_agreements_with_one_supplier_are_not_in_force_at_once(check, world):
    assert told(check("agreements", line(), line(agreement="CA-2", valid_from="2026-06-01"))) == [
        (3, "valid_from")
    ]
    follows = [line(valid_until="2026-05-31"), line(agreement="CA-2", valid_from="2026-06-01")]
    assert told(check("agreements", *follows)) == []


def test_rows_of_one_agreement_have_the_same_terms(check):
    rows = [line(), line(component="tib-3-x-none", exchange_window_days="30")]
    assert told(check("agreements", *rows)) == [(3, "agreement")]


def test_a_price_is_in_force_from_its_day_on_and_the_agreements_goes_first(check, world):
    component = world.component("tibial", "2")
    applied(check("agreements", line()), world.cast.keeper)
    rows = [
        price(price="400"),
        price(price="430", valid_from="2026-07-01"),
        price(agreement="CA-1", price="390", valid_from="2026-03-01", valid_until="2026-09-30"),
    ]
    applied(check("prices", *rows), world.cast.keeper)

    def on(month: int, site=world.site):
        found = prices_on(site_id=site.pk, day=date(2026, month, 15), component_ids=[component.pk])
        return found[component.pk].price, found[component.pk].source

    assert on(2) == (Decimal("400"), "list")
    assert on(4) == (Decimal("390"), "agreement")
    assert on(4, world.far_site) == (Decimal("400"), "list")
    assert on(11) == (Decimal("430"), "list")
    assert told(check("prices", price())) == [(2, "component")]


@pytest.mark.parametrize(
    ("changed", "columns"),
    [
        ({"price": "12,5x"}, ["price"]),
        ({"price": "-1"}, ["price"]),
        ({"currency": "£"}, ["currency"]),
        ({"agreement": "CA-9"}, ["agreement"]),
        ({"valid_from": "03/04/2026"}, ["valid_from"]),
    ],
)
def test_what_is_wrong_with_a_price_is_told(check, changed, columns):
    assert [column for _row, column in told(check("prices", price(**changed)))] == columns
    assert not Price.objects.exists()


def test_a_suppliers_list_is_the_keepers_and_an_agreements_prices_are_of_whoever_keeps_it(check, world):
    applied(check("agreements", line(), by=world.cast.stores), world.cast.stores)
    own = check("prices", price(agreement="CA-1"), by=world.cast.stores)
    assert told(own) == []
    applied(own, world.cast.stores)
    assert told(check("prices", price(), by=world.cast.stores)) == [(2, "agreement")]
    with pytest.raises(NotAllowed):
        check("agreements", line(component="tib-3-x-none"), by=world.cast.technician)


def test_an_offer_comes_in_with_what_it_brings(check, world):
    applied(check("loan-offers", offer()), world.cast.keeper)
    rows = [
        {"offer": "o-1", "design": "blocks-large", "component": "", "quantity": "1"},
        {"offer": "o-1", "design": "", "component": "tib-2-x-none", "quantity": "2"},
    ]
    applied(check("loan-offer-contents", *rows), world.cast.keeper)
    (found,) = offers_on(day=AT.date())
    assert (found.fee, found.currency, found.lead_working_days) == (Decimal(320), "GBP", 2)
    assert found.sets == {world.designs["blocks-large"].pk: 1}
    assert found.units == {world.component("tibial", "2").pk: 2}
    assert offers_on(day=date(2025, 12, 31)) == ()
    assert told(check("loan-offer-contents", *rows)) == [(2, "design"), (3, "design")]


@pytest.mark.parametrize(
    ("kind", "row", "column"),
    [
        ("loan-offers", offer(fee="free"), "fee"),
        ("loan-offers", offer(lead_working_days="200"), "lead_working_days"),
        ("loan-offers", offer(valid_until="2025-01-01"), "valid_until"),
        ("loan-offer-contents", {"offer": "o-9", "design": "general", "component": ""}, "offer"),
        ("loan-offer-contents", {"offer": "o-1", "design": "general", "component": "tib-2-x-none"}, "design"),
        ("loan-offer-contents", {"offer": "o-1", "design": "", "component": ""}, "design"),
    ],
)
def test_what_is_wrong_with_an_offer_is_told(check, world, kind, row, column):
    if kind == "loan-offer-contents":
        LoanOffer.objects.create(
            code="o-1", name="Blocks", supplier=world.supplier, fee=1, currency="GBP", lead_working_days=1,
            valid_from=AT.date(),
        )  # fmt: skip
    assert told(check(kind, row)) == [(2, column)]
