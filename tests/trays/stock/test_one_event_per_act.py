"""Each act of stores writes exactly one event that names nobody, and stock stays the sum of its lines."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from tests.trays.ledger.acts import left_out, verbs_of, writes_one_event
from tests.trays.stock.conftest import Store
from tests.world import NOW, TODAY
from trays.catalogue.models_drafts import CatalogueDraft
from trays.ledger.models import Event
from trays.staff.models import Person
from trays.stock import (
    apart,
    drafts,
    noticing,
    policies,
    returning,
    services,
    take_end,
    taking,
    transferring,
    transfers_in,
)
from trays.stock.models import Pile, Unit
from trays.stock.models_takes import Sighting, StockTake
from trays.stock.models_transfers import Transfer
from trays.stock.verify import stock_faults

# Halves that run inside an act, and what a scan comes to.
NO_WHOLE_ACT = {
    "apart_within", "end_rows", "pile_receive_within", "receive_within", "set_apart_rows", "add_arrived",
    "end_take", "write_take", "transfer_within", "turned_up_within", "put_down_within", "return_within",
    "label_take",
}  # fmt: skip
CODE = "09521234000099"


class Desk:
    """Goods at each stage, taken there when an act asks for them."""

    def __init__(self, store: Store) -> None:
        self.at = store
        self.by = store.by
        self.site = store.world.site
        self.far = store.world.far_site

    def swabs(self, pieces: int = 40) -> Pile:
        goods = self.at.goods(component=self.at.component("consumable", "swab-5"), lot="S1")
        return services.pile_receive(by=self.by, site=self.site, goods=goods, pieces=pieces, at=NOW)

    def transfer(self, units: list[Unit], **more: Any) -> Transfer:
        return transferring.transfer_make(
            by=self.by, source=self.site, target=self.far, units=units, at=NOW, **more
        )

    def sent(self, units: list[Unit], **more: Any) -> Transfer:
        return transferring.transfer_send(by=self.by, transfer=self.transfer(units, **more), at=NOW)

    def differing(self, units: list[Unit], **more: Any) -> Transfer:
        return transfers_in.transfer_end(
            by=self.at.far_by, transfer=self.sent(units, **more), at=NOW
        )

    def take(self) -> StockTake:
        return taking.take_begin(by=self.by, place=self.at.world.shelf, at=NOW)

    def again(self, take: StockTake) -> StockTake:
        return taking.take_recount(by=self.by, take=take, at=NOW)

    def see(self, take: StockTake, unit: Unit) -> Sighting:
        return taking.thing_see(by=self.by, take=take, component=unit.component, lot=unit.lot, at=NOW)

    def notice(self) -> Any:
        named = [noticing.LotNamed(self.at.component("femoral", "2", side="left"), "L77")]
        return noticing.notice_open(
            by=self.by, site=self.site, supplier=self.at.world.supplier, lots=named, reason="seal", at=NOW
        )

    def draft(self) -> CatalogueDraft:
        return drafts.draft_raise(
            by=self.by, site=self.site, described=self.described(), came=self.came(), at=NOW
        )

    def described(self) -> drafts.Described:
        return drafts.Described(code=CODE, component=self.at.component("tibial", "2"))

    def came(self) -> drafts.Came:
        return drafts.Came(
            self.at.world.shelf, self.at.world.hospital, "owned", lot="N1",
            expires=TODAY + timedelta(days=300), count=2,
        )  # fmt: skip


Act = Callable[[Desk, dict[str, Any]], Callable[[], Any]]
"""Makes ready what the act needs, and gives back the act."""


def _receive(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    goods = d.at.goods()
    return lambda: services.unit_receive(by=d.by, site=d.site, goods=goods, count=3, at=NOW, **key)


def _pile_receive(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    goods = d.at.goods(component=d.at.component("consumable", "swab-5"), lot="S1")
    return lambda: services.pile_receive(by=d.by, site=d.site, goods=goods, pieces=7, at=NOW, **key)


def _move(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    (unit,) = d.at.units()
    return lambda: services.unit_move(by=d.by, unit=unit, place=d.at.other, at=NOW, **key)


def _move_several(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(3)
    return lambda: services.units_move(by=d.by, units=units, place=d.at.other, at=NOW, **key)


def _move_pieces(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    pile = d.swabs()
    return lambda: services.pile_move(by=d.by, pile=pile, pieces=5, place=d.at.other, at=NOW, **key)


def _set_apart(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(2)
    return lambda: apart.units_set_apart(by=d.by, units=units, cause="unsure", at=NOW, **key)


def _put_back(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(2, condition="damaged")
    return lambda: apart.units_put_back(by=d.at.quality, units=units, at=NOW, **key)


def _dispose(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(2)
    return lambda: apart.units_dispose(by=d.by, units=units, reason="damaged", at=NOW, **key)


def _use_first(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(2)
    return lambda: apart.units_use_first(by=d.by, units=units, at=NOW, **key)


def _draft(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    return lambda: drafts.draft_raise(
        by=d.by, site=d.site, described=d.described(), came=d.came(), at=NOW, **key
    )


def _correct(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    draft = d.draft()
    return lambda: drafts.draft_correct(by=d.by, draft=draft, described=d.described(), at=NOW, **key)


def _approve(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    draft = d.draft()
    return lambda: drafts.draft_approve(by=d.at.quality, draft=draft, at=NOW, **key)


def _turn_down(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    draft = d.draft()
    return lambda: drafts.draft_turn_down(by=d.at.quality, draft=draft, reason="ours", at=NOW, **key)


def _notice_open(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    d.at.units(2)
    named = [noticing.LotNamed(d.at.component("femoral", "2", side="left"), "L77")]
    return lambda: noticing.notice_open(
        by=d.by, site=d.site, supplier=d.at.world.supplier, lots=named, reason="seal", at=NOW, **key
    )


def _notice_account(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    d.at.units(1)
    sought = d.notice().units.get()
    return lambda: noticing.notice_account(by=d.by, sought=sought, outcome="secured", at=NOW, **key)


def _notice_close(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    notice = d.notice()
    by = d.at.signs(d.at.quality)
    return lambda: noticing.notice_close(by=by, notice=notice, conclusion="done", at=NOW, **key)


def _policy(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    limits = policies.Limits(Decimal(100), 30, 90)
    return lambda: policies.stock_policy_set(by=d.by, site=d.site, limits=limits, at=NOW, **key)


def _return_make(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.consigned(2)
    return lambda: returning.return_make(by=d.by, units=units, why="exchange", at=NOW, **key)


def _return_send(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    back = _return_make(d, {})()
    return lambda: returning.return_send(by=d.by, back=back, at=NOW, **key)


def _return_cancel(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    back = _return_make(d, {})()
    return lambda: returning.return_cancel(by=d.by, back=back, note="kept", at=NOW, **key)


def _begin(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    return lambda: taking.take_begin(by=d.by, place=d.at.world.shelf, at=NOW, **key)


def _see(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    (unit,), take = d.at.units(serial="A1", place=d.at.other), d.take()
    return lambda: taking.thing_see(
        by=d.by, take=take, component=unit.component, serial="A1", at=NOW, **key
    )


def _see_back(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    (unit,), take = d.at.units(), d.take()
    seen = d.see(take, unit)
    return lambda: taking.sighting_take_back(by=d.by, sighting=seen, at=NOW, **key)


def _see_moved(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    (here,), (there,), take = d.at.units(), d.at.units(place=d.at.other), d.take()
    d.see(take, here)
    more = d.see(take, here)
    return lambda: taking.more_is_moved(by=d.by, sighting=more, unit=there, at=NOW, **key)


def _count_pieces(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    pile, take = d.swabs(), d.take()
    return lambda: taking.pile_count(by=d.by, take=take, pile=pile, pieces=39, at=NOW, **key)


def _recount(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    take = d.take()
    return lambda: taking.take_recount(by=d.by, take=take, at=NOW, **key)


def _break_off(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    take = d.take()
    return lambda: taking.take_break_off(by=d.by, take=take, at=NOW, **key)


def _agree(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    take = d.take()
    return lambda: take_end.take_agree(by=d.by, take=take, at=NOW, **key)


def _adjust(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    _gone, here = d.at.units(2)
    pile = d.swabs()
    take = d.again(d.take())
    for _time in range(3):
        d.see(take, here)
    taking.pile_count(by=d.by, take=take, pile=pile, pieces=43, at=NOW)
    by, second = d.at.signs(d.by), d.at.signs(d.at.quality)
    return lambda: take_end.take_adjust(by=by, take=take, reason="found", second=second, at=NOW, **key)


def _make(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units, pile = d.at.units(2), d.swabs()
    return lambda: d.transfer(units, pieces=[transferring.Pieces(pile, 3)], **key)


def _add(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    transfer, units = d.transfer([]), d.at.units(2)
    return lambda: transferring.transfer_add(by=d.by, transfer=transfer, units=units, at=NOW, **key)


def _take_off(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(2)
    transfer = d.transfer(units)
    return lambda: transferring.transfer_take_off(by=d.by, transfer=transfer, units=units, at=NOW, **key)


def _send(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    transfer = _make(d, {})()
    return lambda: transferring.transfer_send(by=d.by, transfer=transfer, at=NOW, **key)


def _cancel(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    transfer = d.transfer(d.at.units(1))
    return lambda: transferring.transfer_cancel(
        by=d.by, transfer=transfer, reason="not needed", at=NOW, **key
    )


def _arrive(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    units = d.at.units(2)
    transfer, stray = d.sent(units), d.at.units(1)
    return lambda: transfers_in.transfer_receive(
        by=d.at.far_by, transfer=transfer, units=[*units, *stray], place=d.at.far, at=NOW, **key
    )


def _arrive_pieces(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    transfer = d.sent([], pieces=[transferring.Pieces(d.swabs(), 30)])
    carried = transfer.piles.get()
    return lambda: transfers_in.transfer_receive_pieces(
        by=d.at.far_by, transfer=transfer, carried=carried, pieces=30, place=d.at.far, at=NOW, **key
    )


def _end(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    transfer = d.sent(d.at.units(2))
    return lambda: transfers_in.transfer_end(by=d.at.far_by, transfer=transfer, at=NOW, **key)


def _explain(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    carried = d.differing(d.at.units(1)).units.get()
    return lambda: transfers_in.difference_explain(
        by=d.by, carried=carried, how="lost", note="searched", at=NOW, **key
    )


def _pieces_lost(d: Desk, key: dict[str, Any]) -> Callable[[], Any]:
    carried = d.differing([], pieces=[transferring.Pieces(d.swabs(), 30)]).piles.get()
    return lambda: transfers_in.pieces_lost(by=d.by, carried=carried, note="bag torn", at=NOW, **key)


ACTS: dict[str, Act] = {
    "unit_receive": _receive,
    "pile_receive": _pile_receive,
    "unit_move": _move,
    "units_move": _move_several,
    "pile_move": _move_pieces,
    "units_set_apart": _set_apart,
    "units_put_back": _put_back,
    "units_dispose": _dispose,
    "units_use_first": _use_first,
    "draft_raise": _draft,
    "draft_correct": _correct,
    "draft_approve": _approve,
    "draft_turn_down": _turn_down,
    "notice_open": _notice_open,
    "notice_account": _notice_account,
    "notice_close": _notice_close,
    "stock_policy_set": _policy,
    "return_make": _return_make,
    "return_send": _return_send,
    "return_cancel": _return_cancel,
    "take_begin": _begin,
    "thing_see": _see,
    "sighting_take_back": _see_back,
    "more_is_moved": _see_moved,
    "pile_count": _count_pieces,
    "take_recount": _recount,
    "take_break_off": _break_off,
    "take_agree": _agree,
    "take_adjust": _adjust,
    "transfer_make": _make,
    "transfer_add": _add,
    "transfer_take_off": _take_off,
    "transfer_send": _send,
    "transfer_cancel": _cancel,
    "transfer_receive": _arrive,
    "transfer_receive_pieces": _arrive_pieces,
    "transfer_end": _end,
    "difference_explain": _explain,
    "pieces_lost": _pieces_lost,
}


def test_every_act_of_stores_is_tried_here() -> None:
    assert left_out(verbs_of("trays.stock"), tried=ACTS, halves=NO_WHOLE_ACT) == ([], set())


@pytest.mark.parametrize("name", ACTS)
def test_an_act_writes_one_event_and_sent_again_with_its_key_no_second(name: str, store: Store) -> None:
    key = {"client_key": uuid4()}
    act = ACTS[name](Desk(store), key)
    writes_one_event(act, nameless=list(Person.objects.values_list("name", flat=True)))
    assert stock_faults() == []
    counts = (Event.objects.count(), Unit.objects.count())
    act()
    assert (Event.objects.count(), Unit.objects.count()) == counts
    assert stock_faults() == []
