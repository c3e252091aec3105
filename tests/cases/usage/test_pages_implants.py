"""The page Implants by HTTP: a box is checked by scan before it is opened, and each ends in one fate."""

import base64
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases.usage.models import Brought, MarkKind
from cases.usage.models_record import Explant, StopMoment, SurgeonDecision
from tests.cases.usage.conftest import Table
from tests.world import NOW, TODAY, gtin
from trays.catalogue.models import Family
from trays.refusals.models import RefusedScan
from trays.stock.models import Unit


class Clock:
    """The moment at which the pages think they are."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> Any:
        return self.now

    def later(self, **delta: float) -> None:
        self.now += timedelta(**delta)


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    one = Clock()
    monkeypatch.setattr(timezone, "now", one)
    return one


@pytest.fixture
def nurse(table: Table, as_person: Any) -> Client:
    client: Client = as_person("circulating")
    return client


def address(name: str, table: Table, *more: int) -> str:
    return reverse(name, args=[table.case.pk, *more])


def page(client: Client, table: Table, name: str = "theatre-implants", *more: int) -> str:
    answer = client.get(address(name, table, *more))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def scan(client: Client, table: Table, raw: bytes) -> str:
    """Scan on the page Implants, as its script sends it."""
    answer = client.post(
        reverse("scan"),
        {"raw": base64.b64encode(raw).decode(), "page": address("theatre-implants", table), "how": "scanner"},
        headers={"HX-Request": "true", "HX-Target": "answer"},
    )
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def press(client: Client, table: Table, name: str, *more: int, status: int = 303, **sent: Any) -> str:
    answer = client.post(address(name, table, *more), {"client_key": str(uuid4()), **sent})
    assert answer.status_code == status, answer.content.decode()[:2000]
    return " ".join(answer.content.decode().split())


def test_a_box_is_checked_by_the_first_scan_and_opened_by_the_second(
    table: Table, nurse: Client, clock: Clock
) -> None:
    (unit,) = table.stock("femoral", lot="A1")
    raw = table.label(unit).raw
    said = scan(nurse, table, raw)
    assert "Femoral component A 2 RIGHT" in said and 'data-tone="accepted"' in said
    assert not Brought.objects.exists()
    shown = page(nurse, table)
    assert "In hand" in shown and "not opened yet" in shown and "A1" in shown
    clock.later(seconds=20)
    assert "Opened: Femoral component A 2 RIGHT." in scan(nurse, table, raw)
    brought = Brought.objects.get()
    assert (brought.unit, brought.opened_by) == (unit, table.world.cast.circulating)
    shown = page(nurse, table)
    assert "In hand" not in shown and "1 box without a fate." in shown and "Implanted" in shown


def test_a_box_read_twice_at_once_is_not_opened(table: Table, nurse: Client, clock: Clock) -> None:
    (unit,) = table.stock("femoral")
    raw = table.label(unit).raw
    scan(nurse, table, raw)
    clock.later(seconds=1)
    assert "The same box was read twice." in scan(nurse, table, raw)
    assert not Brought.objects.exists()
    assert RefusedScan.objects.get().code == "scanned-twice"


def test_the_opened_press_and_then_its_fate(table: Table, nurse: Client) -> None:
    (unit,) = table.stock("femoral")
    scan(nurse, table, table.label(unit).raw)
    press(nurse, table, "theatre-box-open")
    brought = Brought.objects.get()
    press(nurse, table, "theatre-fate", brought.number, fate="implanted")
    brought.refresh_from_db()
    unit.refresh_from_db()
    assert (brought.fate, unit.state) == ("implanted", Unit.State.IMPLANTED)
    shown = page(nurse, table)
    assert "Every box has its fate." in shown and "Card given" in shown
    press(nurse, table, "theatre-card", brought.number, card="given")
    brought.refresh_from_db()
    assert brought.card == "given"


def test_wasted_asks_why_and_loses_nothing(table: Table, nurse: Client) -> None:
    brought = table.bring("tibial")
    again = press(
        nurse, table, "theatre-fate", brought.number, status=422, fate="wasted", why="other", why_words=""
    )
    assert "Say it in a few words." in again and 'value="wasted"' in again and "checked" in again
    press(nurse, table, "theatre-fate", brought.number, fate="wasted", why="dropped")
    shown = page(nurse, table)
    assert "Opened and wasted" in shown and "Dropped" in shown


def test_what_was_said_wrong_is_corrected_and_stays_to_be_seen(table: Table, nurse: Client) -> None:
    brought = table.bring("tibial")
    press(nurse, table, "theatre-fate", brought.number, fate="implanted")
    assert "Correct it" in page(nurse, table, "theatre-box", brought.number)
    press(nurse, table, "theatre-fate", brought.number, fate="wasted", why="dropped")
    assert [one.fate for one in Brought.objects.order_by("number")] == ["implanted", "wasted"]
    assert "as it was first taken down" in page(nurse, table, "theatre-record")


def test_a_wrong_side_is_refused_kept_and_taken_all_the_same_with_name_and_reason(
    table: Table, nurse: Client
) -> None:
    (unit,) = table.stock("femoral", side="left")
    said = scan(nurse, table, table.label(unit).raw)
    assert 'data-tone="refused"' in said and "This is for the LEFT side" in said
    assert RefusedScan.objects.get().code == "wrong-side"
    shown = page(nurse, table)
    assert "Opened all the same" in shown and ">Opened<" not in shown
    missing = press(nurse, table, "theatre-box-open", status=422, override_reason="none other on site")
    assert "none other on site" in missing
    press(nurse, table, "theatre-box-open", override_reason="none other on site", override_name="Ms Surgeon")
    brought = Brought.objects.get()
    assert brought.override_name == "Ms Surgeon"
    assert MarkKind.WRONG_SIDE in set(brought.marks.values_list("kind", flat=True))
    assert "Other side" in page(nurse, table)


def test_an_expired_box_needs_a_name_and_a_reason(table: Table, nurse: Client) -> None:
    (unit,) = table.stock("tibial", expires=TODAY - timedelta(days=1))
    assert "It is out of date" in scan(nurse, table, table.label(unit).raw)
    press(nurse, table, "theatre-box-open", status=422)
    assert not Brought.objects.exists()


def test_a_box_that_fits_either_side_asks_which(table: Table, nurse: Client) -> None:
    table.case = table.world.a_case(sides=("left", "right"), hour=14)
    (unit,) = table.stock("tibial")
    assert "It fits more than one side." in scan(nurse, table, table.label(unit).raw)
    shown = page(nurse, table)
    assert "For which side is it?" in shown
    press(nurse, table, "theatre-box-in-hand", construct=str(table.construct("left").pk))
    press(nurse, table, "theatre-box-open")
    assert Brought.objects.get().construct == table.construct("left")


def test_another_box_of_the_same_lot_is_asked_for(table: Table, nurse: Client, clock: Clock) -> None:
    units = table.stock("tibial", lot="T1", count=2)
    table.bring_unit(units[0])
    assert "brought in already" in scan(nurse, table, table.label(units[1]).raw)
    assert "The same box again" in page(nurse, table)
    press(nurse, table, "theatre-box-in-hand", another="1")
    clock.later(seconds=10)
    press(nurse, table, "theatre-box-open")
    assert Brought.objects.count() == 2


def test_an_unbooked_box_is_received_and_used_in_one_step(table: Table, nurse: Client) -> None:
    box = table.box(table.component("femoral"), lot="NEVER")
    assert "is not on stock here" in scan(nurse, table, box.raw)
    assert "take it down" in page(nurse, table)
    form = nurse.get(address("theatre-box-down", table), {"scanned": "1"}).content.decode()
    assert "NEVER" in form
    press(nurse, table, "theatre-box-down", from_scan="True", typed_reason="scanned",
          construct=str(table.construct().pk))  # fmt: skip
    brought = Brought.objects.get()
    assert (brought.lot, brought.source, bytes(brought.raw)) == ("NEVER", "unbooked", box.raw)
    assert Unit.objects.get(lot="NEVER").state == Unit.State.OPENED
    assert MarkKind.UNBOOKED in set(brought.marks.values_list("kind", flat=True))


def test_an_unknown_code_is_taken_down_in_words(table: Table, nurse: Client) -> None:
    raw = f"]d201{gtin(987)}10XX1".encode()
    said = scan(nurse, table, raw)
    assert 'data-tone="refused"' in said
    sent = {"from_scan": "True", "typed_reason": "scanned", "construct": str(table.construct().pk)}
    assert "Say what it is" not in page(nurse, table)
    press(nurse, table, "theatre-box-down", described="Stem extension 12 mm", **sent)
    brought = Brought.objects.get()
    assert (brought.described, brought.lot, brought.component) == ("Stem extension 12 mm", "XX1", None)
    assert "Stem extension 12 mm" in page(nurse, table)


def test_a_box_without_any_code_is_typed_with_a_reason(table: Table, nurse: Client) -> None:
    sent = {
        "construct": str(table.construct().pk),
        "component": str(table.component("insert").pk),
        "lot": "H1",
    }
    wrong = press(nurse, table, "theatre-box-down", status=422, **sent)
    assert "H1" in wrong and "Why it is not scanned" in wrong
    press(nurse, table, "theatre-box-down", typed_reason="label torn", **sent)
    assert Brought.objects.get().typed_reason == "label torn"


def test_the_surgeons_decision_stands_over_a_caution(table: Table, nurse: Client) -> None:
    table.bring("femoral", "2")
    (unit,) = table.stock("tibial", "4")
    assert "refused by" in scan(nurse, table, table.label(unit).raw)
    press(nurse, table, "theatre-box-open", override_reason="only one left", override_name="Ms Surgeon")
    shown = page(nurse, table)
    assert "Refused by the hospital’s fit rules." in shown and "Decided by Ms Surgeon" in shown
    sent = {"construct": str(table.construct().pk), "surgeon": str(table.case.surgeon_id)}
    press(nurse, table, "theatre-decision", reason="holds well on trial", **sent)
    assert SurgeonDecision.objects.filter(reason="holds well on trial").exists()


def test_an_explant_is_taken_down(table: Table, nurse: Client) -> None:
    sent = {"construct": str(table.construct().pk), "whereto": "kept", "lot": "OLD1"}
    press(nurse, table, "theatre-explant", status=422, what="", **sent)
    press(nurse, table, "theatre-explant", what="Insert, size unreadable", **sent)
    assert Explant.objects.get().lot == "OLD1"
    assert "Insert, size unreadable" in page(nurse, table)


def test_the_stop_moment_says_what_is_missing_and_when_it_no_longer_holds(
    table: Table, nurse: Client, clock: Clock
) -> None:
    table.bring("femoral")
    shown = page(nurse, table, "theatre-stop")
    assert "RIGHT" in shown and "Missing: Tibial, Insert." in shown
    press(nurse, table, "theatre-stop-said", 1, status=422)
    press(nurse, table, "theatre-stop-said", 1, said=["side", "sizes"])
    stop = StopMoment.objects.get()
    assert (stop.said, stop.complete) == (["side", "sizes"], False)
    assert "Said aloud" in page(nurse, table, "theatre-stop")
    clock.later(minutes=3)
    table.bring("tibial", at=clock.now)
    assert "say it again" in page(nurse, table, "theatre-stop")


def test_somebody_without_the_right_records_a_fact_and_it_is_marked(table: Table, as_person: Any) -> None:
    brought = table.bring("femoral")
    press(as_person("coordinator"), table, "theatre-fate", brought.number, fate="implanted")
    assert MarkKind.NO_RIGHT in set(table.case.marks.values_list("kind", flat=True))
    assert as_person("stores").get(address("theatre-implants", table)).status_code == 404


def test_pages_cost_the_same_queries_however_much_was_brought_in(
    table: Table, nurse: Client, django_assert_max_num_queries: Any
) -> None:
    def cost() -> int:
        with django_assert_max_num_queries(32) as asked:
            page(nurse, table)
        return len(asked)

    table.bring("femoral")
    few = cost()
    for slot in ("tibial", "insert", "patellar"):
        table.bring(slot)
    assert cost() == few


@pytest.mark.parametrize(
    "sent", [{"fate": "eaten"}, {"fate": "\x00"}, {}, {"fate": "wasted", "why": "nonsense"}]
)
def test_nonsense_for_a_fate_changes_nothing(table: Table, nurse: Client, sent: dict[str, str]) -> None:
    brought = table.bring("femoral")
    press(nurse, table, "theatre-fate", brought.number, status=422, **sent)
    brought.refresh_from_db()
    assert brought.fate == ""


def test_a_material_to_avoid_is_said_by_who_books_seen_at_the_table_and_spoken_against_before_opening(
    table: Table, nurse: Client, as_person: Any
) -> None:
    Family.objects.filter(pk=table.world.families["femoral"].pk).update(material="cobalt-chrome")
    address = reverse("case-avoid", args=[table.case.pk])
    coordinator = as_person("coordinator")
    sent = coordinator.post(address, {"materials": ["cobalt-chrome"], "client_key": str(uuid4())})
    assert sent.status_code == 303
    assert table.world.cast.coordinator.name in coordinator.get(address).content.decode()
    for name in ("theatre-case", "theatre-implants", "theatre-sign"):
        assert "avoid cobalt-chrome" in nurse.get(reverse(name, args=[table.case.pk])).content.decode()
    strange = coordinator.post(address, {"materials": ["kryptonite"], "client_key": str(uuid4())})
    assert strange.status_code == 422
    assert "cobalt-chrome" in nurse.get(address).content.decode()
    over = coordinator.post(address, {"client_key": str(uuid4())})
    assert over.status_code == 303
    assert "avoid " not in nurse.get(reverse("theatre-case", args=[table.case.pk])).content.decode()
    assert '<form class="form"' not in as_person("quality").get(address).content.decode()
