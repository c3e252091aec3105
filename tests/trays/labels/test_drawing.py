"""Every code on every label of every stock is read back from the page; whole dots; nothing is cut."""

from collections.abc import Iterator
from dataclasses import replace

import pypdfium2
import pytest

from tests.trays.labels.samples import (
    ALL,
    BARE_PACK,
    INSTRUMENT,
    LONGEST_PACK,
    NASTY_PACK,
    NASTY_SHELF,
    NASTY_UNIT,
    PACK,
    SHELF,
    TAG,
    UNIT,
)
from tests.trays.symbols import rendering
from tests.trays.symbols.rendering import Seen
from trays.identifiers import ours
from trays.labels import queries  # noqa: F401  brings the kinds of labels
from trays.labels.kinds import Label, LabelKind, PackLabel, Refused, ShelfLabel, texts_of
from trays.labels.setup import Setup, setup_named
from trays.labels.writer import SCALE_MM, LabelWriter
from trays.symbols.labelstock import COMMON
from trays.symbols.payload import Carrier
from trays.symbols.stock import A4

SETUPS = [
    setup_named(name)
    for code, stock in COMMON.items()
    for name in ([code] if stock.sheet else [f"{code}-{dpi}" for dpi in (203, 300, 600)])
]
LARGE = [setup_named(name) for name in ("pack-roll-203", "pack-roll-300", "pack-roll-600", "a4-8")]
SMALL = setup_named("a4")


def pdf_of(label: Label, setup: Setup, start: int = 1) -> bytes:
    writer = LabelWriter(setup, start=start)
    refused = writer.add(label)
    assert refused is None, refused
    return writer.pdf(test_page=False)


def why_not(label: Label, setup: Setup) -> str:
    """Why a label is refused, and that nothing of it was drawn: the next one stands alone on the page."""
    writer = LabelWriter(setup)
    refused = writer.add(label)
    assert isinstance(refused, Refused)
    assert writer.labels == 0
    return refused.why


def read(label: Label, setup: Setup) -> list[Seen]:
    pages = rendering.pages(pdf_of(label, setup), setup.grid.dpi)
    return [seen for page in pages for seen in rendering.read(page)]


def text_of(label: Label, setup: Setup) -> str:
    return " ".join(" ".join(rendering.texts(pdf_of(label, setup))).split())


def matrices(label: Label, setup: Setup) -> Iterator[str]:
    """What a scanner must find: a pack's code three times, a place's as bars too where there is room."""
    yield "]d2"
    if isinstance(label, PackLabel):
        yield from ("]d2", "]d2")
    stock = setup.stock
    if isinstance(label, ShelfLabel) and stock.main(1).width >= 100 and stock.label_height >= 50:
        yield "]C1"


@pytest.mark.parametrize("setup", SETUPS, ids=lambda setup: setup.code)
@pytest.mark.parametrize("kind", list(LabelKind))
def test_every_code_is_read_back_and_is_exactly_the_payload(kind: LabelKind, setup: Setup) -> None:
    drawn = 0
    for label in ALL[kind]:
        writer = LabelWriter(setup)
        refused = writer.add(label)
        if refused:
            # Only a label with more to say than there is room for.
            assert "choose a larger one" in refused.why
            assert setup.stock.label_height < 50 or label is LONGEST_PACK
            continue
        drawn += 1
        seen = read(label, setup)
        assert sorted(one.identifier for one in seen) == sorted(matrices(label, setup))
        assert {one.text for one in seen} == {label.payload}
    too_small = kind in (LabelKind.PACK, LabelKind.INSTRUMENT) and setup.stock.label_height < 33
    assert drawn or too_small


@pytest.mark.parametrize("dpi", [203, 300, 600])
@pytest.mark.parametrize("kind", list(LabelKind))
def test_as_bars_each_kind_prints_on_the_large_roll_with_its_fields(kind: LabelKind, dpi: int) -> None:
    setup = setup_named(f"roll-{dpi}", carrier="gs1-128")
    label = ALL[kind][0]
    seen = read(label, setup)
    assert {one.text for one in seen} == {label.payload}
    assert "]C1" in {one.identifier for one in seen}
    text = text_of(label, setup)
    for words in texts_of(label):
        assert words in text


def test_bars_that_are_too_long_for_the_label_are_an_error_and_not_a_clip() -> None:
    narrow = setup_named("roll-57x32-203", carrier="gs1-128")
    assert "too long for a label 57 mm wide" in why_not(UNIT, narrow)
    assert "69 characters" in why_not(NASTY_UNIT, setup_named("roll-300", carrier="gs1-128"))


def test_a_symbol_too_large_for_its_label_is_an_error_and_not_a_clip() -> None:
    tiny = replace(COMMON["roll"], label_width=10.0, label_height=8.0)
    assert "too large for this label of 10 × 8 mm" in why_not(TAG, Setup(tiny, 203))


@pytest.mark.parametrize("setup", SETUPS, ids=lambda setup: setup.code)
def test_a_page_is_the_stock_in_whole_dots_and_each_label_has_its_place(setup: Setup) -> None:
    pages = rendering.pages(pdf_of(SHELF, setup), setup.grid.dpi)
    assert {page.shape[::-1] for page in pages} == {setup.stock.page(setup.grid).dots}


def test_the_two_copies_lie_right_of_the_cut_one_above_the_other() -> None:
    for setup in LARGE[:3]:
        dots = setup.grid.dots_per_mm
        main, *copies = sorted(read(PACK, setup), key=lambda one: one.x)
        assert main.x < 70 * dots
        assert all(copy.x > 70 * dots for copy in copies)
        assert sorted(copy.y > 25 * dots for copy in copies) == [False, True]


def test_where_no_copies_peel_off_they_are_labels_of_their_own() -> None:
    writer = LabelWriter(setup_named("roll-300"))
    assert writer.add(PACK) is None and writer.labels == 1
    main, for_sheet, for_record = rendering.texts(writer.pdf())
    assert "SHORT 1" in main and "copy for" not in main
    assert "copy for the count sheet" in for_sheet and "copy for the patient’s record" in for_record


def test_a_pack_whose_copies_do_not_fit_is_left_out_whole() -> None:
    setup = setup_named("a4")
    writer = LabelWriter(setup, start=23)
    assert writer.add(LONGEST_PACK) is not None
    assert writer.add(SHELF) is None
    pages = rendering.pages(writer.pdf(test_page=False), 300)
    assert len(pages) == 1 and [one.text for one in rendering.read(pages[0])] == [SHELF.payload]


def test_true_x_dimensions_and_quiet_zones_are_told() -> None:
    told = {}
    for setup in LARGE[:3]:
        writer = LabelWriter(setup)
        writer.add(PACK)
        told[setup.dpi] = sorted(writer.symbols)
    assert told == {
        203: [(False, 0.375, 0.751)],
        300: [(False, 0.339, 0.677), (False, 0.423, 0.847)],
        600: [(False, 0.339, 0.677), (False, 0.423, 0.847)],
    }
    writer = LabelWriter(setup_named("roll-203", carrier="gs1-128"))
    writer.add(PACK)
    assert sorted(writer.symbols) == [(True, 0.375, 3.754)]


@pytest.mark.parametrize("start", [1, 2, 24])
def test_the_sheet_starts_at_any_position_and_goes_on_to_the_next_page(start: int) -> None:
    labels = [replace(SHELF, payload=ours.place(ours.gln("9521234", str(n)))) for n in range(1, 27)]
    writer = LabelWriter(SMALL, start=start)
    assert [writer.add(label) for label in labels] == [None] * 26
    seen = [rendering.read(page) for page in rendering.pages(writer.pdf(), 300)]
    assert sum(len(page) for page in seen) == 26
    assert {one.text for page in seen for one in page} == {label.payload for label in labels}
    first = SMALL.stock.area(start)
    here = next(one for one in seen[0] if one.text == labels[0].payload)
    assert first.x < here.x * A4.grid.mm(1) < first.right
    assert first.y < here.y * A4.grid.mm(1) < first.bottom
    assert seen[-1] == []


def test_a_position_that_is_not_on_the_sheet_is_an_error() -> None:
    with pytest.raises(ValueError, match="25"):
        LabelWriter(SMALL, start=25)


@pytest.mark.parametrize(("across", "down"), [(0.0, 0.0), (1.5, -0.75), (-1.0, 2.0)])
def test_the_offset_of_the_printer_moves_all_by_whole_dots(across: float, down: float) -> None:
    for setup in (SMALL, LARGE[0]):
        (here, *_rest), (there, *_others) = (
            read(UNIT, Setup(replace(setup.stock, shift_x=x, shift_y=y), setup.dpi))
            for x, y in ((0.0, 0.0), (across, down))
        )
        assert (there.x - here.x, there.y - here.y) == (setup.grid.dots(across), setup.grid.dots(down))
        assert there.text == UNIT.payload


def test_the_test_page_follows_with_a_scale_of_fifty_millimetres_and_the_cautions() -> None:
    writer = LabelWriter(SMALL)
    writer.add(SHELF)
    pdf = writer.pdf(cautions="Compare each label.")
    text = " ".join(rendering.texts(pdf)[-1].split())
    assert "50 mm by a ruler?" in text and "X 0.423 mm" in text and "Compare each label." in text
    assert all(str(position) in text.split() for position in range(1, 25))
    page, per_mm = rendering.pages(pdf, 300)[-1], 300 / 25.4
    area = SMALL.stock.area(2)
    row = page[
        round((area.bottom - 9) * per_mm), round(area.x * per_mm) + 12 : round(area.right * per_mm) - 12
    ]
    dark = [n for n, dot in enumerate(row) if dot < 128]
    assert (dark[-1] - dark[0]) / per_mm == pytest.approx(SCALE_MM, abs=0.5)


@pytest.mark.parametrize("setup", [*LARGE, SMALL, setup_named("roll-76x51-203")], ids=lambda one: one.code)
def test_a_pack_label_says_all_that_a_pack_label_must_say(setup: Setup) -> None:
    text = text_of(PACK, setup)
    for words in ("0417A-231", "KG-01", "tray 1 of 2", "v 12", "S2-4471", "7.9 kg", "T. Plover"):
        assert words in text
    assert "24 Nov 2026" in text and "24 Nov 2027" in text and "sterile until" in text
    assert "SHORT 1" in text and "Retractor, bent, narrow 15 mm" in text
    assert "(8004)95212340417A (91)231" in text
    assert "STERILE" in text and "steam" in text and "single barrier" in text
    assert "do not use if damaged" in text and "NOT RELEASED" not in text


def test_a_complete_pack_without_a_date_says_both_in_words() -> None:
    for setup in (*LARGE, SMALL):
        text = text_of(BARE_PACK, setup)
        assert "complete to the list" in text and "SHORT" not in text
        assert "Sterile unless opened, wet, torn or dropped" in text
    assert text_of(BARE_PACK, LARGE[0]).count("no end date") == 2


def test_symbols_of_what_is_not_on_file_stay_away() -> None:
    for setup in (*LARGE, SMALL):
        text = text_of(BARE_PACK, setup)
        assert "STERILE" not in text and "barrier" not in text and "do not use if damaged" in text
        gas = text_of(INSTRUMENT, setup)
        assert "STERILE" in gas and "EO" in gas and "ethylene oxide" in gas


@pytest.mark.parametrize("carrier", list(Carrier))
def test_a_pack_that_is_not_released_is_marked_on_the_label_and_on_each_copy(carrier: Carrier) -> None:
    for name in ("pack-roll-203", "pack-roll-600", "roll-300", "a4-8"):
        setup = setup_named(name, carrier=carrier)
        text = text_of(replace(PACK, released=False), setup)
        assert text.count("NOT RELEASED") == 3 and "when printed" in text
    small = text_of(replace(PACK, released=False), SMALL)
    assert small.count("NOT RELEASED") == 3


def test_what_may_never_be_cut_stands_whole_on_the_longest_label() -> None:
    for setup in LARGE:
        pack, unit = "".join(text_of(NASTY_PACK, setup).split()), text_of(NASTY_UNIT, setup)
        assert NASTY_PACK.number in pack and NASTY_PACK.load in pack and "SHORT104" in pack
        assert NASTY_PACK.set_code in pack and "24Nov2027" in pack
        for words in (NASTY_UNIT.lot, NASTY_UNIT.serial, "12.5 × 140 mm", "RIGHT", "31 May 2028"):
            assert words in unit
        assert NASTY_SHELF.place in text_of(NASTY_SHELF, setup)
        assert "sizes 10.5 to 12.5" in text_of(NASTY_SHELF, setup)


@pytest.mark.parametrize(
    "changes",
    [
        {"set_code": "S" * 40},
        {"number": "P" * 28 + "-1"},
        {"load": "L" * 30},
        {"set_code": "S" * 40, "load": "L" * 30, "number": "P" * 28 + "-1"},
    ],
    ids=["set", "number", "load", "all"],
)
def test_a_field_of_any_length_is_whole_or_the_label_is_refused(changes: dict[str, str]) -> None:
    for setup in SETUPS:
        writer = LabelWriter(setup)
        label = replace(PACK, **changes)
        if writer.add(label):
            continue
        text = "".join("".join(rendering.texts(writer.pdf(test_page=False))).split())
        for value in changes.values():
            assert value in text


def test_short_names_go_whole_and_the_rest_is_counted() -> None:
    many = replace(PACK, short_count=9, short=("Scissors", "Bone hook", "Retractor " * 12, "Clamp"))
    text = text_of(many, LARGE[1])
    assert "SHORT 9" in text and "Scissors; Bone hook +2 more" in text


def test_a_unit_label_says_that_the_maker_s_label_counts() -> None:
    for setup in (*LARGE, SMALL):
        assert "does not scan" in text_of(UNIT, setup)


@pytest.mark.parametrize("dpi", [203, 300, 600])
def test_a_long_extension_still_reads_as_bars_with_its_quiet_zones(dpi: int) -> None:
    long = replace(SHELF, payload=ours.place(ours.gln("9521234", "31"), "ABCDEFGHIJKLMNOP"))
    bars = [one.text for one in read(long, setup_named(f"roll-{dpi}")) if one.identifier == "]C1"]
    assert bars == [long.payload]


def test_a_shelf_whose_bars_would_be_too_fine_is_refused_on_that_roll_and_printed_on_the_sheet() -> None:
    wide = replace(SHELF, payload=ours.place(ours.gln("9521234", "31"), "aBcDeFgHiJ-L/N.P_R*T"))
    assert "Use a sheet" in why_not(wide, setup_named("roll-203"))
    assert {one.text for one in read(wide, SMALL)} == {wide.payload}


@pytest.mark.parametrize("setup", [*LARGE, SMALL], ids=lambda setup: setup.code)
@pytest.mark.parametrize(
    "payload", ["", "nonsense", SHELF.payload, UNIT.payload, ours.instrument("9521234", "0417A")]
)
def test_without_a_right_payload_nothing_is_printed(payload: str, setup: Setup) -> None:
    assert why_not(replace(PACK, payload=payload), setup)


@pytest.mark.parametrize("beside", ["10LOT", "17261124", "21S1"])
@pytest.mark.parametrize("asset", ["80049521234P1", "800309521234000174KG01"])
def test_a_lot_date_or_serial_beside_an_asset_is_never_printed(asset: str, beside: str) -> None:
    for label in (PACK, TAG):
        for payload in (f"{asset}\x1d{beside}", f"{asset}\x1d911\x1d{beside}"):
            assert why_not(replace(label, payload=payload), LARGE[1])


@pytest.mark.parametrize(
    "payload",
    [
        "0109521234001042" + "17280531" + "10MF2604K",
        "0109521234001041" + "17280231" + "10MF2604K",
        "0109521234001041" + "17280500" + "10MF2604K",
        "0109521234001041" + "17280531" + "10" + "L" * 21,
        "0109521234001041" + "17280531" + "10Größe",
        "0109521234001041" + "17280531" + "10A B",
    ],
    ids=["check digit", "31 February", "no day", "lot too long", "letters of no set", "a blank"],
)
def test_an_identifier_that_breaks_a_rule_is_a_sentence_and_nothing_is_printed(payload: str) -> None:
    why = why_not(replace(UNIT, payload=payload), LARGE[1])
    assert why.startswith("The identifier cannot be printed") and why.endswith(".")


def test_letters_of_other_languages_are_printed_and_all_fonts_are_inside_the_file() -> None:
    for setup in (*LARGE, SMALL):
        assert "łą" in text_of(replace(PACK, name="łąkotka, Größe, élévateur"), setup)
        assert b"/FontFile2" in pdf_of(PACK, setup)
        assert b"Helvetica" not in pdf_of(PACK, setup)


def test_a_letter_that_the_font_lacks_is_a_box_and_a_decomposed_one_is_put_together() -> None:
    text = text_of(replace(PACK, name="骨 Gro\u0308ße"), LARGE[1])
    assert "□ Größe" in text


def test_the_page_of_a_roll_is_one_hundred_by_fifty_millimetres() -> None:
    page = pypdfium2.PdfDocument(pdf_of(PACK, LARGE[1]))[0]
    assert [round(side * 25.4 / 72, 1) for side in page.get_size()] == [100.0, 50.0]
