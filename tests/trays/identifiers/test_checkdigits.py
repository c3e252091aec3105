"""Check digits against published values and against changing one character."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trays.identifiers.checkdigits import (
    check_pair,
    gtin14,
    gtins14,
    holds_mod10,
    mod10,
    mod43,
    with_mod10,
)

DIGITS = st.text("0123456789", min_size=1, max_size=17)


def test_published_check_characters() -> None:
    assert mod43("+A99912345/$$52001510X3/16D20111212/S77DE1G45") == "-"
    assert mod43("+A123BJC5D6E71") == "G"
    assert check_pair("1987654Ad4X4bL5ttr2310c") == "2K"


def test_leading_zeros_do_not_change_the_check_digit() -> None:
    assert with_mod10("952123400001") == "9521234000013"
    assert with_mod10("0952123400001") == "09521234000013"


@given(DIGITS)
def test_a_made_check_digit_holds_and_no_other_does(digits: str) -> None:
    whole = with_mod10(digits)
    assert holds_mod10(whole)
    assert not holds_mod10(whole[:-1] + str((int(whole[-1]) + 1) % 10))


@given(DIGITS, st.data())
def test_one_changed_digit_is_found(digits: str, data: st.DataObject) -> None:
    whole = with_mod10(digits)
    place = data.draw(st.integers(0, len(whole) - 1))
    other = data.draw(st.sampled_from([d for d in "0123456789" if d != whole[place]]))
    assert not holds_mod10(whole[:place] + other + whole[place + 1 :])


@given(st.text("0123456789", min_size=1, max_size=17))
def test_weights_are_three_and_one_from_the_right(digits: str) -> None:
    weights = [3, 1] * len(digits)
    total = sum(int(d) * w for d, w in zip(reversed(digits), weights, strict=False))
    assert (total + int(mod10(digits))) % 10 == 0


@pytest.mark.parametrize("text", ["", "12a", "１２３", "-1"])
def test_only_plain_digits_have_a_check_digit(text: str) -> None:
    with pytest.raises(ValueError):
        mod10(text)
    assert not holds_mod10(text)


@pytest.mark.parametrize("text", ["123", "9521234000012", "952123400001X"])
def test_a_gtin_of_wrong_length_or_check_digit_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        gtin14(text)


def test_shorter_gtins_are_filled_with_zeros() -> None:
    assert gtin14("9521234000013") == "09521234000013"
    assert gtin14(with_mod10("1234567")) == "0000001234567" + mod10("1234567")


def test_hibc_knows_no_small_letters() -> None:
    with pytest.raises(ValueError):
        mod43("+a123")


@pytest.mark.parametrize(
    ("short", "whole"),
    [
        ("0425261", "04210000526"), ("0123453", "01230000045"), ("0123454", "01234000005"),
        ("0123457", "01234500007"), ("1123450", "11200000345"),
    ],
)  # fmt: skip
def test_a_shortened_upc_is_written_out(short: str, whole: str) -> None:
    check = mod10(whole)
    assert f"00{whole}{check}" in gtins14(short + check)


def test_eight_digits_may_be_either_of_two_numbers() -> None:
    assert gtins14("01234572") == ("00000001234572", "00012345000072")
    assert gtins14("04252614") == ("00042100005264",)


def test_what_has_no_right_check_digit_is_no_gtin() -> None:
    assert gtins14("9521234000013") == ("09521234000013",)
    assert [gtins14(t) for t in ("9521234000014", "", "abc", "04252615", "95212340000x")] == [()] * 5
