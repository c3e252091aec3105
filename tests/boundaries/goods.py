"""Goods at each stage of what stores do, for the addresses that need one; and who gets in there."""

from datetime import timedelta
from typing import Any

from django.contrib.auth.hashers import make_password
from django.utils import timezone

from tests.boundaries.door import Door
from tests.world import World
from trays.places.models import Place
from trays.staff.models import Person
from trays.stock.drafts import Described, draft_raise
from trays.stock.models import Pile, Unit
from trays.stock.noticing import LotNamed, notice_open
from trays.stock.returning import return_make
from trays.stock.taking import take_begin, take_recount, thing_see
from trays.stock.transferring import Pieces, transfer_make, transfer_send
from trays.stock.transfers_in import transfer_end

HOSPITAL = frozenset(
    {"coordinator", "technician", "scrub", "circulating", "surgeon", "stores", "quality", "keeper"}
)
FAR = frozenset({"far_coordinator"})
KEEPS = {"stores", "keeper"}
SENDS = {"stores", "coordinator", "keeper"}
WATCHES = {"stores", "quality", "keeper"}


def furnish_goods(world: World) -> dict[str, Any]:
    """Units and pieces on shelves, transfers, counts, a notice, a draft, a return: one for each address."""
    keeper, now = world.cast.keeper, timezone.now()
    Person.objects.filter(pin="").update(pin=make_password("4711"))
    later = now.date() + timedelta(days=500)
    shelf = Place.objects.create(site=world.site, code="G1", name="Goods shelf", kind="shelf", walk=40)
    counted = Place.objects.create(site=world.site, code="G2", name="Counted shelf", kind="shelf", walk=41)
    idle = Place.objects.create(site=world.site, code="G3", name="Idle shelf", kind="shelf", walk=42)
    item = world.component("insert", "1", second="8")

    def units(count: int, lot: str, **more: Any) -> list[Unit]:
        return world.unit(item, count, lot=lot, expires=later, place=more.pop("place", shelf), **more)

    pile = Pile.objects.filter(site=world.site, quantity__gt=10).first()
    assert pile is not None

    def transfer(lot: str, count: int = 2) -> Any:
        return transfer_make(
            by=keeper, source=world.site, target=world.far_site, units=units(count, lot),
            pieces=[Pieces(pile, 1)], at=now,
        )  # fmt: skip

    made, sent, differs = transfer("GT1"), transfer("GT2"), transfer("GT3")
    for row in (sent, differs):
        transfer_send(by=keeper, transfer=row, at=now)
    transfer_end(by=keeper, transfer=differs, at=now)
    (here,) = units(1, "GC1", place=counted)
    take = take_begin(by=keeper, place=counted, at=now)
    take_recount(by=keeper, take=take, at=now)
    sighting = thing_see(by=keeper, take=take, component=item, lot="GC1", at=now)
    more = thing_see(by=keeper, take=take, component=item, lot="GC1", at=now)
    (elsewhere,) = units(1, "GC1")
    units(1, "GN1")
    notice = notice_open(
        by=keeper, site=world.site, supplier=world.supplier, reason="seal", lots=[LotNamed(item, "GN1")],
        at=now,
    )  # fmt: skip
    described = Described(code="09521234000099", component=item)
    draft = draft_raise(by=world.cast.stores, site=world.site, described=described, at=now)
    back = return_make(by=keeper, units=units(1, "GB1"), why="exchange", at=now)
    (apart,) = units(1, "GA1", state="quarantine")
    moving = units(1, "GM1")[0]
    return {
        "goods_shelf": shelf.pk, "idle_shelf": idle.pk, "goods_item": item.code, "goods_unit": moving.pk,
        "goods_pile": pile.pk, "far_site": world.far_site.pk, "transfer_made": made.pk,
        "transfer_sent": sent.pk, "transfer_differs": differs.pk,
        "transfer_listed": made.units.first().unit_id, "transfer_missing": differs.units.first().pk,
        "transfer_pile": sent.piles.get().pk, "transfer_pile_lost": differs.piles.get().pk,
        "stock_take": take.pk, "sighting": sighting.pk, "sighting_more": more.pk,
        "sighting_unit": elsewhere.pk, "counted_unit": here.pk, "notice": notice.pk,
        "notice_unit": notice.units.get().pk, "draft": draft.pk, "return": back.pk, "apart_unit": apart.pk,
        "supplier_pk": world.supplier.pk,
    }  # fmt: skip


MADE, SENT, DIFFERS = {"pk": "transfer_made"}, {"pk": "transfer_sent"}, {"pk": "transfer_differs"}
TAKE, NOTICE, DRAFT = {"pk": "stock_take"}, {"pk": "notice"}, {"pk": "draft"}
THING = {"item": "goods_item", "lot": "GM1"}
DOORS: dict[str, Door] = {
    "goods": Door(HOSPITAL | FAR),
    "receiving": Door(KEEPS),
    "receiving-do": Door(
        KEEPS,
        post={
            "item": "goods_item", "lot": "GR1", "count": "1", "place": "goods_shelf", "tenure": "owned",
            "condition": "good",
        },
    ),
    "catalogue-drafts": Door(HOSPITAL | FAR),
    "catalogue-draft-new": Door(KEEPS),
    "catalogue-draft-new-do": Door(
        KEEPS,
        post={
            "code": "09521234000105", "quantity": "1", "known": "goods_item", "kind": "implant",
            "side": "none", "lot": "GD1", "count": "1", "place": "goods_shelf", "tenure": "owned",
        },
    ),
    "catalogue-draft": Door(HOSPITAL, DRAFT, elsewhere=FAR),
    "catalogue-draft-correct": Door(
        KEEPS,
        DRAFT,
        post={"code": "x", "quantity": "1", "known": "goods_item", "kind": "implant", "side": "none"},
        elsewhere=FAR,
        once=True,
    ),
    "catalogue-draft-approve": Door(
        {"quality", "coordinator", "keeper"}, DRAFT, post={}, elsewhere=FAR, once=True
    ),
    "catalogue-draft-turn-down": Door(
        {"quality", "coordinator", "keeper"}, DRAFT, post={"reason": "ours"}, elsewhere=FAR, once=True
    ),
    "stock-moves": Door(KEEPS),
    "stock-moves-to": Door(KEEPS, {"pk": "idle_shelf"}, elsewhere=FAR),
    "stock-move-thing": Door(KEEPS, {"pk": "idle_shelf"}, post=THING, elsewhere=FAR, once=True),
    "stock-move-ticked": Door(KEEPS, {"pk": "idle_shelf"}, post={"units": "goods_unit"}, elsewhere=FAR),
    "stock-move-pieces": Door(
        KEEPS, {"pk": "idle_shelf"}, post={"pile": "goods_pile", "pieces": "1"}, elsewhere=FAR
    ),
    "transfers": Door(HOSPITAL | FAR),
    "transfer-new": Door(SENDS | FAR, post={"target": "far_site"}, once=True),
    # Whoever sees stock at either end sees a transfer.
    "transfer": Door(HOSPITAL | FAR, MADE),
    "transfer-thing": Door(SENDS, MADE, post=THING, elsewhere=FAR, once=True),
    "transfer-pieces": Door(SENDS, MADE, post={"pile": "goods_pile", "pieces": "2"}, elsewhere=FAR),
    "transfer-off": Door(SENDS, MADE, post={"units": "transfer_listed"}, elsewhere=FAR),
    "transfer-send": Door(SENDS, MADE, post={}, elsewhere=FAR, once=True),
    "transfer-cancel": Door(SENDS, MADE, post={"reason": "not needed"}, elsewhere=FAR, once=True),
    "transfer-arrive": Door({"keeper"} | FAR, SENT, post={**THING, "lot": "GT2", "place": "none"}, once=True),
    "transfer-end": Door({"keeper"} | FAR, SENT, post={}, once=True),
    "transfer-explain": Door(
        SENDS | FAR, {"pk": "transfer_missing"}, post={"how": "lost", "note": "searched"}, once=True
    ),
    "transfer-arrive-pieces": Door(
        {"keeper"} | FAR, {"pk": "transfer_pile"}, post={"pieces": "1", "place": "none"}, once=True
    ),
    "transfer-pieces-lost": Door(
        SENDS | FAR, {"pk": "transfer_pile_lost"}, post={"note": "bag torn"}, once=True
    ),
    "stock-takes": Door(HOSPITAL | FAR),
    "stock-take-begin": Door(KEEPS, post={"place": "goods_shelf"}, once=True),
    "stock-take": Door(HOSPITAL, TAKE, elsewhere=FAR),
    "stock-take-see": Door(KEEPS, TAKE, post=THING, elsewhere=FAR, once=True),
    "stock-take-pieces": Door(
        KEEPS, TAKE, post={"pile": "goods_pile", "pieces": "3"}, elsewhere=FAR, once=True
    ),
    "stock-take-recount": Door(KEEPS, TAKE, post={}, elsewhere=FAR),
    "stock-take-agree": Door(KEEPS, TAKE, post={}, elsewhere=FAR, once=True),
    "stock-take-adjust": Door(
        WATCHES, TAKE, post={"reason": "found", "pin": "pin"}, elsewhere=FAR, once=True
    ),
    "stock-take-break-off": Door(KEEPS, TAKE, post={}, elsewhere=FAR, once=True),
    "sighting-back": Door(KEEPS, {"pk": "sighting"}, post={}, elsewhere=FAR, once=True),
    "sighting-moved": Door(
        KEEPS, {"pk": "sighting_more"}, post={"units": "sighting_unit"}, elsewhere=FAR, once=True
    ),
    "safety-notices": Door(HOSPITAL | FAR),
    "safety-notice-open": Door(
        WATCHES, post={"supplier": "supplier_pk", "reason": "seal", "lots": "goods_item"}
    ),
    # A notice holds at every site.
    "safety-notice": Door(HOSPITAL | FAR, NOTICE),
    "notice-cases": Door(HOSPITAL | FAR, NOTICE),
    "safety-notice-close": Door(
        {"quality", "keeper"}, NOTICE, post={"conclusion": "done", "pin": "pin"}, once=True
    ),
    "notice-account": Door(
        WATCHES, {"pk": "notice_unit"}, post={"outcome": "secured"}, elsewhere=FAR, once=True
    ),
    "set-apart": Door(HOSPITAL | FAR),
    "set-apart-set": Door(
        {"stores", "quality", "technician", "scrub", "circulating", "keeper"},
        post={**THING, "count": "1", "cause": "unsure"},
        once=True,
    ),
    "set-apart-put-back": Door({"quality", "keeper"}, post={"units": "apart_unit"}, once=True),
    "set-apart-dispose": Door(WATCHES, post={"units": "apart_unit"}, once=True),
    "return-make": Door(KEEPS, post={"units": "apart_unit", "why": "damaged"}, once=True),
    "return-send": Door(KEEPS, {"pk": "return"}, post={}, elsewhere=FAR, once=True),
    "return-cancel": Door(KEEPS, {"pk": "return"}, post={"note": "kept"}, elsewhere=FAR, once=True),
    "stock-policy": Door(WATCHES),
    "stock-policy-set": Door(
        WATCHES, post={"adjustment_limit": "10", "short_dated_days": "10", "warning_days": "20"}
    ),
}  # fmt: skip
