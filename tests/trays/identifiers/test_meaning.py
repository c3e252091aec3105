"""A scan and what it claims to be: certain, assumed, broken, or asked."""

from datetime import date

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from trays.identifiers import gs1, hibc, meaning, ours
from trays.identifiers.checkdigits import CSET_82, with_mod10
from trays.identifiers.gs1 import GS
from trays.identifiers.meaning import Kind, Reading
from trays.identifiers.ours import AssetKey, PlaceKey, SetKey, SheetKey

TODAY = date(2026, 11, 24)
PREFIX = "9521234"
GTIN = "09521234000013"
WHOLE = gs1.build([("01", GTIN), ("17", "271130"), ("10", "MF2611A"), ("21", "S7")])
DOCUMENT = ours.document_number(PREFIX, "101")


def read(
    raw: bytes | str, separators: tuple[str, ...] = (), proven: bool = False, own: tuple[str, ...] = ()
) -> Reading:
    reading = meaning.read(raw, today=TODAY, separators=separators, proven=proven, own_prefixes=own)
    assert reading.sentence and reading.sentence[-1] in ".”", "every scan ends in a plain sentence"
    return reading


def told(reading: Reading) -> list[str]:
    return [note.code for note in reading.assumed]


def test_a_clean_scan_is_certain() -> None:
    reading = read("]d2" + WHOLE)
    assert (reading.kind, reading.symbology, reading.usable) == (Kind.TRADE_ITEM, "]d2", True)
    assert (reading.gtin, reading.lot, reading.serial) == (GTIN, "MF2611A", "S7")
    assert reading.expiry is not None and reading.expiry.day == date(2027, 11, 30)
    assert reading.certain == reading.parts
    assert (reading.assumed, reading.broken, reading.choices) == ((), (), ())
    assert "MF2611A" in reading.sentence and "use by 2027-11-30" in reading.sentence


def test_the_raw_scan_is_kept_byte_for_byte() -> None:
    raw = ("]d2" + WHOLE + "\r\n").encode()
    assert read(raw).raw == raw
    assert read(raw.decode()).raw == raw


@pytest.mark.parametrize("front", ["]d2", "]C1", "]Q3", "]J1", "]e0", ""])
@pytest.mark.parametrize("separator", [GS, "<GS>", "{GS}", "␝", "^]", "Alt+029", "#"])
def test_separators_arrive_in_many_shapes(front: str, separator: str) -> None:
    reading = read(front + WHOLE.replace(GS, separator), separators=("#",))
    assert (reading.lot, reading.serial, reading.usable) == ("MF2611A", "S7", True)
    # Brackets < > and the plus sign may be data: said, not hidden.
    assert told(reading) == (["separator"] if separator in ("<GS>", "Alt+029") else [])


def test_a_stand_in_is_data_where_a_real_separator_came() -> None:
    reading = read(f"]d201{GTIN}10A<GS>B{GS}21S7")
    assert reading.lot == "A<GS>B"


def test_an_unconfigured_stand_in_is_not_swallowed_into_the_lot() -> None:
    reading = read(WHOLE.replace(GS, "#"))
    assert not reading.usable and reading.lot is None


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", "\t"])
def test_the_key_that_a_scanner_presses_after_the_code_is_no_data(end: str) -> None:
    assert read("]d2" + WHOLE + end).serial == "S7"


# Lost separators


def test_a_lost_separator_is_asked_about_never_chosen() -> None:
    reading = read(f"01{GTIN}10ABC17271130")
    assert (reading.kind, reading.usable, reading.lot, reading.expiry) == (Kind.TRADE_ITEM, False, None, None)
    assert reading.gtin == GTIN and [p.key for p in reading.certain] == ["01"]
    lots = {p.value for choice in reading.choices for p in choice if p.key == "10"}
    assert lots >= {"ABC17271130", "ABC"}


def test_the_person_picks_and_the_record_says_so() -> None:
    reading = read(f"01{GTIN}10ABC17271130")
    wanted = next(n for n, c in enumerate(reading.choices) if [p.key for p in c] == ["01", "10", "17"])
    chosen = meaning.choose(reading, wanted, today=TODAY)
    assert (chosen.lot, chosen.usable, told(chosen)) == ("ABC", True, ["chosen"])
    assert chosen.expiry is not None and chosen.expiry.day == date(2027, 11, 30)
    assert [p.key for p in chosen.certain] == ["01"]
    with pytest.raises(IndexError):
        meaning.choose(reading, 99, today=TODAY)


def test_a_scanner_that_was_seen_to_send_separators_lost_none() -> None:
    assert read(f"01{GTIN}10ABC17271130", proven=True).lot == "ABC17271130"


def test_a_separator_elsewhere_in_the_scan_shows_that_it_sends_them() -> None:
    assert read(f"01{GTIN}21S7{GS}10ABC17271130").lot == "ABC17271130"


def test_the_only_reading_that_keeps_every_rule_is_taken_and_told() -> None:
    # The lot cannot take all that follows: it would be longer than 20.
    long_lot = "Q" * 18
    reading = read(f"]d201{GTIN}10{long_lot}17271130")
    assert (reading.lot, reading.usable, told(reading)) == (long_lot, True, ["separator"])
    assert [p.key for p in reading.certain] == ["01"]


def test_a_tail_that_is_no_date_leaves_no_doubt() -> None:
    assert read(f"01{GTIN}10XYZ17275530").lot == "XYZ17275530"
    assert read(f"01{GTIN}10XYZ17270530").choices


def test_our_own_labels_are_not_doubted_where_we_never_print_the_other_reading() -> None:
    sheet = ours.sheet(DOCUMENT, "48912")
    assert read(sheet).choices, "document 48 with internal 2 is legal GS1"
    assert read(sheet, own=(PREFIX,)).key == SheetKey(DOCUMENT, "48912")
    lost = ours.pack_label(PREFIX, "0417A", "231").replace(GS, "")
    assert {len(c) for c in read(lost, own=(PREFIX,)).choices} == {1, 2}, (
        "pack and round: both are ours, so ask"
    )


# What it is


@pytest.mark.parametrize(
    ("payload", "kind", "key"),
    [
        (ours.set_label(DOCUMENT, "7"), Kind.SET, SetKey(DOCUMENT, "7")),
        (ours.pack_label(PREFIX, "0417A", "231"), Kind.ASSET, AssetKey("95212340417A", "231")),
        (ours.instrument(PREFIX, "88"), Kind.ASSET, AssetKey("952123488", None)),
        (ours.place(DOCUMENT, "K1-5"), Kind.PLACE, PlaceKey(DOCUMENT, "K1-5")),
        (ours.sheet_line(DOCUMENT, "48203", 7), Kind.SHEET, SheetKey(DOCUMENT, "48203", 7)),
        ("00" + with_mod10("0" + PREFIX + "000000001"), Kind.LOGISTIC_UNIT, None),
        ("8017" + with_mod10(PREFIX + "0000000001"), Kind.STAFF, None),
        ("8018" + with_mod10(PREFIX + "0000000001"), Kind.PATIENT, None),
    ],
)
def test_kinds_and_keys(payload: str, kind: Kind, key: object) -> None:
    for raw in ("]d2" + payload, gs1.hri(payload)):
        reading = read(raw, proven=True)
        assert (reading.kind, reading.key, reading.usable) == (kind, key, True)


def test_lot_and_date_without_their_item_are_a_warning() -> None:
    reading = read("]C11727113010L1")
    assert (reading.kind, reading.lot, reading.usable) == (Kind.ATTRIBUTES, "L1", True)
    assert {f.code for f in reading.broken} == {"pairing"}


def test_a_wrong_check_digit_stops() -> None:
    reading = read("]d2" + WHOLE.replace(GTIN, "09521234000014"))
    assert (reading.usable, reading.gtin, reading.key) == (False, None, None)
    assert reading.sentence.endswith("Scan it again.")


def test_two_lots_in_one_code_stop() -> None:
    reading = read(f"]d201{GTIN}10A{GS}10B")
    assert not reading.usable and reading.lot is None


def test_day_00_of_older_stock_is_its_months_end() -> None:
    reading = read(f"]d201{GTIN}17280200")
    assert reading.expiry is not None
    assert (reading.expiry.day, reading.expiry.day_given) == (date(2028, 2, 29), False)
    assert "month's end" in reading.sentence


# Codes that do not claim GS1


@pytest.mark.parametrize("digits", ["9521234000013", GTIN, with_mod10("95212340000"), with_mod10("9521234")])
def test_bare_digits_with_a_right_check_digit_are_taken_for_a_gtin_and_told(digits: str) -> None:
    reading = read(digits)
    assert (reading.kind, reading.gtin, told(reading)) == (
        Kind.TRADE_ITEM,
        digits.rjust(14, "0"),
        ["bare-gtin"],
    )
    assert reading.certain == ()


def test_a_retail_symbol_is_certain() -> None:
    assert read("]E09521234000013").certain
    assert not read("]E09521234000014").usable


def test_digits_that_may_be_gtin_or_instrument_are_asked() -> None:
    clash = next(p for n in range(1000) if (p := f"8004{PREFIX}{n:03d}") == with_mod10(p[:-1]))
    reading = read(clash)
    assert not reading.usable
    assert {c[0].key for c in reading.choices} == {"01", "8004"}


def test_a_plain_symbol_is_offered_not_forced() -> None:
    reading = read("]d1" + WHOLE)
    assert (reading.kind, reading.usable, reading.parts) == (Kind.TEXT, False, ())
    assert meaning.choose(reading, 0, today=TODAY).lot == "MF2611A"


@pytest.mark.parametrize(
    "text", ["K1-5", "LK-26-11873", "0417A-231", "2031", "30", "21B", "Größe", "]x", "9A"]
)
def test_what_people_type_is_text(text: str) -> None:
    reading = read(text)
    assert (reading.kind, reading.text, reading.usable, reading.broken) == (Kind.TEXT, text, True, ())


def test_hibc_comes_through_with_its_parts() -> None:
    reading = read("]C0+A99912345/$$52001510X3/16D20111212/S77DE1G45-")
    assert (reading.kind, reading.lot, reading.serial) == (Kind.HIBC, "10X3", "77DE1G45")
    assert reading.hibc is not None and reading.hibc.form is hibc.Form.COMBINED
    assert reading.value("device") == "A99912345"
    broken = read("+A99912345/$$52001510X3/16D20111212/S77DE1G45+")
    assert (broken.kind, broken.usable) == (Kind.UNREADABLE, False)
    assert "scan it again" in broken.sentence


def test_a_tissue_label_is_kept_but_not_read() -> None:
    assert (read("=)1TE123456A&)RZ12345678").kind, read("&;1").usable) == (Kind.TISSUE, False)


# Nothing makes it fail


@pytest.mark.parametrize("raw", ["", b"", "\r\n", "   ", GS * 5, "]d2"])
def test_nothing_is_said_to_be_nothing(raw: bytes | str) -> None:
    assert read(raw).kind is Kind.EMPTY


@pytest.mark.parametrize(
    "raw", ["\0", "01\0", b"\x00\x01\x02", "]d2\x1e\x04", "\x7f", "a\x0bb", "\u202e01", "\ud800"]
)
def test_control_characters_are_refused_in_words(raw: bytes | str) -> None:
    reading = read(raw)
    assert reading.kind is Kind.UNREADABLE and [f.code for f in reading.broken] == ["characters"]


@pytest.mark.parametrize("raw", ["1" * 1_000_000, b"\x00" * 1_000_000, "(01)" * 250_000, "+" * 5000])
def test_a_flood_is_refused_in_words(raw: bytes | str) -> None:
    reading = read(raw)
    assert [f.code for f in reading.broken] == ["length"]
    assert len(reading.sentence) < 200


@pytest.mark.parametrize(
    "text", ["91" * 80, "10" * 80, "(91)" * 1000, "2110" * 40, ("21A10B240C" * 20)[:160]]
)
def test_the_worst_search_still_ends(text: str) -> None:
    read("]d2" + text)


@settings(max_examples=400)
@given(st.one_of(st.binary(max_size=80), st.text(max_size=80)), st.booleans())
@example(b"\xff\xfe", False)
def test_any_input_gets_an_answer(raw: bytes | str, proven: bool) -> None:
    read(raw, separators=("", "#"), proven=proven)


@settings(max_examples=300)
@given(st.text(CSET_82 + GS, max_size=60), st.sampled_from(["", "]d2", "]C1", "]d1", "]E0", "+", "("]))
def test_any_text_of_the_gs1_set_gets_an_answer(text: str, front: str) -> None:
    reading = read(front + text)
    for part in reading.certain:
        assert part in reading.parts
    for choice in reading.choices:
        assert all(part in choice for part in reading.parts)


@settings(max_examples=150)
@given(st.text("ABC12", min_size=1, max_size=8), st.dates(date(2026, 1, 1), date(2060, 1, 1)))
def test_the_true_reading_is_always_among_those_offered(lot: str, day: date) -> None:
    true = gs1.build([("01", GTIN), ("10", lot), ("17", day.strftime("%y%m%d"))])
    reading = read(true.replace(GS, ""))
    offered = [{p.key: p.value for p in c} for c in reading.choices] or [
        {p.key: p.value for p in reading.parts}
    ]
    assert {"01": GTIN, "10": lot, "17": day.strftime("%y%m%d")} in offered
