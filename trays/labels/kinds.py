"""What the labels say, ready to print: frozen values, dates as words, codes as wire element strings.

A label carries what it is for (`row_id`, `site_id`, `called`) so that a refusal can name it. `payload` is
never empty: a row without one is a `Refused`, with the reason in its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from trays.symbols.stock import PACK_ROLL_203, PACK_ROLL_300, SHELF_ROLL_203, SHELF_ROLL_300, Roll


class LabelKind(StrEnum):
    """What is labelled; the values stand in addresses and events."""

    PACK = "pack"
    SHELF = "shelf"
    UNIT = "unit"


class Stock(StrEnum):
    """What the labels are printed on; the values stand in addresses and commands."""

    ROLL_203 = "roll-203"
    ROLL_300 = "roll-300"
    A4 = "a4"


@dataclass(frozen=True, slots=True)
class Barrier:
    """The sterile barrier of a pack: single (ISO 15223-1 5.2.11) or double (5.2.12)."""

    double: bool = False


@dataclass(frozen=True, slots=True)
class PackLabel:
    """One pack's label with its two peel-off copies.

    `number` is the pack's with its round ("0417A-231"); `tray` "tray 1 of 2"; `contents_list` "v 12";
    `short` names what is missing ("Retractor, narrow: 2 of 3"), `short_count` the pieces in all.
    `sterile_until` is "" where sterility does not end by date.
    """

    row_id: int
    site_id: int
    called: str
    payload: str
    name: str
    number: str
    tray: str
    contents_list: str
    load: str
    weight: str
    packed_by: str
    packed_on: str
    short_count: int
    short: tuple[str, ...]
    sterile_until: str
    barrier: Barrier = Barrier()


@dataclass(frozen=True, slots=True)
class ShelfLabel:
    """One shelf's label: its code, its room, and what lives there; no levels or owners, which change."""

    row_id: int
    site_id: int
    called: str
    payload: str
    place: str
    room: str
    what: str
    size: str


@dataclass(frozen=True, slots=True)
class UnitLabel:
    """The maker's own identity of one box again, for a box whose own code does not scan.

    `size` and `side` stand apart from `name` and are never cut; `use_by` is "" where there is no date.
    """

    row_id: int
    site_id: int
    called: str
    payload: str
    name: str
    size: str
    side: str
    maker: str
    lot: str
    serial: str
    use_by: str


Label = PackLabel | ShelfLabel | UnitLabel


@dataclass(frozen=True, slots=True)
class Refused:
    """A row that gets no label, and why in one sentence."""

    row_id: int
    site_id: int
    called: str
    why: str


def roll_of(kind: LabelKind, stock: Stock) -> Roll:
    """The roll for a kind of label; raises KeyError for the A4 sheet."""
    cut = kind is LabelKind.PACK
    return {
        Stock.ROLL_203: PACK_ROLL_203 if cut else SHELF_ROLL_203,
        Stock.ROLL_300: PACK_ROLL_300 if cut else SHELF_ROLL_300,
    }[stock]
