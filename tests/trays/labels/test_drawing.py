"""Every code on every label of every stock is read back from the page; sizes are whole dots."""

from dataclasses import replace

import pypdfium2
import pytest

from tests.trays.labels.samples import (
    ALL,
    BARE_PACK,
    LONGEST_PACK,
    NASTY_PACK,
    NASTY_SHELF,
    NASTY_UNIT,
    PACK,
    SHELF,
    UNIT,
)
from tests.trays.symbols import rendering
from tests.trays.symbols.rendering import Seen
from trays.identifiers import ours
from trays.labels.draw import SCALE_MM, kind_of, labels_pdf, printable, x_dimensions
from trays.labels.kinds import Label, LabelKind, Refused, ShelfLabel, Stock, roll_of
from trays.symbols.payload import PayloadRefused
from trays.symbols.stock import A4, A4_LABELS_24, ROLL_DOTS

DPI = {Stock.ROLL_203: 203, Stock.ROLL_300: 300, Stock.A4: 300}


def pdf_of(label: Label, stock: Stock, start: int = 1) -> bytes:
    return labels_pdf([label], kind=kind_of(label), stock=stock, start=start)


def read(label: Label, stock: Stock) -> list[Seen]:
    return rendering.read(rendering.pages(pdf_of(label, stock), DPI[stock])[0])


def text_of(label: Label, stock: Stock) -> str:
    return rendering.texts(pdf_of(label, stock))[0]


def symbols_of(label: Label, stock: Stock) -> list[str]:
    """What a scanner must find: a pack's code three times on the roll, a place's as matrix and as bars."""
    if stock is Stock.A4:
        return ["]d2"]
    if isinstance(label, ShelfLabel):
        return ["]C1", "]d2"]
    return ["]d2"] * (3 if kind_of(label) is LabelKind.PACK else 1)


@pytest.mark.parametrize("stock", list(Stock))
@pytest.mark.parametrize("label", [label for labels in ALL.values() for label in labels])
def test_every_code_is_read_back_and_is_exactly_the_payload(label: Label, stock: Stock) -> None:
    seen = read(label, stock)
    assert sorted(one.identifier for one in seen) == symbols_of(label, stock)
    assert {one.text for one in seen} == {label.payload}


def test_the_longest_asset_number_prints_on_the_roll_and_is_refused_for_the_sheet_with_its_reason() -> None:
    for stock in (Stock.ROLL_203, Stock.ROLL_300):
        assert {one.text for one in read(LONGEST_PACK, stock)} == {LONGEST_PACK.payload}
    refused = printable(LONGEST_PACK, Stock.A4)
    assert isinstance(refused, Refused)
    assert refused.called == LONGEST_PACK.called and "does not fit" in refused.why


@pytest.mark.parametrize("stock", [Stock.ROLL_203, Stock.ROLL_300])
@pytest.mark.parametrize("kind", list(LabelKind))
def test_a_roll_s_page_is_the_label_in_whole_dots(stock: Stock, kind: LabelKind) -> None:
    pages = rendering.pages(labels_pdf(ALL[kind], kind=kind, stock=stock), DPI[stock])
    assert len(pages) == len(ALL[kind])
    assert {page.shape[::-1] for page in pages} == {roll_of(kind, stock).page.dots}


def test_the_two_copies_lie_right_of_the_cut_one_above_the_other() -> None:
    for stock in (Stock.ROLL_203, Stock.ROLL_300):
        dots = DPI[stock] / 25.4
        main, *copies = sorted(read(PACK, stock), key=lambda one: one.x)
        assert main.x < 70 * dots
        assert all(copy.x > 70 * dots for copy in copies)
        assert sorted(copy.y > 25 * dots for copy in copies) == [False, True]


def test_x_dimensions_are_whole_dots_and_within_what_scanners_take() -> None:
    assert [round(x, 3) for x in x_dimensions(Stock.ROLL_203)] == [0.375, 0.375]
    assert [round(x, 3) for x in x_dimensions(Stock.ROLL_300)] == [0.423, 0.339]
    assert round(x_dimensions(Stock.A4)[0], 3) == 0.423
    assert ROLL_DOTS[203].main == 3


@pytest.mark.parametrize("start", [1, 2, 24])
def test_the_sheet_starts_at_any_position_and_goes_on_to_the_next_page(start: int) -> None:
    labels = [replace(SHELF, payload=ours.place(ours.gln("9521234", str(n)))) for n in range(1, 27)]
    pages = rendering.pages(labels_pdf(labels, kind=LabelKind.SHELF, stock=Stock.A4, start=start), 300)
    seen = [rendering.read(page) for page in pages]
    assert sum(len(page) for page in seen) == 26
    assert {one.text for page in seen for one in page} == {label.payload for label in labels}
    first = A4_LABELS_24.area(start)
    here = [one for one in seen[0] if one.text == labels[0].payload][0]
    assert first.x < here.x * A4.grid.mm(1) < first.right
    assert first.y < here.y * A4.grid.mm(1) < first.bottom
    assert seen[-1] == []


def test_a_position_that_is_not_on_the_sheet_is_an_error() -> None:
    with pytest.raises(ValueError, match="25"):
        pdf_of(SHELF, Stock.A4, start=25)


def test_the_test_page_follows_with_a_scale_of_fifty_millimetres_and_the_cautions() -> None:
    pdf = labels_pdf([SHELF], kind=LabelKind.SHELF, stock=Stock.A4, cautions="Compare each label.")
    text = rendering.texts(pdf)[-1]
    assert "50 mm by a ruler?" in text and "X 0.423 mm" in text and "Compare each label." in text
    assert all(str(position) in text.split() for position in range(1, 25))
    page, per_mm = rendering.pages(pdf, 300)[-1], 300 / 25.4
    area = A4_LABELS_24.area(2)
    row = page[
        round((area.bottom - 9) * per_mm), round(area.x * per_mm) + 12 : round(area.right * per_mm) - 12
    ]
    dark = [n for n, dot in enumerate(row) if dot < 128]
    assert (dark[-1] - dark[0]) / per_mm == pytest.approx(SCALE_MM, abs=0.5)


def test_a_pack_label_says_what_it_lacks_and_until_when_it_is_sterile() -> None:
    for stock in Stock:
        text = text_of(PACK, stock)
        for words in ("0417A-231", "tray 1 of 2", "v 12", "S2-4471", "7.9 kg", "T. Plover", "24 Nov 2026"):
            assert words in text
        assert "SHORT 1" in text and "Retractor, bent, narrow 15 mm" in text
        assert "24 Nov 2027" in text and "(8004)95212340417A (91)231" in text
        words = " ".join(text.split())
        assert "STERILE" in words and "steam" in words
        assert "do not use if damaged" in words and "single barrier" in words


def test_a_complete_pack_without_a_date_says_both_in_words() -> None:
    for stock in Stock:
        text = text_of(BARE_PACK, stock)
        assert "complete to the list" in text and "SHORT" not in text
        assert "Sterile unless opened, wet, torn or dropped" in text
    assert text_of(BARE_PACK, Stock.ROLL_203).count("no end date") == 2


def test_what_may_never_be_cut_stands_whole_on_the_longest_label() -> None:
    for stock in Stock:
        pack, unit = "".join(text_of(NASTY_PACK, stock).split()), text_of(NASTY_UNIT, stock)
        assert NASTY_PACK.number in pack and NASTY_PACK.load in pack and "SHORT104" in pack
        for words in (NASTY_UNIT.lot, NASTY_UNIT.serial, "12.5 × 140 mm", "RIGHT", "31 May 2028"):
            assert words in unit
        assert NASTY_SHELF.place in text_of(NASTY_SHELF, stock)
        assert "sizes 10.5 to 12.5" in text_of(NASTY_SHELF, stock)


def test_short_names_go_whole_and_the_rest_is_counted() -> None:
    many = replace(PACK, short_count=9, short=("Scissors", "Bone hook", "Retractor " * 12, "Clamp"))
    text = text_of(many, Stock.ROLL_300)
    assert "SHORT 9" in text and "Scissors; Bone hook +2 more" in text


def test_a_unit_label_says_that_the_maker_s_label_counts() -> None:
    for stock in Stock:
        assert "does not scan" in " ".join(text_of(UNIT, stock).split())


@pytest.mark.parametrize("stock", [Stock.ROLL_203, Stock.ROLL_300])
def test_a_long_extension_still_reads_as_bars_with_its_quiet_zones(stock: Stock) -> None:
    long = replace(SHELF, payload=ours.place(ours.gln("9521234", "31"), "ABCDEFGHIJKLMNOP"))
    bars = [one.text for one in read(long, stock) if one.identifier == "]C1"]
    assert bars == [long.payload]


def test_a_shelf_whose_bars_would_be_too_fine_is_refused_on_that_roll_and_printed_on_the_sheet() -> None:
    wide = replace(SHELF, payload=ours.place(ours.gln("9521234", "31"), "aBcDeFgHiJ-L/N.P_R*T"))
    refused = printable(wide, Stock.ROLL_203)
    assert isinstance(refused, Refused) and "A4 sheet" in refused.why
    assert printable(wide, Stock.A4) is wide


@pytest.mark.parametrize("stock", list(Stock))
@pytest.mark.parametrize(
    "payload", ["", "nonsense", SHELF.payload, UNIT.payload, ours.instrument("9521234", "0417A")]
)
def test_without_a_right_payload_nothing_is_printed(payload: str, stock: Stock) -> None:
    bad = replace(PACK, payload=payload)
    refused = printable(bad, stock)
    assert isinstance(refused, Refused) and refused.why
    with pytest.raises(PayloadRefused):
        pdf_of(bad, stock)


@pytest.mark.parametrize("beside", ["10LOT", "17261124", "21S1"])
def test_a_lot_date_or_serial_beside_an_asset_is_never_printed(beside: str) -> None:
    for payload in (f"80049521234P1\x1d{beside}", f"80049521234P1\x1d911\x1d{beside}"):
        assert isinstance(printable(replace(PACK, payload=payload), Stock.ROLL_300), Refused)


def test_letters_of_other_languages_are_printed_and_all_fonts_are_inside_the_file() -> None:
    for stock in Stock:
        assert "łą" in text_of(replace(PACK, name="łąkotka, Größe, élévateur"), stock)
        assert b"/FontFile2" in pdf_of(PACK, stock)
        assert b"Helvetica" not in pdf_of(PACK, stock)


def test_the_page_of_a_roll_is_one_hundred_by_fifty_millimetres() -> None:
    page = pypdfium2.PdfDocument(pdf_of(PACK, Stock.ROLL_300))[0]
    assert [round(side * 25.4 / 72, 1) for side in page.get_size()] == [100.0, 50.0]
