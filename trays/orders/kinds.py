"""What an order says on paper and in files: plain values, read once."""

from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal

from trays.orders.money import line_total, order_total


@dataclass(frozen=True, slots=True)
class DocParty:
    """Who orders or supplies: name, the location number that names it to machines, country ("" = none)."""

    name: str
    gln: str
    country: str = ""


@dataclass(frozen=True, slots=True)
class DocLine:
    """One line. `gtin` is the trade item number of a single piece, "" where it has none of that kind."""

    number: int
    code: str
    gtin: str
    name: str
    size: str
    side: str
    quantity: int
    box: int
    unit_price: Decimal
    lot: str = ""
    serial: str = ""

    @property
    def total(self) -> Decimal:
        return line_total(self.quantity, self.unit_price)

    @property
    def boxes(self) -> int:
        """How many whole boxes it is; 0 where it is sold singly or not in whole boxes."""
        return self.quantity // self.box if self.box > 1 and self.quantity % self.box == 0 else 0


@dataclass(frozen=True, slots=True)
class OrderDoc:
    """An approved order. `kind_words` says in a sentence what the supplier is to do with it."""

    number: str
    code: str
    kind: str
    kind_name: str
    kind_words: str
    issued_on: date
    issued_at: time
    currency: str
    note: str
    needed_by: date | None
    brings: bool
    buyer: DocParty
    deliver_to: DocParty
    supplier: DocParty
    approved_by: str
    lines: tuple[DocLine, ...]
    printed: str
    language: str

    @property
    def total(self) -> Decimal:
        return order_total((line.quantity, line.unit_price) for line in self.lines)
