"""What an order comes to: exact, rounded once a line, and the same on paper and in sums."""

from decimal import Decimal
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from trays.orders.money import line_total, order_total, plain

PRICE = st.decimals(min_value=0, max_value=9_999_999, places=4)
LINES = st.lists(st.tuples(st.integers(1, 100_000), PRICE), max_size=30)


@given(quantity=st.integers(1, 100_000), price=PRICE)
def test_a_line_is_rounded_to_the_nearest_hundredth_halves_up(quantity: int, price: Decimal) -> None:
    exact = Fraction(price) * quantity
    hundredths = int(exact * 100 + Fraction(1, 2))
    assert line_total(quantity, price) == Decimal(hundredths) / 100


@given(lines=LINES)
def test_the_order_is_the_sum_of_what_stands_on_its_lines(lines: list[tuple[int, Decimal]]) -> None:
    total = order_total(lines)
    assert total == sum(Decimal(plain(line_total(*line))) for line in lines)
    assert abs(Fraction(total) - sum(Fraction(p) * q for q, p in lines)) <= Fraction(len(lines), 200)


@given(amount=st.decimals(min_value=0, max_value=10**12, places=4))
def test_an_amount_in_figures_is_the_amount_without_an_exponent(amount: Decimal) -> None:
    text = plain(amount)
    assert Decimal(text) == amount and "E" not in text and len(text.partition(".")[2]) >= 2


def test_halves_go_up() -> None:
    assert line_total(10, Decimal("0.0375")) == Decimal("0.38")
    assert line_total(1, Decimal("0.005")) == Decimal("0.01")
    assert line_total(3, None) == 0
