"""The bench: pressed and scanned line by line, short with a name, weighed, packed; and two at one list."""

from typing import Any

import pytest

from tests.trays.processing.conftest import PIN, Department
from tests.trays.processing.http import HTMX, questions, scan_on, signed_in, text_of
from tests.world import NOW
from trays.instruments.models import (
    ContentsLine,
    InstrumentType,
    Pack,
    PackLine,
    PackState,
)
from trays.instruments.models_pieces import Piece, PieceState, Spare
from trays.processing import bench
from trays.processing.models import Assembly, AssemblyLine, Shortfall
from trays.processing.models_policy import Policy
from trays.refusals.models import RefusedScan


@pytest.fixture
def client(department: Department) -> Any:
    return signed_in(department.technician)


@pytest.fixture
def pack(department: Department) -> Pack:
    """A clean pack: line 1 (two cutting blocks) is critical, line 2 (four forceps) is not, line 3 is one
    clamp.
    """
    world = department.world
    clamp = InstrumentType.objects.create(code="clamp", name="Bone clamp")
    version = world.designs["general"].versions.get()
    ContentsLine.objects.create(version=version, tray=1, number=3, section="Bottom", instrument=clamp)
    one = world.a_set("general", "G-01", state=PackState.USED).packs.get()
    department.receive(one)
    department.washed(one)
    one.refresh_from_db()
    return one


@pytest.fixture
def begun(client: Any, pack: Pack) -> Pack:
    assert client.post(f"/bench/{pack.pk}/begin/").status_code == 303
    return pack


def press(client: Any, pack: Pack, line: int, do: str, **more: Any) -> Any:
    return client.post(f"/bench/{pack.pk}/line/", {"line": line, "do": do, **more})


def page(client: Any, pack: Pack, query: str = "") -> str:
    return text_of(client.get(f"/bench/{pack.pk}/{query}"))


def found(pack: Pack) -> dict[int, tuple[str, int]]:
    rows = AssemblyLine.objects.filter(assembly__pack=pack, assembly__round=pack.round)
    return {row.line.number: (row.state, row.present) for row in rows.select_related("line")}


def test_what_waits_is_listed_and_a_scan_opens_its_list(client, pack):
    waiting = text_of(client.get("/bench/"))
    assert "1 pack waits at the bench" in waiting and pack.number in waiting
    answer = scan_on(client, "/bench/", "G-01")
    assert answer["HX-Redirect"] == f"/bench/{pack.pk}/"


def test_a_pack_at_another_stage_is_refused_at_the_bench_with_what_comes_next(client, department):
    dirty = department.world.a_set("blocks-small", "B-01", state=PackState.USED).packs.get()
    said = text_of(scan_on(client, "/bench/", dirty.number))
    assert "is used, not yet back in sterile services" in said and "received, to be cleaned" in said
    assert RefusedScan.objects.get().code == "no-way"


def test_each_line_is_pressed_and_the_rest_in_one_press(client, begun):
    assert "0 of 3 lines there, 3 to check" in page(client, begun)
    assert press(client, begun, 2, "there").status_code == 303
    assert "Undo line 2" in page(client, begun)
    client.post(f"/bench/{begun.pk}/rest/")
    assert found(begun) == {1: ("there", 2), 2: ("there", 4), 3: ("there", 1)}
    assert "3 of 3 lines there" in page(client, begun)


def test_with_scripts_the_work_of_the_page_comes_back_instead_of_a_way_elsewhere(client, begun):
    answer = client.post(
        f"/bench/{begun.pk}/line/", {"line": 2, "do": "there"}, headers={**HTMX, "HX-Target": "work"}
    )
    assert answer.status_code == 200 and "HX-Redirect" not in answer
    assert "1 of 3 lines there, 2 to check" in text_of(answer)


def test_how_many_of_several_are_missing_or_broken_is_said(client, begun):
    assert "How many are there" in page(client, begun, "?line=2")
    press(client, begun, 2, "missing", present=3)
    press(client, begun, 1, "broken", present=0)
    assert found(begun) == {1: ("broken", 0), 2: ("missing", 3)}
    said = Shortfall.objects.values_list("line__number", "cause", "quantity").order_by("line__number")
    assert list(said) == [(1, "broken", 2), (2, "missing", 1)]


def test_a_number_that_cannot_be_keeps_the_line_open_with_what_was_typed(client, begun):
    answer = press(client, begun, 2, "missing", present=9)
    assert answer.status_code == 422
    assert "has 4 pieces; 9 cannot be there" in text_of(answer)
    assert 'name="present" value="9"' in text_of(answer)
    assert found(begun) == {}


@pytest.mark.parametrize("do", ["", "stolen", "spare-0", "spare-x", "replaced"])
def test_nonsense_is_no_word_on_a_line(client, begun, do):
    assert press(client, begun, 2, do).status_code == 422
    assert press(client, begun, 77, "there").status_code == 422
    assert found(begun) == {}


def test_a_spare_from_the_pool_makes_the_line_whole_and_undo_puts_it_back(client, begun, department):
    clamp = InstrumentType.objects.get(code="clamp")
    spare = Spare.objects.create(
        site=department.world.site, type=clamp, place=department.hall, bin="drawer 4", quantity=2
    )
    press(client, begun, 3, "missing")
    assert Shortfall.objects.get().ended_at is None
    assert "Take a spare: 2 in Sterile services, drawer 4" in page(client, begun, "?line=3")
    press(client, begun, 3, f"spare-{spare.pk}")
    spare.refresh_from_db()
    assert (spare.quantity, found(begun)) == (1, {3: ("replaced", 1)})
    assert Shortfall.objects.get().ended_how == "replaced"

    client.post(f"/bench/{begun.pk}/undo/")
    spare.refresh_from_db()
    assert (spare.quantity, found(begun)) == (2, {})
    assert Shortfall.objects.get().ended_at is None
    assert PackLine.objects.get(pack=begun, line__number=3).present == 0

    client.post(f"/bench/{begun.pk}/undo/")
    assert Shortfall.objects.get().ended_how == "found"
    assert PackLine.objects.get(pack=begun, line__number=3).present == 1
    assert client.post(f"/bench/{begun.pk}/undo/").status_code == 422


def test_another_kind_of_instrument_in_its_place_is_named(client, begun):
    press(client, begun, 3, "replaced", instead="artery FORCEPS")
    row = AssemblyLine.objects.get(line__number=3)
    assert (row.state, row.instead.code) == ("replaced", "forceps")
    assert "instead of it: Artery forceps" in page(client, begun)
    wrong = press(client, begun, 3, "replaced", instead="spoon")
    assert "No instrument has this code or name" in text_of(wrong) and 'value="spoon"' in text_of(wrong)


def test_rack_stock_is_refilled_by_size(client, department):
    world = department.world
    version = world.designs["blocks-small"].versions.get()
    ContentsLine.objects.create(
        version=version, tray=1, number=3, rack_stock=world.component("tibial", "2"), quantity=6
    )
    one = world.a_set("blocks-small", "B-01", state=PackState.USED).packs.get()
    department.receive(one)
    department.washed(one)
    client.post(f"/bench/{one.pk}/begin/")
    assert "Of these, put in now" in page(client, one, "?line=3")
    press(client, one, 3, "refilled", present=6, refilled=2)
    row = AssemblyLine.objects.get(line__number=3)
    assert (row.state, row.present, row.refilled) == ("there", 6, 2)


# Single instruments


@pytest.fixture
def piece(begun: Pack) -> Piece:
    clamp = InstrumentType.objects.get(code="clamp")
    return Piece.objects.create(
        type=clamp, mark="9521234I000099", site=begun.set.site, state=PieceState.SPARE
    )


def test_a_marked_instrument_ticks_its_line_and_goes_into_the_set(client, begun, piece):
    answer = scan_on(client, f"/bench/{begun.pk}/", piece.mark)
    assert "Line 3, Bone clamp: there." in text_of(answer) and answer["HX-Trigger"] == "worked"
    piece.refresh_from_db()
    assert (found(begun), piece.state, piece.pack_id) == ({3: ("there", 1)}, "in_set", begun.pk)
    again = scan_on(client, f"/bench/{begun.pk}/", piece.mark)
    assert "Line 3, Bone clamp, is there already." in text_of(again)
    client.post(f"/bench/{begun.pk}/undo/")
    piece.refresh_from_db()
    assert (piece.state, piece.pack_id) == (PieceState.SPARE, None)


def test_a_marked_instrument_of_another_list_is_refused_and_the_scan_kept(client, begun):
    stranger = InstrumentType.objects.create(code="mallet", name="Mallet")
    Piece.objects.create(type=stranger, mark="MAL1", site=begun.set.site, state=PieceState.SPARE)
    said = text_of(scan_on(client, f"/bench/{begun.pk}/", "MAL1"))
    assert "Mallet, instrument MAL1, is not on the list of pack" in said
    assert "Put it aside" in said
    assert RefusedScan.objects.get().code == "not-on-this-list"


def test_one_of_several_opens_its_line_to_be_counted(client, begun):
    block = InstrumentType.objects.get(code="block")
    Piece.objects.create(type=block, mark="BLK1", site=begun.set.site, state=PieceState.SPARE)
    answer = scan_on(client, f"/bench/{begun.pk}/", "BLK1")
    assert answer["HX-Redirect"] == f"/bench/{begun.pk}/?line=1"


# Closing


def close(client: Any, pack: Pack, **given: str) -> Any:
    return client.post(f"/bench/{pack.pk}/close/", given)


def test_the_button_waits_and_says_for_what(client, begun):
    press(client, begun, 1, "missing", present=1)
    shown = page(client, begun)
    assert "Waits for lines 2, 3." in shown and "Line 1 is critical and not complete." in shown
    assert "It is critical, so this pack cannot be closed as it is" in shown
    answer = close(client, begun)
    assert answer.status_code == 422 and "2 of 3 lines are still to be checked" in text_of(answer)


def test_short_of_a_critical_line_it_is_closed_only_by_a_named_person_with_reason_and_pin(
    client, begun, department
):
    press(client, begun, 1, "missing", present=1)
    client.post(f"/bench/{begun.pk}/rest/")
    assert "cannot be closed as it is" in text_of(close(client, begun))
    surgeon = department.world.cast.surgeon.username
    wrong = close(client, begun, allowed_by=surgeon, allowed_pin="7351", reason="The other is enough")
    assert "This is not the PIN of Ms Surgeon" in text_of(wrong)
    assert 'value="The other is enough"' in text_of(wrong) and "7351" not in text_of(wrong)
    no_reason = close(client, begun, allowed_by=surgeon, allowed_pin=PIN)
    assert "No reason is given" in text_of(no_reason)
    stranger = close(client, begun, allowed_by="nobody", allowed_pin=PIN, reason="x")
    assert "Nobody signs in with that name" in text_of(stranger)
    assert (
        close(client, begun, allowed_by=surgeon, allowed_pin=PIN, reason="One is enough").status_code == 303
    )
    made = Assembly.objects.get()
    assert (made.short_by, made.short_reason) == (department.world.cast.surgeon, "One is enough")
    assert made.signature is not None


def test_somebody_who_may_not_allow_it_allows_nothing(client, begun, department):
    press(client, begun, 1, "missing", present=1)
    client.post(f"/bench/{begun.pk}/rest/")
    who = department.world.cast.coordinator.username
    answer = close(client, begun, allowed_by=who, allowed_pin=PIN, reason="In a hurry")
    # Told in the page, with what was typed: the person who is signed in may close the list.
    assert answer.status_code == 422
    assert "does not include this here" in text_of(answer) and "In a hurry" in answer.content.decode()
    assert Assembly.objects.get().closed_at is None


def test_where_the_site_asks_for_it_a_second_person_checks(client, begun, department):
    Policy.objects.update(second_check=True)
    client.post(f"/bench/{begun.pk}/rest/")
    assert "The second look" in page(client, begun)
    assert "a second person checks each pack" in text_of(close(client, begun))
    self_checked = close(client, begun, second=department.technician.username, second_pin=PIN)
    assert "The second check is another person" in text_of(self_checked)
    assert close(client, begun, second="colleague", second_pin=PIN).status_code == 303
    assert Assembly.objects.get().checked_by == department.colleague


# Packing


def test_it_is_weighed_packed_and_its_label_is_next(client, begun):
    client.post(f"/bench/{begun.pk}/rest/")
    close(client, begun)
    assert "Weigh it and pack it" in page(client, begun)
    packing = {"packaging": "wrap", "indicator_lot": "X20931", "weight": "10.20"}
    heavy = client.post(f"/bench/{begun.pk}/pack/", packing)
    shown = text_of(heavy)
    assert heavy.status_code == 422
    assert (
        "The pack weighs 10.20 kg; at most 10.00 kg" in shown and "10.20 kilograms of at most 10.00" in shown
    )
    assert 'value="X20931"' in shown and 'value="10.20"' in shown
    nameless = client.post(f"/bench/{begun.pk}/pack/", {**packing, "weight": "8.62", "indicator_lot": ""})
    assert nameless.status_code == 422
    assert client.post(f"/bench/{begun.pk}/pack/", {**packing, "weight": "8.62"}).status_code == 303
    begun.refresh_from_db()
    assert (begun.state, begun.weight_grams) == (PackState.PACKED, 8620)
    shown = page(client, begun)
    assert "Print its label" in shown and "of=G-01" in shown and "8.62 kg" in shown


def test_the_weight_of_last_time_stands_beside_it(client, begun, department):
    client.post(f"/bench/{begun.pk}/rest/")
    close(client, begun)
    client.post(f"/bench/{begun.pk}/pack/", {"packaging": "wrap", "indicator_lot": "X", "weight": "9.06"})
    begun.refresh_from_db()
    department.released(begun)
    department.receive(begun)
    department.washed(begun)
    client.post(f"/bench/{begun.pk}/begin/")
    client.post(f"/bench/{begun.pk}/rest/")
    close(client, begun)
    assert "the last packing of this pack was 9.06" in page(client, begun)
    client.post(f"/bench/{begun.pk}/pack/", {"packaging": "wrap", "indicator_lot": "X", "weight": "8.62"})
    assert "0.44 kg lighter than last time" in page(client, begun)


def test_a_closed_list_is_opened_again(client, begun):
    client.post(f"/bench/{begun.pk}/rest/")
    close(client, begun)
    assert client.post(f"/bench/{begun.pk}/reopen/").status_code == 303
    assert "3 of 3 lines there" in page(client, begun)


# Two at one list


def test_the_second_technician_is_told_who_is_at_it_and_may_take_over(client, begun, department):
    other = signed_in(department.colleague)
    assert "T. Technician is assembling it" in text_of(other.get(f"/bench/{begun.pk}/"))
    answer = other.post(f"/bench/{begun.pk}/begin/")
    assert answer.status_code == 422 and "is assembling pack" in text_of(answer)
    other.post(f"/bench/{begun.pk}/take-over/")
    assert "0 of 3 lines there" in text_of(other.get(f"/bench/{begun.pk}/"))
    assert "C. Colleague is assembling it" in page(client, begun)


def test_a_press_on_a_list_that_a_colleague_has_closed_gets_the_fresh_state(client, begun, department):
    made = Assembly.objects.get()
    bench.rest_there(by=department.colleague, assembly=made, at=NOW)
    bench.assembly_close(by=department.colleague, assembly=made, at=NOW)
    answer = press(client, begun, 2, "missing", present=3)
    said = text_of(answer)
    assert answer.status_code == 422
    assert "is not open any more" in said and "The list was closed by C. Colleague" in said


def test_a_press_before_the_list_is_begun_is_refused_in_words(client, pack):
    answer = press(client, pack, 1, "there")
    assert answer.status_code == 409 and "has not been begun" in text_of(answer)


def test_the_page_asks_the_same_number_of_questions_however_long_the_list(client, begun, department):
    press(client, begun, 1, "missing", present=1)
    few = questions(client, f"/bench/{begun.pk}/")
    assert few <= 22
    kinds = InstrumentType.objects.bulk_create(
        [InstrumentType(code=f"k{n}", name=f"Kind {n}") for n in range(20)]
    )
    for number, kind in enumerate(kinds, start=4):
        ContentsLine.objects.create(version=begun.set.version, tray=1, number=number, instrument=kind)
    for number in range(4, 14):
        press(client, begun, number, "there")
    press(client, begun, 2, "broken", present=1)
    assert questions(client, f"/bench/{begun.pk}/") == few
    assert questions(client, "/bench/") <= 12


def test_others_are_shown_out(department, pack):
    stores = signed_in(department.world.cast.stores)
    assert stores.get("/bench/").status_code == 403
    assert stores.get(f"/bench/{pack.pk}/").status_code == 404
