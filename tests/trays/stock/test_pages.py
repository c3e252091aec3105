"""The pages of stores: scans and presses in, state and page out."""

import base64
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.trays.processing.http import HTMX, questions, scan_on, signed_in, text_of
from tests.trays.stock.conftest import PIN, Store
from tests.world import World
from trays.catalogue.models import Component, PackLevel
from trays.catalogue.models_drafts import CatalogueDraft
from trays.identifiers.gs1 import GS
from trays.parties.models import Tenure
from trays.refusals.models import RefusedScan
from trays.stock.models import Pile, Unit
from trays.stock.models_arrivals import Arrival
from trays.stock.models_notices import SafetyNotice
from trays.stock.models_takes import StockTake
from trays.stock.models_transfers import Transfer
from trays.stock.noticing import LotNamed, notice_open
from trays.stock.services import unit_receive
from trays.stock.taking import take_begin
from trays.stock.transferring import transfer_make, transfer_send

NOW = timezone.now()
LATER = NOW.date() + timedelta(days=400)


@pytest.fixture
def client(store: Store) -> Client:
    return signed_in(store.by)


def label(component: Component, *, lot: str = "", serial: str = "", expires: Any = LATER) -> str:
    """What a scanner sends of a unit's label."""
    gtin = PackLevel.objects.get(component=component).code
    day = f"17{expires:%y%m%d}" if expires else ""
    return f"]d201{gtin}{day}" + (f"10{lot}{GS}" if lot else "") + (f"21{serial}" if serial else "")


def of_store(store: Store) -> Component:
    return store.component("tibial", "2")


def kept(store: Store, count: int = 1, **changes: Any) -> list[Unit]:
    """Units on the shelf that are in date by the real clock, which the pages go by."""
    goods = store.goods(component=of_store(store), expires=LATER, **changes)
    return unit_receive(by=store.by, site=store.world.site, goods=goods, count=count, at=NOW)


def scan_from(client: Client, page: str, query: str, payload: str, **more: Any) -> Any:
    """A scan on a page whose address has a query, as the script tells it."""
    raw = base64.b64encode(payload.encode()).decode()
    headers = {**HTMX, "HX-Current-URL": f"http://testserver{page}?{query}"}
    return client.post("/scan/", {"raw": raw, "page": page, "how": "scanner", **more}, headers=headers)


# Receiving


def test_a_label_fills_the_form_and_one_press_takes_it_in(client: Client, store: Store) -> None:
    answer = scan_on(client, "/receiving/", label(of_store(store), lot="N1"))
    filled = client.get(answer["HX-Redirect"])
    said = text_of(filled)
    assert "Read from the label" in said
    form = filled.context["form"]
    sent = {
        "item": form["item"].value(), "lot": form["lot"].value(), "expires": form["expires"].value(),
        "raw": form["raw"].value(), "count": "3", "place": store.world.shelf.pk, "tenure": "owned",
        "condition": "good",
    }  # fmt: skip
    pressed = client.post("/receiving/do/?site=larkmere", sent)
    assert pressed.status_code == 303
    assert f"place={store.world.shelf.pk}" in pressed["Location"]
    assert set(Unit.objects.values_list("lot", "state", "expires")) == {("N1", "shelf", LATER)}
    assert Unit.objects.count() == 3
    arrival = Arrival.objects.get()
    assert bytes(arrival.raw).decode() == label(of_store(store), lot="N1")
    assert "Received: 3 ×" in text_of(client.get(pressed["Location"]))


def test_two_codes_of_one_label_are_one_receipt(client: Client, store: Store) -> None:
    gtin = PackLevel.objects.get(component=of_store(store)).code
    scan_on(client, "/receiving/", f"]d201{gtin}")
    answer = scan_on(client, "/receiving/", f"]d217{LATER:%y%m%d}10N1")
    assert f"item={gtin}" in answer["HX-Redirect"]
    assert "lot=N1" in answer["HX-Redirect"]


def test_with_a_shelf_chosen_each_scan_is_one_receipt(client: Client, store: Store) -> None:
    query = f"site=larkmere&place={store.world.shelf.pk}&tenure=consigned&straight=1"
    for serial in ("A1", "A2"):
        answer = scan_from(client, "/receiving/", query, label(of_store(store), lot="N1", serial=serial))
        assert "Received: Tibial 2" in text_of(answer)
        assert answer["HX-Trigger"] == "worked"
    assert set(Unit.objects.values_list("serial", "tenure", "owner__code")) == {
        ("A1", "consigned", "MER"), ("A2", "consigned", "MER"),
    }  # fmt: skip
    # What has to be decided comes to the form.
    soon = NOW.date() + timedelta(days=30)
    answer = scan_from(client, "/receiving/", query, label(of_store(store), lot="N2", expires=soon))
    assert "lot=N2" in answer["HX-Redirect"]
    assert Unit.objects.count() == 2


@pytest.mark.parametrize(
    ("what", "code"),
    [
        ("expired", "out-of-date"),
        ("same serial", "serial-known"),
        ("other supplier", "other-suppliers-item"),
        ("check digit", "code-unreadable"),
        ("long lot", "code-unreadable"),
        ("no such day", "code-unreadable"),
    ],
)
def test_what_is_wrong_with_a_label_is_told_and_kept_out(
    what: str, code: str, client: Client, store: Store
) -> None:
    component = of_store(store)
    gtin = PackLevel.objects.get(component=component).code
    wrong = gtin[:-1] + str((int(gtin[-1]) + 1) % 10)
    other = store.world.supplier.__class__.objects.create(code="OTH", name="Othermark", kind="supplier")
    if what == "same serial":
        kept(store, serial="A1")
    payload = {
        "expired": label(component, lot="N1", expires=NOW.date() - timedelta(days=1)),
        "same serial": label(component, serial="A1"),
        "other supplier": label(component, lot="N1"),
        "check digit": f"]d201{wrong}10N1",
        "long lot": f"]d201{gtin}10{'L' * 21}",
        "no such day": f"]d201{gtin}17271332{'10N1'}",
    }[what]
    before = Unit.objects.count()
    query = f"site=larkmere&supplier={other.pk}" if what == "other supplier" else ""
    answer = scan_from(client, "/receiving/", query, payload)
    assert 'data-tone="refused"' in answer.content.decode()
    assert RefusedScan.objects.get().code == code
    assert Unit.objects.count() == before


def test_an_unknown_code_leads_to_the_short_form_and_waits_for_approval(client: Client, store: Store) -> None:
    answer = scan_on(client, "/receiving/", f"]d20109521234000099{'17'}{LATER:%y%m%d}10N1")
    address = answer["HX-Redirect"]
    assert address.startswith("/catalogue-drafts/new/")
    form = client.get(address).context["form"]
    sent = {name: form[name].value() for name in ("code", "lot", "expires", "raw")}
    sent |= {
        "quantity": 1, "name": "Tibial 5", "family": store.world.families["tibial"].pk, "size": "5",
        "side": "none", "kind": "implant", "supplier": store.world.supplier.pk, "count": 2,
        "place": store.world.shelf.pk, "tenure": "owned",
    }  # fmt: skip
    assert client.post("/catalogue-drafts/new/do/?site=larkmere", sent).status_code == 303
    draft = CatalogueDraft.objects.get()
    page = f"/catalogue-drafts/{draft.pk}/"
    assert "Waits for another person" in text_of(client.get(page))
    quality = signed_in(store.quality)
    assert "waits for approval" in text_of(client.get("/receiving/"))
    assert quality.post(f"{page}approve/").status_code == 303
    assert Unit.objects.filter(lot="N1", state="shelf").count() == 2
    assert "It is Tibial 5" in text_of(quality.get(page))


def test_a_form_with_a_fault_loses_nothing_that_was_typed(client: Client, store: Store) -> None:
    sent = {
        "item": "09521234000099", "lot": "N1", "count": "2", "place": store.world.shelf.pk,
        "tenure": "owned", "condition": "good", "note": "two boxes",
    }  # fmt: skip
    answer = client.post("/receiving/do/?site=larkmere", sent)
    assert answer.status_code == 422
    said = text_of(answer)
    assert "No item with the code" in said
    assert "Say what this code is" in said
    assert 'value="two boxes"' in said
    # A consumable comes by the same form, in pieces.
    sent |= {"item": "swab-5", "count": "40", "condition": "damaged"}
    assert client.post("/receiving/do/?site=larkmere", sent).status_code == 303
    assert Pile.objects.get().quantity == 40


# Moves


def test_a_shelf_is_scanned_and_then_things(client: Client, store: Store) -> None:
    (one, two) = kept(store, 2)
    (named,) = kept(store, serial="A1")
    answer = scan_on(client, "/stock-moves/", "S2")
    page = answer["HX-Redirect"]
    assert page == f"/stock-moves/{store.other.pk}/"
    for payload in (label(of_store(store), lot="L77"), label(of_store(store), serial="A1")):
        assert "is at Shelf 2 now" in text_of(scan_on(client, page, payload))
    named.refresh_from_db()
    assert named.place == store.other
    assert Unit.objects.filter(pk__in=[one.pk, two.pk], place=store.other).count() == 1
    answer = client.post(f"{page}ticked/?origin={store.world.shelf.pk}", {"units": [one.pk, two.pk]})
    assert answer.status_code == 303
    assert Unit.objects.filter(place=store.other).count() == 3
    assert "no unit of this label" in text_of(scan_on(client, page, label(of_store(store), lot="ELSE")))


# Transfers


def test_a_transfer_is_listed_sent_and_received_by_scan(client: Client, store: Store) -> None:
    kept(store, 2)
    client.post("/transfers/new/?site=larkmere", {"target": store.world.far_site.pk, "note": "for Monday"})
    transfer = Transfer.objects.get()
    page = f"/transfers/{transfer.pk}/"
    for count in ("1 unit is", "2 units are"):
        assert f"{count} listed" in text_of(scan_on(client, page, label(of_store(store), lot="L77")))
    assert "All of these are listed" in text_of(scan_on(client, page, label(of_store(store), lot="L77")))
    client.post(f"{page}send/")
    assert set(Unit.objects.values_list("state", flat=True)) == {"transit"}
    far = signed_in(store.far_by)
    assert "Scan the shelf" in text_of(scan_on(far, page, label(of_store(store), lot="L77")))
    into = scan_on(far, page, "F1")["HX-Redirect"]
    assert into == f"{page}?place={store.far.pk}"
    answer = scan_from(far, page, into.partition("?")[2], label(of_store(store), lot="L77"))
    assert "arrived, at Far shelf" in text_of(answer)
    far.post(f"{page}end/")
    carried = transfer.units.get(state="missing")
    said = text_of(client.get(page))
    assert "1 has not arrived" in said
    client.post(f"/transfer-units/{carried.pk}/explain/", {"how": "never_left", "note": "in the tote"})
    assert Transfer.objects.get().status == "closed"
    assert sorted(Unit.objects.values_list("site__code", flat=True)) == ["fennside", "larkmere"]


# Counts


def test_a_place_is_counted_by_scan_again_and_adjusted_by_two(client: Client, store: Store) -> None:
    gone, here = kept(store, serial="A1") + kept(store, serial="A2")
    page = scan_on(client, "/stock-takes/", "S1")["HX-Redirect"]
    assert "1 of 2 units seen" in text_of(scan_on(client, page, label(of_store(store), serial="A2")))
    assert "Count the place a second time" in text_of(client.get(page))
    client.post(f"{page}recount/")
    scan_on(client, page, label(of_store(store), serial="A2"))
    said = text_of(client.get(page))
    assert "1 unit becomes missing" in said
    assert "Two people sign" in said
    sent = {"reason": "not_found", "pin": PIN}
    assert client.post(f"{page}adjust/", sent).status_code == 422
    sent |= {"second": "quality", "second_pin": PIN}
    assert client.post(f"{page}adjust/", sent).status_code == 303
    assert store.states([gone, here]) == ["missing", "shelf"]
    assert "signed by S. Stores and Q. Quality" in text_of(client.get(page))


def test_a_box_read_twice_at_once_is_counted_once_and_more_is_explained(
    client: Client, store: Store
) -> None:
    kept(store)
    kept(store, place=store.other)
    take = take_begin(by=store.by, place=store.world.shelf, at=NOW)
    page = f"/stock-takes/{take.pk}/"
    payload = label(of_store(store), lot="L77")
    scan_on(client, page, payload)
    assert "read twice" in text_of(scan_on(client, page, payload))
    sent = {"item": of_store(store).code, "lot": "L77"}
    client.post(f"{page}see/", sent)
    said = text_of(client.get(page))
    assert "1 more than on record" in said
    assert "It is the one from Shelf 2" in said
    more = take.sightings.get(kind="more")
    there = Unit.objects.get(place=store.other)
    client.post(f"/sightings/{more.pk}/moved/", {"units": there.pk})
    client.post(f"{page}agree/")
    assert StockTake.objects.get().status == "agreed"
    assert Unit.objects.filter(place=store.world.shelf).count() == 2


# Notices, and what is apart


def test_a_notice_is_opened_found_by_scan_and_closed(client: Client, store: Store) -> None:
    kept(store, 2)
    sent = {
        "supplier": store.world.supplier.pk, "reason": "seal may open",
        "lots": f"{of_store(store).code} L77\n\n{of_store(store).code} L78",
    }  # fmt: skip
    assert client.post("/safety-notices/open/", sent).status_code == 303
    notice = SafetyNotice.objects.get()
    page = f"/safety-notices/{notice.pk}/"
    assert set(Unit.objects.values_list("state", flat=True)) == {"quarantine"}
    for still in ("1 is not accounted for", "Every unit is accounted for"):
        answer = scan_on(client, page, label(of_store(store), lot="L77"))
        assert still in text_of(answer)
    assert "accounted for" in text_of(scan_on(client, page, label(of_store(store), lot="L77")))
    assert client.post(f"{page}close/", {"conclusion": "all in hand", "pin": PIN}).status_code == 403
    quality = signed_in(store.quality)
    assert quality.post(f"{page}close/", {"conclusion": "all in hand", "pin": PIN}).status_code == 303
    wrong = {**sent, "lots": "nothing-known L1"}
    answer = client.post("/safety-notices/open/", wrong)
    assert "Line 1: No item with the code" in text_of(answer)


def test_what_is_apart_goes_back_on_the_shelf_or_to_its_supplier(client: Client, store: Store) -> None:
    units = kept(store, 3, owner=store.world.supplier, tenure=Tenure.CONSIGNED)
    sent = {"item": of_store(store).code, "lot": "L77", "count": 3, "cause": "damaged", "note": "wet"}
    assert client.post("/set-apart/set/?site=larkmere", sent).status_code == 303
    assert "3 units are kept from use" in text_of(client.get("/set-apart/"))
    assert client.post("/set-apart/put-back/?site=larkmere", {"units": units[0].pk}).status_code == 403
    signed_in(store.quality).post("/set-apart/put-back/?site=larkmere", {"units": units[0].pk})
    answer = client.post("/set-apart/dispose/?site=larkmere", {"units": units[1].pk})
    assert "belongs to Merrowfield" in text_of(answer)
    rest = [unit.pk for unit in units[1:]]
    client.post("/set-apart/return/?site=larkmere", {"units": rest, "why": "damaged"})
    back = store.world.site.supplier_returns.get()
    client.post(f"/supplier-returns/{back.pk}/send/?site=larkmere", {"note": "two new ones"})
    assert store.states(units) == ["shelf", "returned", "returned"]


def test_the_limits_of_a_site_are_set(client: Client, store: Store) -> None:
    sent = {"adjustment_limit": "250", "short_dated_days": "60", "warning_days": "30"}
    assert client.post("/stock-policy/set/?site=larkmere", sent).status_code == 422
    sent["warning_days"] = "120"
    assert client.post("/stock-policy/set/?site=larkmere", sent).status_code == 303
    assert store.world.site.stock_policy.adjustment_limit == 250
    said = text_of(client.get("/goods/"))
    assert "Stock takes" in said and "Limits" in said


# Each page asks the same number of questions, however much it shows


def _much(store: Store, world: World) -> None:
    units = kept(store, 6)
    kept(store, 4, lot="L90")
    transfer = transfer_make(by=store.by, source=world.site, target=world.far_site, units=units[:3], at=NOW)
    transfer_send(by=store.by, transfer=transfer, at=NOW)
    notice_open(
        by=store.by, site=world.site, supplier=world.supplier, reason="seal", at=NOW,
        lots=[LotNamed(of_store(store), "L90")],
    )  # fmt: skip


PAGES = (
    "/goods/", "/receiving/", "/transfers/", "/stock-takes/", "/safety-notices/", "/set-apart/",
    "/catalogue-drafts/", "/stock-moves/{other}/?origin={shelf}", "/transfers/{transfer}/",
    "/safety-notices/{notice}/", "/stock-takes/{take}/",
)  # fmt: skip


def test_pages_ask_the_same_questions_however_much_they_show(store: Store) -> None:
    client = signed_in(store.quality.__class__.objects.get(username="keeper"))
    world = store.world
    take_begin(by=store.by, place=world.shelf, at=NOW)

    def asked() -> list[int]:
        rows = {
            "other": store.other.pk, "shelf": world.shelf.pk, "transfer": Transfer.objects.latest("pk").pk,
            "notice": SafetyNotice.objects.latest("pk").pk, "take": StockTake.objects.get().pk,
        }  # fmt: skip
        return [questions(client, page.format(**rows)) for page in PAGES]

    first = transfer_make(
        by=store.by, source=world.site, target=world.far_site, units=kept(store, lot="B"), at=NOW
    )
    transfer_send(by=store.by, transfer=first, at=NOW)
    notice_open(
        by=store.by, site=world.site, supplier=world.supplier, reason="seal", at=NOW,
        lots=[LotNamed(of_store(store), "L11")],
    )  # fmt: skip
    kept(store, lot="L11")
    before = asked()
    _much(store, world)
    assert asked() == before
    assert max(before) <= 26
