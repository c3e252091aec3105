"""Picking by scan and what follows: ticks, what is refused in words, packs that leave and come back."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from cases.picks.models import PackFor, PickLine, PickList
from cases.picks.services import pick_list_make
from tests.world import NOW, World
from trays.instruments.models import Pack, PackState
from trays.ledger.models import Event
from trays.processing.storing import packs_return
from trays.refusals.models import RefusedScan

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(world: World, plan: Any) -> PickList:
    component = world.component("femoral", "2", side="right")
    world.unit(component, 2, lot="M2604K", bin="K1-4")
    world.unit(world.component("femoral", "2", side="left"), 1, lot="M2604L")
    world.unit(component, 1, lot="M9999Z", bin="K1-5")
    plan.want(component)
    plan.sets.append(world.a_set("general", "KG-01", trays=2).pk)
    world.a_set("general", "KG-02")
    return pick_list_make(by=world.cast.coordinator, case=world.a_case(reference="LK-1187"), at=NOW)


@pytest.fixture
def client(as_person: Any) -> Any:
    return as_person("technician")


def scanned(client: Any, made: PickList, code: str, **more: str) -> str:
    page = reverse("pick-list", args=[made.pk])
    said = {"code": code, "page": page, **more}
    answer = client.post(reverse("scan"), said, headers={"HX-Request": "true"})
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def label_of(made: PickList, lot: str) -> str:
    unit = made.lines.get(unit__isnull=False).unit
    return f"(01){unit.component.pack_levels.get().code}(10){lot}"


def page_of(client: Any, made: PickList) -> str:
    return " ".join(client.get(reverse("pick-list", args=[made.pk])).content.decode().split())


def press(client: Any, name: str, made: PickList, **given: Any) -> str:
    answer = client.post(reverse(name, args=[made.pk]), {"client_key": str(uuid4()), **given}, follow=True)
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def states(made: PickList) -> list[bool]:
    return [at is not None for at in made.lines.order_by("number").values_list("picked_at", flat=True)]


def test_a_scanned_pack_ticks_its_line_and_says_what_is_left(made: PickList, client: Any) -> None:
    pack = made.lines.filter(pack__isnull=False).first().pack
    said = scanned(client, made, pack.number)
    assert f"Picked: KG-01, pack {pack.number}." in said and "are still to pick" in said
    line = made.lines.get(pack=pack)
    assert line.picked_by.username == "technician"
    assert "1 of" in page_of(client, made)
    assert Event.objects.latest("pk").verb == "pick_list.pick"


def test_the_code_of_a_set_ticks_all_its_packs(made: PickList, client: Any) -> None:
    scanned(client, made, "KG-01")
    assert made.lines.filter(pack__set__code="KG-01", picked_at__isnull=False).count() == 2


def test_a_unit_of_the_lot_ticks_its_line_and_another_lot_does_not(made: PickList, client: Any) -> None:
    refused = scanned(client, made, label_of(made, "M9999Z"))
    assert "of another lot" in refused and "take lot M2604K" in refused
    assert RefusedScan.objects.latest("pk").code == "another-lot"
    assert "Picked: Femoral component A 2 RIGHT" in scanned(client, made, label_of(made, "M2604K"))
    again = scanned(client, made, label_of(made, "M2604K"))
    assert "is picked already" in again
    assert made.lines.filter(unit__isnull=False, picked_at__isnull=False).count() == 1


def test_the_other_side_is_refused_with_the_side_in_words_and_kept(
    made: PickList, client: Any, world: World
) -> None:
    left = world.component("femoral", "2", side="left")
    said = scanned(client, made, f"(01){left.pack_levels.get().code}(10)M2604L")
    assert "Femoral component A 2 LEFT is not on the list of case LK-1187." in said
    assert "This case is RIGHT." in said and "Put it back. Wanted is Femoral component A 2 RIGHT" in said
    kept = RefusedScan.objects.latest("pk")
    assert (kept.code, kept.page) == ("not-on-this-list", reverse("pick-list", args=[made.pk]))
    assert not any(states(made))


def test_a_pack_of_another_set_is_refused_with_the_set_that_is_wanted(made: PickList, client: Any) -> None:
    other = Pack.objects.get(set__code="KG-02")
    said = scanned(client, made, other.number)
    assert "is not on the list" in said and "this list wants KG-01" in said


def test_an_item_number_alone_does_not_tick_a_sealed_unit(made: PickList, client: Any) -> None:
    unit = made.lines.get(unit__isnull=False).unit
    said = scanned(client, made, f"(01){unit.component.pack_levels.get().code}")
    assert "its lot was not read" in said
    assert not any(states(made))


def test_what_was_quarantined_since_is_not_picked(made: PickList, client: Any, world: World) -> None:
    pack = made.lines.filter(pack__isnull=False).first().pack
    world.take_to([pack], PackState.QUARANTINED)
    assert "in quarantine" in scanned(client, made, pack.number)
    assert not any(states(made))


def test_undo_takes_back_what_the_last_scan_ticked_and_says_which(made: PickList, client: Any) -> None:
    scanned(client, made, label_of(made, "M2604K"))
    PickLine.objects.filter(picked_at__isnull=False).update(picked_at=NOW - timedelta(days=99))
    scanned(client, made, "KG-01")
    said = press(client, "pick-list-undo", made)
    assert "Taken back: KG-01" in said
    assert made.lines.filter(picked_at__isnull=False).count() == 1
    press(client, "pick-list-undo", made)
    assert "Nothing of this list is picked." in press(client, "pick-list-undo", made)


def test_consumables_are_ticked_by_their_number_and_nothing_else_is(
    made: PickList, client: Any, plan: Any, world: World
) -> None:
    plan.consumables.append((world.component("consumable", "swab-5").pk, 2))
    anew = pick_list_make(by=world.cast.coordinator, case=made.case, at=NOW)
    pile, unit = anew.lines.get(pile__isnull=False), anew.lines.get(unit__isnull=False)
    assert "Picked: Swabs, five." in press(client, "pick-list-line", anew, number=pile.number)
    assert "is ticked by its own label" in press(client, "pick-list-line", anew, number=unit.number)
    assert "no such line" in press(client, "pick-list-line", anew, number=999)


def test_a_replaced_list_is_not_picked_by(made: PickList, client: Any, world: World) -> None:
    pick_list_make(by=world.cast.coordinator, case=made.case, at=NOW)
    assert "A newer list took the place" in scanned(client, made, "KG-01")


def test_picked_packs_leave_in_one_act_and_are_on_file_for_the_case(made: PickList, client: Any) -> None:
    assert "No picked pack" in press(client, "pick-list-issue", made)
    scanned(client, made, "KG-01")
    said = press(client, "pick-list-issue", made)
    assert "2 packs are issued to Theatre 1." in said and "These were opened" in said
    assert "may no longer fit the case" not in said
    packs = Pack.objects.filter(set__code="KG-01")
    assert {pack.state for pack in packs} == {PackState.ISSUED}
    assert {pack.place.code for pack in packs} == {"T1"}
    rows = PackFor.objects.all()
    assert {(row.case_id, row.pack_id, row.round) for row in rows} == {
        (made.case_id, pack.pk, pack.round) for pack in packs
    }
    event = Event.objects.latest("pk")
    assert event.verb == "pick_list.issue" and event.lines.filter(subject="pack").count() == 2
    assert "No picked pack" in press(client, "pick-list-issue", made)


def test_one_is_opened_and_the_other_comes_back_to_be_picked_again(
    made: PickList, client: Any, world: World
) -> None:
    scanned(client, made, "KG-01")
    press(client, "pick-list-issue", made)
    first, second = Pack.objects.filter(set__code="KG-01").order_by("tray")
    assert "1 pack is opened." in press(client, "pick-list-opened", made, packs=[first.pk])
    said = press(client, "pick-list-returned", made, packs=[second.pk], place=world.sterile_store.pk)
    assert "1 pack is back unopened, on Sterile store." in said
    first.refresh_from_db()
    second.refresh_from_db()
    assert (first.state, second.state) == (PackState.OPENED, PackState.STORED)
    assert PackFor.objects.get(pack=first).opened_at is not None
    assert PackFor.objects.get(pack=second).returned_at is not None
    assert made.lines.get(pack=second).picked_at is None
    scanned(client, made, second.number)
    assert "1 pack is issued" in press(client, "pick-list-issue", made)
    assert PackFor.objects.filter(pack=second).count() == 2


def test_packs_that_came_back_through_the_store_page_leave_again_for_the_same_case(
    made: PickList, client: Any, world: World
) -> None:
    scanned(client, made, "KG-01")
    press(client, "pick-list-issue", made)
    packs = list(Pack.objects.filter(set__code="KG-01").select_related("set__site", "place"))
    packs_return(by=world.cast.technician, packs=packs, place=world.sterile_store, at=NOW)
    assert "2 packs are issued" in press(client, "pick-list-issue", made)
    assert PackFor.objects.filter(returned_at=None).count() == 2


def test_packs_that_are_not_with_the_case_cannot_be_opened_from_its_list(made: PickList, client: Any) -> None:
    other = Pack.objects.get(set__code="KG-02")
    answer = client.post(reverse("pick-list-opened", args=[made.pk]), {"packs": [other.pk]})
    assert answer.status_code == 422
    other.refresh_from_db()
    assert other.state == PackState.STORED


def test_the_page_takes_the_same_queries_however_long_the_list(
    made: PickList, client: Any, plan: Any, world: World, django_assert_max_num_queries: Any
) -> None:
    def spent() -> int:
        with django_assert_max_num_queries(60) as counted:
            client.get(reverse("pick-list", args=[anew.pk]))
        return len(counted)

    anew = made
    short = spent()
    for size in ("1", "3", "4"):
        component = world.component("femoral", size, side="right")
        world.unit(component, 2)
        plan.want(component)
    anew = pick_list_make(by=world.cast.coordinator, case=made.case, at=NOW)
    assert anew.lines.count() > made.lines.count()
    assert spent() == short
