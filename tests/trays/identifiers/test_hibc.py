"""HIBC labels: primary, secondary, combined."""

from datetime import date, time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers import hibc
from trays.identifiers.checkdigits import HIBC_SET, mod43
from trays.identifiers.dates import month_end
from trays.identifiers.hibc import BadLabel, Form

TODAY = date(2026, 11, 24)
PRIMARY = "+A123BJC5D6E71G"


def checked(body: str) -> str:
    return body + mod43(body)


def secondary(data: str, link: str = "G") -> hibc.Label:
    return hibc.parse(checked(f"+{data}{link}"), TODAY)


def test_the_published_combined_label() -> None:
    label = hibc.parse("+A99912345/$$52001510X3/16D20111212/S77DE1G45-", TODAY)
    assert label.form is Form.COMBINED
    assert (label.labeler, label.product, label.unit, label.device) == ("A999", "1234", "5", "A99912345")
    assert (label.lot, label.serial) == ("10X3", "77DE1G45")
    assert label.expiry is not None and label.expiry.day == date(2020, 1, 15)
    assert label.made is not None and label.made.day == date(2011, 12, 12)


def test_the_published_primary_label_also_between_asterisks() -> None:
    label = hibc.parse(PRIMARY, TODAY)
    assert (label.form, label.labeler, label.product, label.unit) == (Form.PRIMARY, "A123", "BJC5D6E7", "1")
    assert hibc.parse(f"*{PRIMARY}*", TODAY) == label


@pytest.mark.parametrize(
    ("data", "lot", "serial", "expiry", "quantity"),
    [
        ("27334L1", "L1", None, date(2027, 11, 30), None),
        ("$L1", "L1", None, None, None),
        ("$+S1", None, "S1", None, None),
        ("$$1127L1", "L1", None, date(2027, 11, 30), None),
        ("$$0228L1", "L1", None, date(2028, 2, 29), None),
        ("$$2113027L1", "L1", None, date(2027, 11, 30), None),
        ("$$3271130L1", "L1", None, date(2027, 11, 30), None),
        ("$$427113023L1", "L1", None, date(2027, 11, 30), None),
        ("$$527334L1", "L1", None, date(2027, 11, 30), None),
        ("$$62733423L1", "L1", None, date(2027, 11, 30), None),
        ("$$7L1", "L1", None, None, None),
        ("$$+3271130S1", None, "S1", date(2027, 11, 30), None),
        ("$$8053271130L1", "L1", None, date(2027, 11, 30), 5),
        ("$$900123L1", "L1", None, None, 123),
        ("$$3271130L1/S77/Q12", "L1", "77", date(2027, 11, 30), 12),
        ("$L1/14D20271130", "L1", None, date(2027, 11, 30), None),
        ("$$3271130", None, None, date(2027, 11, 30), None),
    ],
)
def test_each_form_of_a_secondary(
    data: str, lot: str | None, serial: str | None, expiry: date | None, quantity: int | None
) -> None:
    label = secondary(data)
    assert label.form is Form.SECONDARY and label.link == "G"
    assert (label.lot, label.serial, label.quantity) == (lot, serial, quantity)
    assert (label.expiry.day if label.expiry else None) == expiry


def test_a_month_alone_is_known_as_such() -> None:
    expiry = secondary("$$1127L1").expiry
    assert expiry is not None and not expiry.day_given


@pytest.mark.parametrize(
    ("data", "code"),
    [
        ("$$1327L1", "date"), ("$$3270230L1", "date"), ("$$427113024L1", "date"), ("$$5", "date"),
        ("27999L1", "date"), ("$$80", "length"), ("$" + "L" * 19, "length"),
        ("$L1/14D20271301", "date"), ("$L1/Q123456", "content"), ("$$XL1", "date"), ("$L1/S", "content"),
        ("$$+3271130A/SB", "twice"), ("$$3271130L1/14D20271201", "twice"), ("$$805L1/Q6", "twice"),
        ("$L1/!", "characters"), ("$L1/12345678", "content"),
    ],
)  # fmt: skip
def test_a_secondary_that_breaks_a_rule_is_refused(data: str, code: str) -> None:
    with pytest.raises(BadLabel) as error:
        secondary(data) if code != "characters" else hibc.parse(f"+{data}GG", TODAY)
    assert error.value.code == code


def test_parts_and_signs_that_are_not_judged_here_are_kept_and_told() -> None:
    label = secondary("$L-1/25SABC")
    assert (label.lot, label.others) == ("L-1", ("25SABC",))
    assert {(f.code, f.stops) for f in label.faults} == {("content", False), ("characters", False)}


def test_the_hour_of_a_date_is_kept() -> None:
    expiry = secondary("$$427113023L1").expiry
    assert expiry is not None and expiry.at == time(23)


def test_a_month_and_a_day_in_it_are_no_contradiction() -> None:
    expiry = secondary("$$1127L1/14D20271115").expiry
    assert expiry is not None and (expiry.day, expiry.day_given) == (date(2027, 11, 15), True)


def test_supplements_may_follow_the_primary_at_once() -> None:
    label = hibc.parse(checked("+A123BJC5D6E71/S77/14D20271130"), TODAY)
    assert (label.form, label.serial) == (Form.COMBINED, "77")


def test_the_published_example_with_the_greatest_lengths() -> None:
    text = "+H123PARTNO1234567890120/$$420020216LOT123456789012345/SXYZ456789012345678/16D20130202"
    label = hibc.parse(checked(text), TODAY)
    assert (label.product, label.lot, label.serial) == (
        "PARTNO123456789012", "LOT123456789012345", "XYZ456789012345678",
    )  # fmt: skip
    assert len(label.product) == len(label.lot or "") == len(label.serial or "") == 18


def test_a_label_of_a_care_provider_is_named_as_such() -> None:
    with pytest.raises(BadLabel) as error:
        hibc.parse(checked("+/EAB12"), TODAY)
    assert error.value.code == "provider"


WORDS = st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ", min_size=1, max_size=18)
DAYS = st.dates(date(1980, 1, 1), date(2070, 12, 31))


@given(WORDS, WORDS, DAYS, st.integers(0, 99), st.integers(0, 23), st.booleans(), st.sampled_from("0234567"))
def test_what_is_written_is_read_back(
    product: str, value: str, day: date, count: int, hour: int, serial: bool, form: str
) -> None:
    written = {
        "0": day.strftime("%m%y"), "2": "2" + day.strftime("%m%d%y"), "3": "3" + day.strftime("%y%m%d"),
        "4": "4" + day.strftime("%y%m%d") + f"{hour:02d}", "5": "5" + day.strftime("%y%j"),
        "6": "6" + day.strftime("%y%j") + f"{hour:02d}", "7": "7",
    }  # fmt: skip
    data = f"$${'+' if serial else ''}8{count:02d}{written[form]}{value}"
    label = hibc.parse(checked(f"+A123{product}1/{data}"), TODAY)
    assert (label.product, label.quantity) == (product, count)
    assert (label.serial, label.lot) == ((value, None) if serial else (None, value))
    if form == "7":
        assert label.expiry is None
    else:
        assert label.expiry is not None
        assert label.expiry.day == (month_end(day.year, day.month) if form == "0" else day)
        assert label.expiry.at == (time(hour) if form in "46" else None)
    primary = hibc.parse(checked(f"+A123{product}1"), TODAY)
    other = hibc.parse(checked(f"+{data}{primary.check}"), TODAY)
    joined = hibc.join(other, primary)
    assert (joined.device, joined.lot, joined.expiry) == (label.device, label.lot, label.expiry)


@pytest.mark.parametrize("place", range(1, len(PRIMARY)))
def test_a_wrong_character_is_never_close_enough(place: int) -> None:
    other = "Z" if PRIMARY[place] != "Z" else "Y"
    with pytest.raises(BadLabel) as error:
        hibc.parse(PRIMARY[:place] + other + PRIMARY[place + 1 :], TODAY)
    assert error.value.code == "check-digit"


def test_a_blank_check_character_prints_as_underscore() -> None:
    body = next(b for n in range(10_000) if mod43(b := f"+A123{n:04d}1") == " ")
    assert hibc.parse(body + "_", TODAY) == hibc.parse(body + " ", TODAY)


def test_a_split_label_joins_in_either_order() -> None:
    primary, second = hibc.parse(PRIMARY, TODAY), secondary("$$3271130L1")
    joined = hibc.join(primary, second)
    assert joined == hibc.join(second, primary)
    assert (joined.form, joined.device, joined.lot) == (Form.COMBINED, "A123BJC5D6E71", "L1")


def test_labels_of_two_packs_do_not_join() -> None:
    with pytest.raises(BadLabel, match="link character"):
        hibc.join(hibc.parse(PRIMARY, TODAY), secondary("$L1", link="H"))
    with pytest.raises(BadLabel, match="One primary"):
        hibc.join(secondary("$L1"), secondary("$L2"))


@given(st.text(HIBC_SET, max_size=40))
def test_whatever_has_a_right_check_character_is_read_or_refused(body: str) -> None:
    try:
        label = hibc.parse(checked("+" + body), TODAY)
    except BadLabel as error:
        assert str(error)
    else:
        assert label.form in Form
