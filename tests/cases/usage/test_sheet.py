"""The implant record on paper: a form, or filled from the record; codes that two readers read back."""

import pytest

from cases.bookings.models import Case
from cases.usage.bringing import box_take_down
from cases.usage.fates import fate_correct, fate_record
from cases.usage.kinds import Scanned
from cases.usage.record_view import record_views
from cases.usage.sheet import implant_record_pdf, paper_sheet
from cases.usage.signing import record_leave_unsigned, record_sign
from tests.cases.usage.conftest import SAID, Table
from tests.trays.symbols import rendering
from tests.trays.symbols.decoders import libdmtx, need_second_decoder
from tests.world import NOW
from trays.symbols.a4 import page_plan

STICKER = "patient’s sticker here"
LABEL = "maker’s peel-off label here"


@pytest.fixture
def numbered(table: Table) -> Table:
    """A site with a location number, by which its sheets have codes."""
    table.world.site.gln = "9521234000310"
    table.world.site.save()
    table.case.refresh_from_db()
    return table


def texts(pdf: bytes) -> list[str]:
    return [" ".join(text.split()) for text in rendering.texts(pdf)]


def test_the_form_has_the_slots_of_the_construct_then_blank_ones_and_room_for_three_signatures(
    numbered: Table,
) -> None:
    (view,) = record_views(numbered.case, at=NOW, blank=True)
    assert [plan.numbers for plan in page_plan(paper_sheet(view))] == [[1, 2, 3], [4, 5, 6, 7], [8]]
    pdf = implant_record_pdf(numbered.case, at=NOW, blank=True)
    pages = texts(pdf)
    assert [page.count(LABEL) for page in pages] == [3, 4, 1]
    assert all(STICKER in page and numbered.case.reference in page for page in pages)
    assert "Every pair may be joined: femoral–tibial, femoral–insert" in pages[0]
    assert pages[2].count("signature") == 3 and "Used against a caution" in pages[2]
    number = f"IR{numbered.construct().pk:05d}"
    for page in rendering.pages(pdf, 300):
        assert [one.text for one in rendering.read(page)] == [f"253{numbered.world.site.gln}{number}"]


def test_the_record_bears_each_gs1_udi_as_a_symbol_that_two_readers_read_back(numbered: Table) -> None:
    need_second_decoder()
    lots = [("tibial", "1", "MF2504B", ""), ("femoral", "2", "ABCDEFGHIJ0123456789", "01234567890123456789")]
    for slot, size, lot, serial in lots:
        fate_record(
            by=numbered.by,
            brought=numbered.bring(slot, size, lot=lot, serial=serial),
            fate="implanted",
            at=NOW,
        )
    pdf = implant_record_pdf(numbered.case, at=NOW)
    (page,) = rendering.pages(pdf, 300)
    (view,) = record_views(numbered.case, at=NOW)
    payloads = [block.payload for block in view.blocks]
    seen = rendering.read(page)
    assert [one.text for one in seen] == [view.code, *payloads]
    for one in seen:
        near = page[max(0, one.y - 20) : one.y + 320, max(0, one.x - 20) : one.x + 320]
        assert libdmtx(near) == one.text
    read = numbered.label(numbered.case.brought.get(slot__plan_slot__code="femoral").unit)
    assert payloads[1] == read.raw.decode().removeprefix("]d2")


def test_what_is_filled_in_says_so_and_stands_whole(numbered: Table) -> None:
    table = numbered
    first = fate_record(
        by=table.by, brought=table.bring("femoral", lot="OLD"), fate="wasted", why="other",
        why_words="lid stuck", at=NOW,
    )  # fmt: skip
    fate_correct(by=table.by, brought=first, fate="implanted", card="given", at=NOW)
    table.bring("tibial", "4", override=SAID)
    foreign = Scanned(
        raw=b"+A99912345/$$52001510X3/16D20111212/S77DE1G45-", device="A9991234", agency="HIBCC",
        lot="1510X3", pis=(("lot", "1510X3"),), described="Screw 6.5 × 30",
    )  # fmt: skip
    box_take_down(by=table.by, case=table.case, scanned=foreign, at=NOW)
    record_sign(
        by=table.by, case=table.case, role="scrub", signer=table.signer(table.world.cast.scrub), at=NOW
    )
    record_leave_unsigned(
        by=table.by, case=table.case, role="circulating", name="A. Bank", why="left", at=NOW
    )
    text = " ".join(texts(implant_record_pdf(table.case, at=NOW)))
    assert LABEL not in text and STICKER in text
    for words in (
        "filled from the record", "no stop on record", "Card given", "corrects an earlier entry",
        "no fate yet", "taken all the same, Ms Surgeon", "Used against the rules",
        "refused by Fit chart A", "Screw 6.5 × 30",
        "HIBCC A9991234", "Recorded; signature holds", "not signed: left", "A. Bank",
    ):  # fmt: skip
        assert words in text, words
    assert "lid stuck" not in text


def test_a_second_construct_is_a_second_sheet_and_costs_no_more_queries(
    numbered: Table, django_assert_num_queries: object
) -> None:
    numbered.case = numbered.world.a_case(sides=("left", "right"), hour=14)
    for side in ("left", "right"):
        numbered.bring("femoral", side=side)
    case = Case.objects.select_related("site__party", "list__theatre", "procedure", "plan", "surgeon").get(
        pk=numbered.case.pk
    )
    # Constructs, slots, pieces, explants, decisions, stop moments, signings, position, joined slots.
    with django_assert_num_queries(9):  # type: ignore[operator]
        left, right = record_views(case, at=NOW)
    assert (left.side, left.construct, right.side, right.construct) == ("LEFT", "1 of 2", "RIGHT", "2 of 2")
    assert [len(view.blocks) for view in (left, right)] == [1, 1]
    assert [page.count("page 1 of 1") for page in texts(implant_record_pdf(numbered.case, at=NOW))] == [
        1,
        0,
        1,
    ]


def test_longest_names_and_numbers_print(numbered: Table) -> None:
    table = numbered
    family = table.world.families["femoral"]
    family.name = "Große Femurkomponente, kreuzbanderhaltend, zementfrei, élévateur, wersja wąska, sehr lang"
    family.save()
    table.case.procedure.name = (
        "Revision of a total knee with everything that a long name may hold, both parts"
    )
    table.case.procedure.save()
    table.bring("femoral", lot="W" * 20, serial="W" * 20, override=SAID)
    text = " ".join(texts(implant_record_pdf(table.case, at=NOW)))
    assert "W" * 20 in text and "RIGHT" in text
