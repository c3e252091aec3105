"""A scan and what it claims to be: certain, assumed, broken, or asked."""

from datetime import date, time
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trays.identifiers import gs1, hibc, meaning, ours, wedge
from trays.identifiers.checkdigits import CSET_82, mod43, with_mod10
from trays.identifiers.dates import CodedDate
from trays.identifiers.gs1 import GS
from trays.identifiers.meaning import Form, Kind, Reading
from trays.identifiers.ours import AssetKey, PlaceKey, SetKey, SheetKey, StaffKey

TODAY = date(2026, 11, 24)
PREFIX = "9521234"
GTIN = "09521234000013"
WHOLE = gs1.build([("01", GTIN), ("17", "271130"), ("10", "MF2611A"), ("21", "S7")])
DOCUMENT = ours.document_number(PREFIX, "101")
GSRN = with_mod10(PREFIX + "0000000001")


def read(
    raw: bytes | str,
    separators: str | tuple[str, ...] | None = (),
    proven: bool = False,
    own: tuple[str, ...] = (),
    gtin: bool = False,
) -> Reading:
    reading = meaning.read(
        raw, today=TODAY, separators=separators, proven=proven, own_prefixes=own, gtin_wanted=gtin
    )
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
@pytest.mark.parametrize("separator", [GS, "#", "<gs>", "\\X1D", *wedge.TYPED_SEPARATORS])
def test_separators_arrive_in_many_shapes(front: str, separator: str) -> None:
    reading = read(front + WHOLE.replace(GS, separator), separators=("#",))
    assert (reading.lot, reading.serial, reading.usable) == ("MF2611A", "S7", True)
    # Brackets < > ( ) and the plus sign may be data: said, not hidden.
    doubtful = separator != GS and all(c in CSET_82 for c in separator)
    assert told(reading) == (["separator"] if doubtful else [])


@pytest.mark.parametrize("separators", ["#", ("#",), ["~", "#"], {"#"}])
def test_the_stand_in_of_a_workstation_may_come_alone_or_among_others(separators: Any) -> None:
    assert read("]d2" + WHOLE.replace(GS, "#"), separators=separators).serial == "S7"
    assert read("]d2" + WHOLE, separators=separators).serial == "S7"


@pytest.mark.parametrize("separators", [(), "", None, ("",)])
def test_there_need_be_no_stand_in(separators: Any) -> None:
    assert read("]d2" + WHOLE, separators=separators).serial == "S7"


def test_a_separator_in_front_is_no_data() -> None:
    for sign in (GS, "<GS>", "{FNC1}", "#"):
        assert read(sign + WHOLE.replace(GS, sign), separators="#").serial == "S7"
    assert read(GS + WHOLE.replace(GS, "#"), separators="#").serial == "S7"


def test_digits_of_the_alt_key_are_asked_about() -> None:
    reading = read(WHOLE.replace(GS, "029"))
    assert not reading.usable
    assert {"MF2611A", "MF2611A029"} <= {p.value for c in reading.choices for p in c if p.key == "10"}


def test_the_frame_of_a_serial_scanner_is_no_data() -> None:
    assert read("\x02]d2" + WHOLE + "\x03\r").serial == "S7"


def test_a_configured_sign_stays_in_what_people_type() -> None:
    assert read("Room #5 left", separators=("#",)).text == "Room #5 left"


def test_a_stand_in_is_data_where_a_real_separator_came() -> None:
    reading = read(f"]d201{GTIN}10A<GS>B{GS}21S7")
    assert reading.lot == "A<GS>B"


def test_an_unconfigured_stand_in_is_not_swallowed_into_the_lot() -> None:
    reading = read(WHOLE.replace(GS, "#"))
    assert not reading.usable and reading.lot is None
    assert "enter it in the settings" in reading.sentence


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


def test_of_several_readings_none_is_taken_also_where_the_plain_one_breaks_a_rule() -> None:
    # As one lot it would be too long; it may end before the date, or before a national number (711).
    reading = read(f"]d201{GTIN}10{'Q' * 15}17271130")
    assert not reading.usable and reading.lot is None
    assert [[p.key for p in c] for c in reading.choices] == [["01", "10", "17"], ["01", "10", "711"]]


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
        (ours.staff(GSRN), Kind.STAFF, StaffKey(GSRN)),
        (ours.staff("JB-12"), Kind.STAFF, StaffKey("JB-12")),
        (ours.pack_number("P-004711", "3"), Kind.ASSET, AssetKey("P-004711", "3")),
        (ours.sheet_number("PL00012", 3), Kind.SHEET, SheetKey("", "PL00012", 3)),
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


BARE = ["9521234000013", GTIN, with_mod10("95212340000"), with_mod10("9521234")]


@pytest.mark.parametrize("front", ["", "]I1", "]C0"])
@pytest.mark.parametrize("digits", BARE)
def test_bare_digits_are_a_gtin_where_one_is_wanted_and_that_is_told(front: str, digits: str) -> None:
    reading = read(front + digits, gtin=True)
    assert (reading.kind, reading.gtin, told(reading)) == (
        Kind.TRADE_ITEM,
        digits.rjust(14, "0"),
        ["bare-gtin"],
    )
    assert (reading.certain, reading.form, reading.usable) == ((), Form.DIGITS, True)


@pytest.mark.parametrize("digits", BARE)
def test_elsewhere_bare_digits_are_only_offered_as_one(digits: str) -> None:
    reading = read(digits)
    assert (reading.kind, reading.gtin, reading.key, reading.usable) == (Kind.TEXT, None, None, False)
    assert ("01", digits.rjust(14, "0")) in [(p.key, p.value) for c in reading.choices for p in c]
    assert meaning.choose(reading, 0, today=TODAY).gtin == digits.rjust(14, "0")


def test_eight_digits_that_may_be_two_numbers_are_asked() -> None:
    reading = read("01234572", gtin=True)
    assert [c[0].value for c in reading.choices] == ["00000001234572", "00012345000072"]
    assert read("04252614", gtin=True).gtin == "00042100005264"


def test_a_retail_symbol_is_certain() -> None:
    assert read("]E09521234000013").certain
    assert read("]E4" + with_mod10("9521234")).certain
    assert told(read("]E3952123400001312")) == ["add-on"]
    assert not read("]E09521234000014").usable
    assert not read("]E4x").usable


def test_digits_that_may_be_gtin_or_instrument_are_asked() -> None:
    clash = next(p for n in range(1000) if (p := f"8004{PREFIX}{n:03d}") == with_mod10(p[:-1]))
    reading = read(clash)
    assert not reading.usable
    assert {c[0].key for c in reading.choices} == {"01", "8004"}


def test_a_plain_symbol_is_offered_not_forced() -> None:
    reading = read("]d1" + WHOLE)
    assert (reading.kind, reading.usable, reading.parts) == (Kind.TEXT, False, ())
    assert meaning.choose(reading, 0, today=TODAY).lot == "MF2611A"


def test_brackets_inside_a_symbol_are_asked_about() -> None:
    reading = read(f"]d2(01){GTIN}(10)AB")
    assert not reading.usable and [p.value for p in reading.choices[0]] == [GTIN, "AB"]
    plain = read(f"]C0(01){GTIN}(10)AB")
    assert (plain.kind, plain.usable, plain.choices) == (Kind.TEXT, False, reading.choices)
    assert read("]C0(left)").kind is Kind.TEXT


def test_an_address_of_a_digital_link_is_a_trade_item_with_its_lot() -> None:
    for front in ("", "]Q1", "]d1"):
        reading = read(front + f"https://maker.example/01/{GTIN}/10/aB/21/7?17=271130")
        assert (reading.gtin, reading.lot, reading.serial) == (GTIN, "aB", "7")
        assert reading.expiry is not None and reading.expiry.day == date(2027, 11, 30)
        assert (reading.form, reading.agency, reading.usable) == (Form.LINK, "GS1", True)
    assert not read(f"]d2https://maker.example/01/{GTIN}").usable


def test_parts_carry_title_value_and_what_it_means() -> None:
    reading = read(f"]d201{GTIN}3005{GS}1728020010007")
    assert [(p.key, p.title, p.value) for p in reading.parts] == [
        ("01", "GTIN", GTIN), ("30", "VAR. COUNT", "05"), ("17", "USE BY or EXPIRY", "280200"),
        ("10", "BATCH/LOT", "007"),
    ]  # fmt: skip
    assert [p.parsed for p in reading.parts] == [None, 5, CodedDate(date(2028, 2, 29), day_given=False), None]


def test_lots_compare_exactly_and_are_searched_without_case() -> None:
    lower, upper = read(f"]d201{GTIN}10aB"), read(f"]d201{GTIN}10Ab")
    assert lower.lot != upper.lot
    assert lower.parts[1].folded == upper.parts[1].folded == meaning.folded("AB")


def test_an_expiry_with_its_time_is_kept_and_of_two_days_the_earlier_counts() -> None:
    exact = read(f"]d201{GTIN}1727113070032711302359")
    assert exact.expiry == CodedDate(date(2027, 11, 30), at=time(23, 59)) and exact.broken == ()
    differ = read(f"]d201{GTIN}1727113070032712012359")
    assert differ.expiry is not None and differ.expiry.day == date(2027, 11, 30)
    assert [(f.code, f.stops) for f in differ.broken] == [("two-dates", False)]


def test_what_is_not_checked_is_said() -> None:
    assert told(read("]d28110106141416543213150110120", proven=True)) == ["not-checked"]


def test_what_was_read_before_an_unknown_identifier_is_kept() -> None:
    reading = read(f"]d201{GTIN}10AB{GS}8888x")
    assert (reading.gtin, reading.lot, reading.unread, reading.usable) == (GTIN, "AB", "8888x", False)


def test_the_code_of_a_person_stays_one_with_a_wrong_check_digit_and_is_not_spelled_out() -> None:
    wrong = "8018" + GSRN[:-1] + str((int(GSRN[-1]) + 1) % 10)
    assert (read("]d2" + wrong).kind, read("]d2" + wrong).usable) == (Kind.PATIENT, False)
    assert GSRN not in read("]d28018" + GSRN).sentence


@pytest.mark.parametrize(
    "text", ["K1-5", "LK-26-11873", "0417A-231", "2031", "30", "21B", "Größe", "]x", "9A"]
)
def test_what_people_type_is_text(text: str) -> None:
    reading = read(text)
    assert (reading.kind, reading.text, reading.usable, reading.broken) == (Kind.TEXT, text, True, ())


def test_hibc_comes_through_with_its_parts() -> None:
    reading = read("]C0+A99912345/$$52001510X3/16D20111212/S77DE1G45-")
    assert (reading.kind, reading.lot, reading.serial) == (Kind.HIBC, "10X3", "77DE1G45")
    assert (reading.device, reading.agency, reading.usable) == ("A99912345", "HIBCC", True)
    assert reading.value("expiry") == "2020-01-15" and reading.value("made") == "2011-12-12"
    assert reading.hibc is not None and reading.hibc.form is hibc.Form.COMBINED
    assert reading.value("device") == "A99912345"
    broken = read("+A99912345/$$52001510X3/16D20111212/S77DE1G45+")
    assert (broken.kind, broken.usable) == (Kind.UNREADABLE, False)
    assert "scan it again" in broken.sentence


def test_a_blank_may_be_the_check_character_of_an_hibc_label() -> None:
    body = next(b for n in range(10_000) if mod43(b := f"+A123{n:04d}1") == " ")
    for text in (body + " ", body + "_", f"*{body}_*", body + " \r\n"):
        assert (read(text).kind, told(read(text))) == (Kind.HIBC, [])
    assert not read(body).usable, "without the blank it may as well be a label cut short"


def test_hibc_in_a_symbol_that_claims_gs1_is_none() -> None:
    assert read("]d2+A123BJC5D6E71G").kind is Kind.UNREADABLE


@settings(max_examples=150)
@given(st.text("ABC12", min_size=1, max_size=8), st.dates(date(2026, 1, 1), date(2060, 1, 1)))
def test_the_true_reading_is_always_among_those_offered(lot: str, day: date) -> None:
    true = gs1.build([("01", GTIN), ("10", lot), ("17", day.strftime("%y%m%d"))])
    reading = read(true.replace(GS, ""))
    offered = [{p.key: p.value for p in c} for c in reading.choices] or [
        {p.key: p.value for p in reading.parts}
    ]
    assert {"01": GTIN, "10": lot, "17": day.strftime("%y%m%d")} in offered
