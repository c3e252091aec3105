"""Sets that fail, signatures, sets away, the close, what is chased, what comes from paper: by HTTP."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from cases.bookings.models import Case
from cases.counts.bringing_in import Opened
from cases.usage.models import Brought, Mark, MarkKind
from cases.usage.models_closing import CaseClosing, SetFailure
from cases.usage.models_record import RecordSigning
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.cases.usage.conftest import PIN, Table
from tests.world import NOW
from trays.instruments.models import Pack
from trays.places.models import Place
from trays.processing.models import Shortfall
from trays.staff.models import Person, Signature


@pytest.fixture(autouse=True)
def steady(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(timezone, "now", lambda: NOW)


@pytest.fixture
def nurse(table: Table, as_person: Any) -> Client:
    client: Client = as_person("circulating")
    return client


def address(name: str, table: Table, *more: int) -> str:
    return reverse(name, args=[table.case.pk, *more])


def words(answer: Any) -> str:
    return " ".join(answer.content.decode().split())


def page(client: Client, table: Table, name: str, *more: int, **query: str) -> str:
    answer = client.get(address(name, table, *more), query)
    assert answer.status_code == 200
    return words(answer)


def press(client: Client, table: Table, door: str, /, *more: int, status: int = 303, **sent: Any) -> str:
    answer = client.post(address(door, table, *more), {"client_key": str(uuid4()), **sent})
    assert answer.status_code == status, words(answer).partition('role="alert"')[2][:600]
    return words(answer)


def sign(client: Client, table: Table, role: str, name: str = "", pin: str = PIN, status: int = 303) -> str:
    return press(client, table, "theatre-record-sign", role=role, name=name or role, pin=pin, status=status)


# A set that fails


def test_a_set_that_fails_is_told_answered_and_shown(table: Table, nurse: Client, as_person: Any) -> None:
    pack = table.a_pack()
    spare = table.world.a_set("general", "general-02").packs.get()
    chosen = page(nurse, table, "theatre-set-fail", pack=str(pack.pk))
    assert "Off the field: tell sterile services" in chosen and spare.number in chosen
    missing = press(nurse, table, "theatre-set-fail", status=422, pack=str(pack.pk), cause="other")
    assert "Say in a few words what is wrong." in missing
    press(nurse, table, "theatre-set-fail", pack=str(pack.pk), cause="debris", wanted=str(spare.pk))
    failure = SetFailure.objects.get()
    assert (failure.wanted, failure.opened) == (spare, True)
    waiting = page(nurse, table, "theatre-implants")
    assert "have not answered yet" in waiting and "every 5s" in waiting

    technician = as_person("technician")
    work = words(technician.get(reverse("sterile-work")))
    assert "From theatre" in work and "Debris" in work and "Tell the theatre" in work
    answer = reverse("table-failure-answer", args=[failure.pk])
    refused = technician.post(answer, {"answer": "coming", "replacement": ""})
    assert refused.status_code == 422 and "It is not said which pack comes." in words(refused)
    sent = technician.post(
        answer, {"answer": "coming", "replacement": str(spare.pk), "words": "five minutes"}
    )
    assert sent.status_code == 303
    shown = words(nurse.get(address("theatre-set-answers", table)))
    assert "A replacement is on its way" in shown and spare.number in shown and "five minutes" in shown
    assert "every 5s" not in shown and "<html" not in shown


def test_a_new_call_comes_up_without_touching_what_is_typed(table: Table, as_person: Any) -> None:
    technician, parts = as_person("technician"), {"HX-Request": "true"}
    quiet = words(technician.get(reverse("table-failures"), headers=parts))
    assert "every 10s" in quiet and "<li" not in quiet
    first = SetFailure.objects.create(
        case=table.case, site=table.world.site, pack=table.a_pack(), round=1, cause="hole", opened=True,
        at=NOW, recorded_at=NOW, by=table.by,
    )  # fmt: skip
    after = {"after": str(first.pk)}
    assert "Hole" not in words(technician.get(reverse("table-failures"), after, headers=parts))
    SetFailure.objects.create(
        case=table.case, site=table.world.site, pack=table.a_pack("general-03"), round=1, cause="wet",
        opened=True, at=NOW, recorded_at=NOW, by=table.by,
    )  # fmt: skip
    more = words(technician.get(reverse("table-failures"), after, headers=parts))
    assert "Wet" in more and "Hole" not in more
    assert technician.get(reverse("table-failures"), {"after": "9" * 40}).status_code == 200


# Signing


def test_both_sign_on_one_screen_and_whoever_is_signed_in_stays_so(table: Table, nurse: Client) -> None:
    table.bring("femoral")
    assert "2 signatures are missing." in page(nurse, table, "theatre-sign")
    sign(nurse, table, "scrub")
    sign(nurse, table, "circulating")
    shown = page(nurse, table, "theatre-sign")
    assert "The record is signed." in shown and shown.count("valid") >= 2
    assert "S. Scrub" in shown and "Recorded" in shown
    assert int(nurse.session["_auth_user_id"]) == table.world.cast.circulating.pk


def test_one_person_cannot_sign_as_two(table: Table, nurse: Client) -> None:
    sign(nurse, table, "circulating")
    said = sign(nurse, table, "scrub", name="circulating", status=422)
    assert "stands under this record as circulating already" in said
    assert RecordSigning.objects.count() == 1


def test_ten_wrong_pins_lock_the_person_and_not_the_case(table: Table, nurse: Client) -> None:
    for _try in range(10):
        said = sign(nurse, table, "scrub", pin="0000", status=422)
    assert "This is not the PIN of S. Scrub." in said and "scrub" in said
    assert "signing is locked for this person" in sign(nurse, table, "scrub", status=422)
    sign(nurse, table, "circulating")
    press(nurse, table, "theatre-unsigned", role="scrub", name="S. Scrub", why="signing is locked")
    shown = page(nurse, table, "theatre-sign")
    assert "not signed: chased" in shown and "signing is locked" in shown
    assert Mark.objects.filter(kind=MarkKind.UNSIGNED, words__contains="S. Scrub").exists()


def test_a_scanned_badge_fills_in_whose_signature_it_is(table: Table, nurse: Client) -> None:
    Person.objects.filter(pk=table.world.cast.scrub.pk).update(badge="B-77")
    answer = nurse.post(reverse("scan"), {"code": "B-77", "page": address("theatre-sign", table)})
    assert answer.url == address("theatre-sign", table) + "?role=scrub&name=scrub"
    assert 'value="scrub"' in words(nurse.get(answer.url))


ALTERED = {
    "a lot": "UPDATE cases_brought SET lot = 'FORGED'",
    "a fate": "UPDATE cases_brought SET fate = 'wasted', why = 'dropped'",
    "the stop": "UPDATE cases_stopmoment SET digest = 'x'",
}


@pytest.mark.parametrize("what", sorted(ALTERED))
def test_a_row_altered_behind_the_guards_shows_on_the_signature(
    what: str, table: Table, nurse: Client
) -> None:
    brought = table.bring("femoral")
    press(nurse, table, "theatre-fate", brought.number, fate="implanted")
    press(nurse, table, "theatre-stop-said", 1, said=["side"])
    sign(nurse, table, "scrub")
    assert "changed since it was signed" not in page(nurse, table, "theatre-record")
    forge(ALTERED[what])
    for name in ("theatre-record", "theatre-sign"):
        assert "changed since it was signed" in page(nurse, table, name)


def forge(statement: str) -> None:
    """Alter rows as somebody with the database in hand would."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            for (name,) in cursor.fetchall():
                cursor.execute(f'DROP TRIGGER "{name}"')
        else:
            cursor.execute("SET session_replication_role = replica")
        cursor.execute(statement)
        if connection.vendor != "sqlite":
            cursor.execute("SET session_replication_role = origin")


COUNT_ROWS = {
    "an entry": "UPDATE cases_entry SET counted = counted + 1",
    "what came on": "UPDATE cases_added SET quantity = quantity + 5",
    "a line": "UPDATE cases_countline SET name = 'Other'",
    "a pack": "UPDATE cases_packin SET indicator = 'not_seen'",
    "the stage": "UPDATE cases_stage SET scrub_name = 'Somebody else'",
}


@pytest.fixture
def counted(table: Table) -> Theatre:
    theatre = a_theatre(table.world)
    unplanned = Opened("nothing_else", "C. Circulating")
    theatre.bring_in(table.world.a_set("general", "general-09", state="issued"), opened_already=unplanned)
    theatre.add("Gauze", 10)
    theatre.whole_stage(str(theatre.state().stages[0].word))
    table.case = theatre.case
    return theatre


@pytest.mark.parametrize("what", sorted(COUNT_ROWS))
def test_altering_any_row_of_a_signed_count_makes_its_signature_show_invalid(
    what: str, table: Table, counted: Theatre, nurse: Client
) -> None:
    sign(nurse, table, "scrub")
    assert Signature.objects.filter(meaning="counted").count() == 1
    shown = page(nurse, table, "theatre-sign")
    assert "Counted aloud" in shown and "changed since it was signed" not in shown
    forge(COUNT_ROWS[what])
    assert "changed since it was signed" in page(nurse, table, "theatre-sign")


# Sets away, close


def test_sets_go_with_what_the_last_count_found_missing(table: Table, nurse: Client) -> None:
    pack, unopened = table.a_pack(), table.a_pack("blocks-small-01", "blocks-small", opened=False)
    trolley = Place.objects.create(site=table.world.site, code="DT", name="Dirty trolley", kind="trolley")
    line = pack.set.version.lines.get(number=2)
    assert "Note what it lacks" in page(nurse, table, "theatre-sets", pack=str(pack.pk))
    many = press(
        nurse,
        table,
        "theatre-sets-lack",
        pack.pk,
        status=422,
        line=str(line.pk),
        quantity="99",
        cause="missing",
    )
    assert "The list has 4 of these." in many
    press(nurse, table, "theatre-sets-lack", pack.pk, line=str(line.pk), quantity="1", cause="broken")
    assert "1 × Artery forceps broken" in page(nurse, table, "theatre-sets")
    press(nurse, table, "theatre-sets", packs=[str(pack.pk), str(unopened.pk)], place=str(trolley.pk))
    pack.refresh_from_db()
    assert (pack.state, pack.place) == (Pack.State.USED, trolley)
    assert Shortfall.objects.get().quantity == 1
    assert "Every pack of this case has left the room." in page(nurse, table, "theatre-sets")


def test_the_case_closes_when_nothing_is_open(table: Table, nurse: Client) -> None:
    brought, pack = table.bring("femoral"), table.a_pack()
    shown = page(nurse, table, "theatre-sign")
    assert (
        "what became of it is not on file" in shown and f"Pack {pack.number} is still in the room." in shown
    )
    assert 'aria-disabled="true">Close the case' in shown
    press(nurse, table, "theatre-close")
    assert "Put it right" in page(nurse, table, "theatre-record")
    press(nurse, table, "theatre-fate", brought.number, fate="implanted")
    press(nurse, table, "theatre-sets", packs=[str(pack.pk)])
    table.counted()
    assert "Nothing is open; the case can be closed." in page(nurse, table, "theatre-sign")
    press(nurse, table, "theatre-close")
    assert CaseClosing.objects.get().by_exception is False
    assert "is closed." in page(nurse, table, "theatre-record")


def test_a_senior_person_closes_by_exception_on_the_nurses_screen(table: Table, nurse: Client) -> None:
    table.bring("femoral")
    sent = {"name": "quality", "pin": PIN}
    assert "This field is required." in press(nurse, table, "theatre-close-exception", status=422, **sent)
    press(nurse, table, "theatre-close-exception", reason="emergency", **sent)
    assert CaseClosing.objects.get().senior == table.world.cast.quality
    shown = page(nurse, table, "theatre-record")
    assert "Closed by exception" in shown and "Open when it was closed:" in shown
    assert "Q. Quality" in shown


# Chased


def test_what_is_marked_stands_on_the_list_until_somebody_says_what_came_of_it(
    table: Table, nurse: Client, as_person: Any
) -> None:
    box = table.box(table.component("femoral"), lot="NEVER")
    from cases.usage.bringing import box_take_down

    box_take_down(by=table.by, case=table.case, scanned=box, at=NOW)
    quality = as_person("quality")
    listed = words(quality.get(reverse("chase")))
    assert "Not on stock when it was opened" in listed and table.case.reference in listed
    mark = Mark.objects.filter(kind=MarkKind.UNBOOKED).get()
    one = reverse("chase-mark", args=[mark.pk])
    assert quality.post(one, {"words": ""}).status_code == 422
    assert quality.post(one, {"words": "received late, order found"}).status_code == 303
    assert "Not on stock when it was opened" not in words(quality.get(reverse("chase")))
    lines = quality.get(reverse("chase"), {"as": "csv"}).content.decode("utf-8-sig")
    assert lines.startswith("Since,Case,")
    assert as_person("stores").get(reverse("chase")).status_code == 403


# From paper


def test_a_box_from_the_implant_sheet_is_marked_late_with_the_papers_own_time(
    table: Table, nurse: Client
) -> None:
    sent = {
        "construct": str(table.construct().pk), "component": str(table.component("femoral").pk), "lot": "P1",
        "fate": "wasted", "word_of": "S. Scrub", "happened_at": "2026-12-06T09:30",
    }  # fmt: skip
    again = press(nurse, table, "theatre-paper-box", status=422, **sent)
    assert "Choose why it was not left in." in again and "P1" in again
    press(nurse, table, "theatre-paper-box", **sent, why="dropped")
    brought = Brought.objects.get()
    assert (brought.fate, brought.fate_at.isoformat()) == ("wasted", "2026-12-06T09:30:00+00:00")
    assert MarkKind.LATE in set(table.case.marks.values_list("kind", flat=True))
    ahead = press(nurse, table, "theatre-paper-box", status=422, **sent | {"happened_at": "2030-01-01T09:00"})
    assert "This time has not come yet." in ahead


def test_a_name_on_paper_is_entered_and_chased(table: Table, nurse: Client) -> None:
    sent = {"role": "scrub", "name": "S. Scrub", "happened_at": "2026-12-06T12:00", "sheet": "IR-1"}
    press(nurse, table, "theatre-paper-sign", **sent)
    row = RecordSigning.objects.get()
    assert (row.person, row.signature, row.unsigned_why) == (
        table.world.cast.scrub, None, "signed on paper, sheet IR-1",
    )  # fmt: skip


def test_a_stage_counted_on_paper_closes_late_with_the_papers_names(table: Table, nurse: Client) -> None:
    theatre = a_theatre(table.world)
    table.case = theatre.case
    theatre.add("Gauze", 10)
    stage, line = theatre.state().stages[0], theatre.line("Gauze")
    shown = page(nurse, table, "theatre-paper", stage=str(stage.pk))
    assert "Gauze" in shown and f'name="line-{line.pk}"' in shown
    sent = {
        "happened_at": "2026-12-06T09:00",
        "scrub": "S. Scrub",
        "circulating": "A. Relief",
        "sheet": "CS-9",
    }
    wrong = press(
        nurse, table, "theatre-paper-stage", stage.pk, status=422, **sent, **{f"line-{line.pk}": "ten"}
    )
    assert "A count is a whole number" in wrong and 'value="ten"' in wrong
    press(
        nurse, table, "theatre-paper-stage", stage.pk, **sent, **{f"line-{line.pk}": "10"}, rest_agrees="on"
    )
    row = theatre.stage(stage.word)
    assert (row.state, row.scrub, row.circulating_name, row.paper_sheet) == (
        "closed", table.world.cast.scrub, "A. Relief", "CS-9",
    )  # fmt: skip


def test_a_closed_case_offers_nothing_more_to_press(table: Table, nurse: Client) -> None:
    Case.objects.filter(pk=table.case.pk).update(status="booked")
    table.bring("femoral")
    press(nurse, table, "theatre-close-exception", reason="emergency", name="quality", pin=PIN)
    assert "<form" not in page(nurse, table, "theatre-implants").split("<main")[1].split("</main>")[0]


@pytest.mark.parametrize("name", ["theatre-sign", "theatre-record", "theatre-sets", "theatre-stop"])
def test_pages_cost_the_same_queries_however_much_there_is(
    name: str, table: Table, nurse: Client, django_assert_max_num_queries: Any
) -> None:
    def cost() -> int:
        with django_assert_max_num_queries(45) as asked:
            page(nurse, table, name)
        return len(asked)

    table.bring("femoral")
    table.a_pack()
    few = cost()
    for slot in ("tibial", "insert"):
        table.bring(slot)
    table.a_pack("general-05")
    assert cost() == few
