"""Receipt: what comes in good, damaged or short-dated; what is kept out; what nobody knew."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction

from tests.trays.stock.conftest import Store
from tests.world import NOW, TODAY
from trays.catalogue.models import Component, Family, PackLevel
from trays.catalogue.models_drafts import CatalogueDraft
from trays.catalogue.queries import component_by_gtin
from trays.parties.models import Party, Tenure
from trays.stock.apart import units_dispose, units_put_back
from trays.stock.drafts import (
    Came,
    Described,
    draft_approve,
    draft_correct,
    draft_raise,
    draft_turn_down,
)
from trays.stock.models import Pile, Unit
from trays.stock.models_apart import SetApart
from trays.stock.models_arrivals import Arrival
from trays.stock.policies import Limits, policy_of, stock_policy_set
from trays.stock.returning import return_make, return_send
from trays.stock.services import pile_receive, unit_receive
from trays.web.errors import NotAllowed, Refusal, Unreadable

SOON = TODAY + timedelta(days=20)
CODE = "09521234000099"


def test_a_receipt_keeps_the_label_as_it_was_read(store: Store) -> None:
    raw = b"]d2010952123400001317271231" + b"\x1d10L77"
    (unit,) = unit_receive(by=store.by, site=store.world.site, goods=store.goods(), raw=raw, at=NOW)
    arrival = Arrival.objects.get(units__unit=unit)
    assert (bytes(arrival.raw), arrival.lot, arrival.count, arrival.condition) == (raw, "L77", 1, "good")
    with pytest.raises(IntegrityError, match="append-only"), transaction.atomic():
        Arrival.objects.update(lot="other")


def test_damaged_goods_are_set_apart_with_what_is_wrong(store: Store) -> None:
    (unit,) = unit_receive(
        by=store.by, site=store.world.site, goods=store.goods(), condition="damaged", note="box torn", at=NOW
    )
    assert unit.state == "quarantine"
    row = SetApart.objects.get(unit=unit)
    assert (row.cause, row.note, row.ended_at) == ("damaged", "box torn", None)


def test_short_dated_goods_are_asked_about_then_accepted_or_set_apart(store: Store) -> None:
    with pytest.raises(Refusal, match="short-dated") as asked:
        store.units(expires=SOON)
    assert asked.value.facts["days"] == 20
    (accepted,) = store.units(expires=SOON, condition="short_accepted")
    (apart,) = store.units(expires=SOON, condition="short_apart")
    accepted.refresh_from_db()
    assert (accepted.state, accepted.use_first) == ("shelf", True)
    assert (apart.state, apart.set_apart.get().cause) == ("quarantine", "short_dated")
    # What a loan brings is here for days; and the site says what short is.
    store.units(expires=SOON, owner=store.world.supplier, tenure=Tenure.LOANED)
    limits = Limits(policy_of(store.world.site.pk).adjustment_limit, 10, 30)
    stock_policy_set(by=store.by, site=store.world.site, limits=limits, at=NOW)
    store.units(expires=SOON)


@pytest.mark.parametrize("condition", ["good", "damaged", "short_accepted", "short_apart"])
def test_expired_goods_are_kept_out_whatever_is_said_of_them(condition: str, store: Store) -> None:
    with pytest.raises(Refusal, match="out-of-date"):
        store.units(expires=TODAY - timedelta(days=1), condition=condition)
    assert not Unit.objects.exists()
    assert not Arrival.objects.exists()


def test_another_suppliers_item_is_kept_out(store: Store) -> None:
    other = Party.objects.create(code="OTH", name="Othermark", kind="supplier")
    with pytest.raises(Refusal, match="other-suppliers-item"):
        store.units(owner=other, tenure=Tenure.CONSIGNED)


def test_a_serial_comes_in_once_and_says_where_it_is(store: Store) -> None:
    (unit,) = store.consigned(serial="A1")
    with pytest.raises(Refusal, match="serial-known") as told:
        store.units(serial="A1")
    assert "shelf" in told.value.sentence
    # What was sent back comes in again as the same unit, whoever owns it now.
    back = return_make(by=store.by, units=[unit], why="exchange", at=NOW)
    return_send(by=store.by, back=back, at=NOW)
    (again,) = store.units(serial="A1", lot="NEW")
    unit.refresh_from_db()
    assert (again.pk, unit.state, unit.tenure, unit.lot) == (unit.pk, "shelf", "owned", "NEW")


def test_units_and_consumables_each_come_in_their_own_way(store: Store) -> None:
    with pytest.raises(Refusal, match="not-a-unit"):
        store.units(component=store.component("consumable", "swab-5"))
    with pytest.raises(Refusal, match="not-a-pile"):
        pile_receive(by=store.by, site=store.world.site, goods=store.goods(), pieces=3, at=NOW)
    with pytest.raises(Unreadable, match="lot-unreadable"):
        store.units(lot="L" * 21)


# Codes that nobody knew


def described(store: Store, **changes: object) -> Described:
    given: dict[str, object] = {
        "code": CODE, "family": store.world.families["tibial"], "name": "Tibial 5", "size": "5",
        "supplier": store.world.supplier,
    }  # fmt: skip
    return Described(**{**given, **changes})  # type: ignore[arg-type]


def came(store: Store, **changes: object) -> Came:
    given: dict[str, object] = {
        "place": store.world.shelf, "owner": store.world.hospital, "tenure": "owned", "lot": "N1",
        "expires": TODAY + timedelta(days=300), "count": 2,
    }  # fmt: skip
    return Came(**{**given, **changes})  # type: ignore[arg-type]


def raised(store: Store, *, goods: Came | None = None, **changes: object) -> CatalogueDraft:
    return draft_raise(
        by=store.by, site=store.world.site, described=described(store, **changes), came=goods, at=NOW
    )


def test_goods_with_an_unknown_code_wait_apart_and_are_stock_when_it_is_approved(store: Store) -> None:
    draft = raised(store, goods=came(store))
    raised(store, goods=came(store, lot="N2", count=1))
    assert CatalogueDraft.objects.count() == 1
    assert not Unit.objects.exists()
    assert component_by_gtin(CODE) is None
    draft_approve(by=store.quality, draft=draft, at=NOW)
    found = component_by_gtin(CODE)
    assert found is not None
    component, quantity = found
    assert (component.name, component.size, component.size_rank, quantity) == ("Tibial 5", "5", 4, 1)
    assert sorted(Unit.objects.values_list("lot", "state", "component")) == [
        ("N1", "shelf", component.pk), ("N1", "shelf", component.pk), ("N2", "shelf", component.pk),
    ]  # fmt: skip


def test_a_box_of_several_becomes_as_many_units_as_its_code_stands_for(store: Store) -> None:
    draft = raised(store, goods=came(store, count=2), component=store.component("tibial", "2"), quantity=5)
    draft_approve(by=store.quality, draft=draft, at=NOW)
    assert Unit.objects.count() == 10


def test_an_unknown_code_may_be_another_code_of_an_item_on_file(store: Store) -> None:
    tibial = store.component("tibial", "2")
    draft = raised(store, component=tibial, quantity=5)
    before = Component.objects.count()
    draft_approve(by=store.quality, draft=draft, at=NOW)
    assert component_by_gtin(CODE) == (tibial, 5)
    assert Component.objects.count() == before


def test_a_new_family_of_consumables_comes_in_as_a_pile(store: Store) -> None:
    draft = raised(
        store, goods=came(store, count=40), family=None, new_family="Bone wax", kind="consumable", size=""
    )
    draft_approve(by=store.quality, draft=draft, at=NOW)
    assert Family.objects.get(name="Bone wax").kind == "consumable"
    assert Pile.objects.get().quantity == 40


def test_whoever_said_what_it_is_does_not_approve_it(store: Store) -> None:
    keeper = store.world.cast.keeper
    draft = draft_raise(by=keeper, site=store.world.site, described=described(store), at=NOW)
    with pytest.raises(Refusal, match="same-person"):
        draft_approve(by=keeper, draft=draft, at=NOW)
    with pytest.raises(NotAllowed):
        draft_approve(by=store.by, draft=draft, at=NOW)


def test_a_size_that_the_family_has_is_told_and_corrected(store: Store) -> None:
    draft = raised(store, size="2", name="Tibial 2 new box")
    with pytest.raises(Refusal, match="size-known"):
        draft_approve(by=store.quality, draft=draft, at=NOW)
    tibial = store.component("tibial", "2")
    draft_correct(by=store.by, draft=draft, described=described(store, component=tibial), at=NOW)
    draft_approve(by=store.quality, draft=draft, at=NOW)
    with pytest.raises(Refusal, match="draft-decided"):
        draft_turn_down(by=store.quality, draft=draft, reason="late", at=NOW)


def test_what_is_turned_down_never_was_stock(store: Store) -> None:
    draft = raised(store, goods=came(store))
    with pytest.raises(Refusal, match="reason-missing"):
        draft_turn_down(by=store.quality, draft=draft, reason=" ", at=NOW)
    draft_turn_down(by=store.quality, draft=draft, reason="sent to us by mistake", at=NOW)
    assert not Unit.objects.exists()
    assert not PackLevel.objects.filter(code=CODE).exists()
    assert Arrival.objects.get().draft == draft


@pytest.mark.parametrize(
    ("changes", "goods", "code"),
    [
        ({"code": "09521234000098"}, {}, "check-digit"),
        ({"family": None, "new_family": " "}, {}, "nothing-described"),
        ({"supplier": None}, {}, "no-supplier"),
        ({"quantity": 0}, {}, "pack-quantity"),
        ({}, {"expires": TODAY - timedelta(days=1)}, "out-of-date"),
        ({}, {"lot": ""}, "lot-or-serial"),
        ({}, {"lot": "L" * 21}, "lot-unreadable"),
        ({}, {"serial": "S1", "count": 2}, "count-out-of-range"),
        ({}, {"tenure": "consigned"}, "tenure-of-owner"),
    ],
)
def test_nonsense_about_an_unknown_code_is_told(
    changes: dict[str, object], goods: dict[str, object], code: str, store: Store
) -> None:
    with pytest.raises(Refusal, match=code):
        raised(store, goods=came(store, **goods), **changes)
    assert not CatalogueDraft.objects.exists()
    assert not Arrival.objects.exists()


def test_a_known_code_is_no_draft(store: Store) -> None:
    known = PackLevel.objects.filter(component__family__kind="implant")[0]
    with pytest.raises(Refusal, match="code-known"):
        raised(store, code=known.code)


# Set apart, put back, disposed of


def test_quality_alone_puts_back_what_was_set_apart_and_not_what_has_expired(store: Store) -> None:
    (unit,) = store.units(condition="damaged")
    with pytest.raises(NotAllowed):
        units_put_back(by=store.by, units=[unit], at=NOW)
    late = NOW + timedelta(days=400)
    with pytest.raises(Refusal, match="out-of-date"):
        units_put_back(by=store.quality, units=[unit], at=late)
    units_put_back(by=store.quality, units=[unit], at=NOW)
    row = SetApart.objects.get()
    assert (store.states([unit]), row.end) == (["shelf"], "released")
    with pytest.raises(Refusal, match="no-way-unit"):
        units_put_back(by=store.quality, units=[unit], at=NOW)


def test_title_does_not_pass_by_throwing_away(store: Store) -> None:
    (ours,), (theirs,) = store.units(), store.consigned()
    with pytest.raises(Refusal, match="not-ours"):
        units_dispose(by=store.by, units=[ours, theirs], reason="damaged", at=NOW)
    assert store.states([ours, theirs]) == ["shelf", "shelf"]
    units_dispose(by=store.by, units=[ours], reason="damaged", at=NOW)
    assert store.states([ours]) == ["disposed"]


def test_on_either_database_one_open_row_says_why_a_unit_is_apart(store: Store) -> None:
    (unit,) = store.units(condition="damaged")
    assert connection.vendor in ("sqlite", "postgresql")
    with pytest.raises(IntegrityError), transaction.atomic():
        SetApart.objects.create(unit=unit, cause="unsure", since=NOW, by=store.by)
