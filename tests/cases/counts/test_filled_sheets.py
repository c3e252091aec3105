"""The count on paper as the record has it: the screen's order, its numbers, times, names and words."""

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from cases.counts import adding, staging
from cases.counts.bringing_in import Opened
from cases.counts.filled import filled_views
from cases.counts.kinds import CountSheetView
from cases.counts.paper_entry import PaperName, paper_entered
from cases.counts.sheet import count_sheets_pdf
from cases.counts.signing import stages_sign
from cases.counts.views import CASES
from tests.cases.counts.theatre import Theatre, a_theatre
from tests.trays.symbols import rendering
from tests.world import NOW, World
from trays.instruments.models import PackLine
from trays.staff.signing import Signer
from trays.web.errors import NotThere

pytestmark = pytest.mark.django_db


def sheets(theatre: Theatre) -> tuple[CountSheetView, ...]:
    return filled_views(CASES.get(pk=theatre.case.pk), at=theatre.now)


@pytest.fixture
def theatre(world: World) -> Theatre:
    """First count agreed and signed; five more came on; one short at the cavity; the final count not done."""
    made = a_theatre(world, reference="LK-1187")
    one = world.a_set("general", "KG-01")
    PackLine.objects.filter(pack__set=one, line__number=2).update(present=3)
    made.bring_in(one, opened_already=Opened("other", "S. Scrub"))
    made.begin("First")
    made.add("Gauze", 10)
    made.accept("First")
    made.count_right("First")
    made.close("First")
    stages_sign(**made.said(signer=Signer(made.scrub), seat="scrub_nurse"))
    made.add("Gauze", 5)
    adding.packet_wrong(**made.said(line=made.line("Gauze").pk, found=4, lot="L77"))
    made.begin("Cavity")
    made.count_right("Cavity")
    made.count("Cavity", "Gauze", 14)
    differs = made.differs("Cavity", "Gauze")
    made.steps(differs, 1, 2, 3, 4, 5)
    made.settle(differs, "not_found_xray", note="Film at 11:40.")
    made.close("Cavity")
    staging.stage_not_done(
        **made.said(
            stage=made.stage("Final").pk, reason="Bleeding", follow_up="X-ray in recovery", decided_by="Ms S."
        )
    )
    return made


def test_the_sheets_stand_in_the_order_of_the_screen_with_its_numbers(theatre: Theatre) -> None:
    soft, pack = sheets(theatre)
    assert [head.word for head in soft.stages] == ["First count", "Cavity or joint", "Final count"]
    gauze = next(row for section in soft.soft for row in section.rows if row.name == "Gauze")
    assert (gauze.first, gauze.added, gauze.total, gauze.figures) == ("10", ("+5",), "15", ("14", "–"))
    rows = [row for section in pack.sections for row in section.rows]
    assert [(row.name, row.expected, row.note, row.figures) for row in rows] == [
        ("Cutting block", 2, "", ("2", "2", "–")),
        ("Artery forceps", 3, "list 4, short 1", ("3", "3", "–")),
    ]
    on_screen = [line.name for line in theatre.state().lines]
    on_paper = [row.name for section in soft.soft for row in section.rows]
    assert on_screen == [*on_paper, *(row.name for row in rows)]
    assert pack.short == "short 1; not for this case"


def test_each_stage_says_how_it_ended_who_agreed_and_who_signed(theatre: Theatre) -> None:
    first, cavity, final = sheets(theatre)[0].filled
    assert (first.tick, first.scrub, first.circulating) == ("correct", "S. Scrub", "C. Circulating")
    assert first.scrub_signed.startswith("7 Dec 2026")
    assert first.circulating_signed == ""
    assert (cavity.tick, final.tick) == ("not_correct", "not_done")


def test_the_words_of_the_record_end_the_sheet(theatre: Theatre) -> None:
    soft, pack = sheets(theatre)
    assert "14 of 15" in soft.notes.not_correct[0]
    assert "Film at 11:40." in soft.notes.not_correct[0]
    assert soft.notes.wrong_packets == ("Gauze: 4 in a packet of 5 L77",)
    assert pack.notes.not_correct == ()
    assert "X-ray in recovery" in pack.notes.not_done[0]


def test_the_paper_says_that_it_is_filled_from_the_record(theatre: Theatre) -> None:
    texts = rendering.texts(count_sheets_pdf(sheets(theatre)))
    assert all("filled from the record" in text for text in texts if text.strip())
    assert any("signed by PIN, 7 Dec 2026" in text for text in texts)
    assert any("agreed aloud, not signed yet" in text for text in texts)
    assert not any("both initial this page" in text for text in texts)


def test_stages_made_when_they_were_needed_have_their_column(theatre: Theatre) -> None:
    staging.count_ask(**theatre.said())
    assert [head.mark for head in sheets(theatre)[0].stages] == ["1", "2", "3", "E"]


def test_what_was_entered_from_paper_has_the_papers_time_and_names(world: World) -> None:
    theatre = a_theatre(world)
    paper_entered(
        **theatre.said(
            stage=theatre.stage("First").pk, figures={}, rest_right=True,
            paper_at=theatre.now - timedelta(hours=3), scrub=PaperName("A. Agency"),
            circulating=PaperName("B. Bank"), sheet="CS-00001",
        )
    )  # fmt: skip
    first = sheets(theatre)[0].filled[0]
    assert (first.time, first.scrub, first.circulating) == ("7 Dec 2026 04:01", "A. Agency", "B. Bank")


def test_a_long_count_of_nine_stages_and_many_additions_still_prints(world: World) -> None:
    theatre = a_theatre(world)
    theatre.whole_stage("First")
    for _turn in range(9):
        theatre.add("Gauze", 5)
    for _turn in range(6):
        staging.count_ask(**theatre.said())
    (soft,) = sheets(theatre)
    assert len(soft.stages) == 9
    pages = rendering.texts(count_sheets_pdf([soft]))
    assert "+20" in pages[0]
    assert "45" in pages[0]


def test_what_was_never_opened_has_no_record(world: World) -> None:
    with pytest.raises(NotThere, match="count-not-opened"):
        filled_views(CASES.get(pk=world.a_case().pk), at=NOW)


def test_the_page_offers_the_filled_sheets_once_there_is_a_record(theatre: Theatre, as_person: Any) -> None:
    client = as_person("scrub")
    page = client.get(reverse("count-sheets", args=[theatre.case.pk])).content.decode()
    address = reverse("count-sheets-filled", args=[theatre.case.pk])
    assert address in page
    answer = client.get(address)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    other = theatre.world.a_case()
    assert client.get(reverse("count-sheets-filled", args=[other.pk])).status_code == 404
