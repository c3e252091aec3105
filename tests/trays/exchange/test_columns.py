"""Each column reads what hospitals' files hold, and says what it cannot take."""

from datetime import date, datetime

import pytest

from trays.exchange.columns import (
    Choice,
    Code,
    Day,
    Moment,
    Money,
    Number,
    Setting,
    Several,
    SideOf,
    Text,
    Unfit,
    Whole,
    YesNo,
    workday,
)
from trays.exchange.keys import AssetKey, Gln, Gtin

PLAIN = Setting()
FROM_FRIDAY = Setting(date(2026, 12, 4))


def refused(column, text, setting=PLAIN):
    with pytest.raises(Unfit) as told:
        column.read(text, setting)
    assert told.value.sentence
    assert told.value.next_step
    return told.value


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2027-03-31", date(2027, 3, 31)),
        ("2027-3-1", date(2027, 3, 1)),
        ("31 Mar 2027", date(2027, 3, 31)),
        ("31-March-2027", date(2027, 3, 31)),
        ("31/03/2027", date(2027, 3, 31)),
        ("31.03.2027", date(2027, 3, 31)),
        ("5/5/2027", date(2027, 5, 5)),
        ("2027-03-31 00:00:00", date(2027, 3, 31)),
    ],
)
def test_a_day_is_read_as_it_is_written(text, day):
    assert Day("day").read(text, PLAIN) == day


@pytest.mark.parametrize(
    "text", ["08/12/2026", "2026-13-01", "2027-02-30", "31/02/2027", "soon", "20270331", "46000"]
)
def test_a_day_that_cannot_be_read_one_way_only_is_refused(text):
    refused(Day("day"), text)


def test_relative_days_count_from_the_base_day_and_only_where_there_is_one():
    assert Day("day").read("day 3", FROM_FRIDAY) == date(2026, 12, 7)
    assert Day("day").read("day -4", FROM_FRIDAY) == date(2026, 11, 30)
    assert Day("day").read("workday 0", FROM_FRIDAY) == date(2026, 12, 4)
    assert Day("day").read("workday 1", FROM_FRIDAY) == date(2026, 12, 7)
    assert Moment("at").read("workday 1 08:30", FROM_FRIDAY) == datetime(2026, 12, 7, 8, 30)
    refused(Day("day"), "day 3")
    refused(Moment("at"), "workday 1 08:30")


def test_working_days_leave_out_the_weekend_also_backwards():
    saturday = date(2026, 12, 5)
    assert workday(saturday, 0) == date(2026, 12, 7)
    assert workday(saturday, 5) == date(2026, 12, 14)
    assert workday(saturday, -1) == date(2026, 12, 4)


def test_a_moment_needs_a_day_and_a_time():
    assert Moment("at").read("2026-12-07T08:30:00", PLAIN) == datetime(2026, 12, 7, 8, 30)
    for text in ("2026-12-07", "08:30", "2026-12-07 25:00", "2026-12-07 8.30"):
        refused(Moment("at"), text)


@pytest.mark.parametrize("text", ["-1", "1.5", "1,000", "five", "1e3", "99999999999999"])
def test_a_count_is_whole_and_not_negative(text):
    refused(Whole("quantity", low=0, high=1_000), text)


def test_numbers_take_a_decimal_comma_but_no_separator_of_thousands():
    assert Number("chance").read("0,95", PLAIN) == 0.95
    assert Money("price").read("412,5", PLAIN) == "412.50"
    assert Money("price").read("1250", PLAIN) == "1250.00"
    for text in ("1,250", "1.250,00", "£12", "-3", "NaN", "inf", "12.345"):
        refused(Money("price"), text)
    refused(Number("chance"), "1.2")
    refused(Number("chance"), "nan")


def test_codes_have_no_spaces_and_texts_have_an_end():
    assert Code("code").read("mk-fem-5-l", PLAIN) == "mk-fem-5-l"
    refused(Code("code"), "two words")
    refused(Code("code"), "<b>")
    refused(Text("name", longest=5), "too long")


def test_words_of_a_choice_are_taken_in_any_case():
    kind = Choice("state", words=("in_load", "stored"))
    assert kind.read("In load", PLAIN) == "in_load"
    assert "stored" in refused(kind, "gone").next_step


def test_yes_no_and_side():
    assert YesNo("x").read("Y", PLAIN) is True
    assert YesNo("x").read("no", PLAIN) is False
    refused(YesNo("x"), "maybe")
    assert SideOf("side").read("L", PLAIN) == "left"
    assert SideOf("side").read("RIGHT", PLAIN) == "right"
    refused(SideOf("side"), "both")


def test_several_words_stand_between_bars():
    assert Several("x").read("a | b|c", PLAIN) == ["a", "b", "c"]
    refused(Several("x", words=("a",)), "a|b")


def test_an_empty_cell_is_a_fault_only_where_it_must_be_filled():
    refused(Whole("n"), "")
    assert Whole("n", required=False, default=4).read("", PLAIN) == 4


def test_a_trade_code_that_lost_its_zero_is_the_same_code():
    assert Gtin("gtin").read("9521234000013", PLAIN) == "09521234000013"
    assert Gtin("gtin").read("09521234000013", PLAIN) == "09521234000013"
    refused(Gtin("gtin"), "9521234000014")
    refused(Gln("gln"), "9521234000014")
    assert Gln("gln").read("9521234000013", PLAIN) == "9521234000013"
    assert AssetKey("grai", returnable=True).read("09521234000013KG01", PLAIN) == "09521234000013KG01"
    refused(AssetKey("grai", returnable=True), "9521234000013KG01")
    refused(AssetKey("giai"), "with space")


@pytest.mark.parametrize(
    "text", ["sNaN", "NaN", "1e30", "1e400", "1_000", "Infinity", "9" * 19, "0x10", "--1", "."]
)
def test_what_only_a_machine_calls_a_number_is_no_amount(text):
    for column in (Money("price"), Number("weight")):
        with pytest.raises(Unfit):
            column.read(text, Setting())


@pytest.mark.parametrize("text", ["0001-01-01", "1899-12-31", "2201-01-01", "31/12/0026"])
def test_a_year_that_nobody_means_is_refused(text):
    with pytest.raises(Unfit):
        Day("expires").read(text, Setting())
    with pytest.raises(Unfit):
        Moment("received").read(f"{text} 10:00", Setting())


def test_the_last_year_says_that_there_is_no_end_and_is_no_moment():
    assert Day("expires").read("9999-12-31", Setting()) == date(9999, 12, 31)
    with pytest.raises(Unfit):
        Moment("received").read("9999-12-31 23:59", Setting())
