"""Pure: what an order comes to. Each line is rounded to the currency's smallest coin, then added up."""

from collections.abc import Iterable
from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


def line_total(quantity: int, unit_price: Decimal | None) -> Decimal:
    """Quantity times price, rounded half up to two decimals; nothing for a line without a price."""
    if unit_price is None:
        return Decimal("0.00")
    return (unit_price * quantity).quantize(CENT, rounding=ROUND_HALF_UP)


def order_total(lines: Iterable[tuple[int, Decimal | None]]) -> Decimal:
    """The sum of the rounded lines: what stands under the column on paper."""
    return sum((line_total(quantity, price) for quantity, price in lines), Decimal("0.00"))


def plain(amount: Decimal, *, least: int = 2) -> str:
    """An amount in figures without an exponent: at least so many decimals, no zeros beyond them."""
    text = f"{amount:f}"
    whole, _point, decimals = text.partition(".")
    decimals = decimals.rstrip("0").ljust(least, "0")
    return f"{whole}.{decimals}" if decimals else whole
