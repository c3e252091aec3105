"""Safety notices by lot, goods that go back, and what is to be used first."""

import pytest

from cases.reservations.hold import units_hold
from cases.reservations.models import Hold
from tests.trays.stock.conftest import Store
from tests.world import NOW, TODAY
from trays.ledger.models import Event
from trays.staff.signing import holds
from trays.stock.apart import units_put_back, units_set_apart, units_use_first
from trays.stock.models import Unit
from trays.stock.models_notices import NoticeUnit, SafetyNotice
from trays.stock.notices_open import piles_named
from trays.stock.noticing import LotNamed, content_of, notice_account, notice_close, notice_open
from trays.stock.queries import usable_piles
from trays.stock.returning import return_cancel, return_make, return_send
from trays.stock.services import pile_receive
from trays.stock.take_end import take_adjust
from trays.stock.taking import pile_count, take_begin, take_recount
from trays.stock.transferring import transfer_make, transfer_send
from trays.stock.transfers_in import transfer_receive
from trays.web.errors import NotAllowed, Refusal


def opened(store: Store, *lots: str) -> SafetyNotice:
    component = store.component("femoral", "2", side="left")
    return notice_open(
        by=store.by, site=store.world.site, supplier=store.world.supplier, reason="seal may open",
        lots=[LotNamed(component, lot) for lot in lots], at=NOW,
    )  # fmt: skip


def test_a_notice_takes_every_unit_of_its_lots_off_the_shelf_at_all_sites(store: Store) -> None:
    here, held, used = store.units(3)
    (other_lot,) = store.units(lot="FINE")
    (far,) = store.units()
    away = transfer_make(
        by=store.by, source=store.world.site, target=store.world.far_site, units=[far], at=NOW
    )
    transfer_send(by=store.by, transfer=away, at=NOW)
    transfer_receive(by=store.far_by, transfer=away, units=[far], place=store.far, at=NOW)
    units_hold(by=store.world.cast.coordinator, units=[held], case=store.world.a_case(), at=NOW)
    Unit.objects.filter(pk=used.pk).update(state="implanted")
    store.sound = False
    notice = opened(store, "L77")
    assert store.states([here, held, far, other_lot, used]) == [
        "quarantine", "quarantine", "quarantine", "shelf", "implanted",
    ]  # fmt: skip
    assert Hold.objects.get().ended_reason == "apart"
    assert dict(notice.units.values_list("unit", "state_then")) == {
        here.pk: "shelf", held.pk: "shelf", far.pk: "shelf", used.pk: "implanted",
    }  # fmt: skip
    assert Event.objects.get(verb="notice.open").chain.code == "house"


def test_what_arrives_of_a_named_lot_is_set_apart_and_pieces_are_kept_out(store: Store) -> None:
    notice = opened(store, "L77")
    (unit,) = store.units()
    assert unit.state == "quarantine"
    assert notice.units.get().outcome == "secured"
    with pytest.raises(Refusal, match="notice-open"):
        units_put_back(by=store.quality, units=[unit], at=NOW)
    swab = store.component("consumable", "swab-5")
    notice_open(
        by=store.by, site=store.world.site, supplier=store.world.supplier, reason="not sterile",
        lots=[LotNamed(swab)], at=NOW,
    )  # fmt: skip
    with pytest.raises(Refusal, match="lot-recalled"):
        swabs = store.goods(component=swab, lot="ANY")
        pile_receive(by=store.by, site=store.world.site, goods=swabs, pieces=5, at=NOW)


def test_pieces_of_a_named_lot_are_used_no_more_and_a_notice_closes_only_without_them(store: Store) -> None:
    swab = store.component("consumable", "swab-5")
    piles = [
        pile_receive(
            by=store.by, site=store.world.site, goods=store.goods(component=swab, lot=lot), pieces=9, at=NOW
        )
        for lot in ("BAD", "FINE")
    ]
    notice = notice_open(
        by=store.by, site=store.world.site, supplier=store.world.supplier, reason="not sterile",
        lots=[LotNamed(swab, "BAD")], at=NOW,
    )  # fmt: skip
    assert list(usable_piles(site_id=store.world.site.pk, day=TODAY)) == [piles[1]]
    assert list(piles_named(notice)) == [piles[0]]
    closing = {"by": store.signs(store.quality), "notice": notice, "conclusion": "All gone.", "at": NOW}
    with pytest.raises(Refusal, match="pieces-left"):
        notice_close(**closing)
    take = take_begin(by=store.by, place=store.world.shelf, at=NOW)
    take = take_recount(by=store.by, take=take, at=NOW)
    for pile, pieces in zip(piles, (0, 9), strict=True):
        pile_count(by=store.by, take=take, pile=pile, pieces=pieces, at=NOW)
    take_adjust(
        by=store.signs(store.by), take=take, reason="not_found", second=store.signs(store.quality), at=NOW
    )
    assert notice_close(**closing).closed_at == NOW


def test_what_was_on_its_way_is_set_apart_where_it_arrives(store: Store) -> None:
    units = store.units(1)
    away = transfer_make(
        by=store.by, source=store.world.site, target=store.world.far_site, units=units, at=NOW
    )
    transfer_send(by=store.by, transfer=away, at=NOW)
    notice = opened(store, "L77")
    assert store.states(units) == ["transit"]
    transfer_receive(by=store.far_by, transfer=away, units=units, place=store.far, at=NOW)
    assert store.states(units) == ["quarantine"]
    assert notice.units.get().outcome == "secured"


def test_a_notice_is_closed_by_quality_when_each_unit_is_accounted_for(store: Store) -> None:
    here, used = store.units(2)
    Unit.objects.filter(pk=used.pk).update(state="implanted")
    store.sound = False
    notice = opened(store, "L77")
    with pytest.raises(Refusal, match="units-open") as told:
        notice_close(by=store.signs(store.quality), notice=notice, conclusion="done", at=NOW)
    assert "2" in told.value.sentence
    sought = {one.unit_id: one for one in NoticeUnit.objects.select_related("notice", "unit")}
    with pytest.raises(NotAllowed):
        notice_account(by=store.by, sought=sought[used.pk], outcome="used", at=NOW)
    with pytest.raises(Refusal, match="not-in-hand"):
        notice_account(by=store.by, sought=sought[used.pk], outcome="secured", at=NOW)
    notice_account(by=store.by, sought=sought[here.pk], outcome="secured", at=NOW)
    with pytest.raises(Refusal, match="accounted-already"):
        notice_account(by=store.by, sought=sought[here.pk], outcome="secured", at=NOW)
    notice_account(by=store.quality, sought=sought[used.pk], outcome="used", note="told", at=NOW)
    with pytest.raises(NotAllowed):
        notice_close(by=store.signs(store.by), notice=notice, conclusion="done", at=NOW)
    notice = notice_close(by=store.signs(store.quality), notice=notice, conclusion="all in hand", at=NOW)
    assert notice.signature is not None
    assert holds(notice.signature, content_of(notice))
    # Closing frees nothing by itself; after it quality may.
    assert store.states([here]) == ["quarantine"]
    units_put_back(by=store.quality, units=[here], at=NOW)


@pytest.mark.parametrize("who", ["scrub", "surgeon", "coordinator", "stranger"])
def test_only_stores_and_quality_open_a_notice(who: str, store: Store) -> None:
    with pytest.raises(NotAllowed):
        notice_open(
            by=getattr(store.world.cast, who), site=store.world.site, supplier=store.world.supplier,
            reason="seal", lots=[], at=NOW,
        )  # fmt: skip


# Back to the supplier


def test_what_goes_back_is_apart_until_it_is_sent_and_then_no_stock(store: Store) -> None:
    units = store.consigned(2)
    back = return_make(by=store.by, units=units, why="exchange", note="two for two", at=NOW)
    assert store.states(units) == ["quarantine"] * 2
    with pytest.raises(Refusal, match="in-return"):
        units_put_back(by=store.quality, units=units[:1], at=NOW)
    with pytest.raises(Refusal, match="in-return"):
        return_make(by=store.by, units=units[:1], why="exchange", at=NOW)
    back = return_send(by=store.by, back=back, at=NOW)
    assert (back.status, store.states(units)) == ("sent", ["returned"] * 2)
    with pytest.raises(Refusal, match="return-ended"):
        return_cancel(by=store.by, back=back, note="no", at=NOW)


def test_a_return_that_is_given_up_leaves_its_units_apart(store: Store) -> None:
    units = store.consigned(1)
    back = return_make(by=store.by, units=units, why="not_wanted", at=NOW)
    return_cancel(by=store.by, back=back, note="supplier wants them kept", at=NOW)
    assert store.states(units) == ["quarantine"]
    units_put_back(by=store.quality, units=units, at=NOW)


def test_a_held_unit_does_not_go_back(store: Store) -> None:
    units = store.consigned(1)
    units_hold(by=store.world.cast.coordinator, units=units, case=store.world.a_case(), at=NOW)
    with pytest.raises(Refusal, match="kept-for"):
        return_make(by=store.by, units=units, why="exchange", at=NOW)


def test_set_apart_ends_the_hold_and_use_first_marks(store: Store) -> None:
    units = store.units(1)
    units_hold(by=store.world.cast.coordinator, units=units, case=store.world.a_case(), at=NOW)
    units_use_first(by=store.by, units=units, at=NOW)
    assert Unit.objects.get().use_first
    units_set_apart(by=store.world.cast.scrub, units=units, cause="unsure", note="dented", at=NOW)
    assert Hold.objects.get().ended_reason == "apart"
    with pytest.raises(Refusal, match="not-on-hand"):
        units_use_first(by=store.by, units=units, first=False, at=NOW)
