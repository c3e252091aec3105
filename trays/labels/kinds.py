"""What the labels say, ready to print: frozen values, dates as words, codes as wire element strings.

A label carries what it is for (`row_id`, `called`) so that a refusal can name it. `payload` is never empty:
a row without one is a `Refused`, with the reason in its place.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class LabelKind(StrEnum):
    """What is labelled; the values stand in addresses and events."""

    PACK = "pack"
    INSTRUMENT = "instrument"
    SHELF = "shelf"
    CONTAINER = "container"
    UNIT = "unit"
    TAG = "tag"
    BADGE = "badge"
    CASE = "case"
    PICK_LIST = "pick-list"
    COUNT_SHEET = "count-sheet"


@dataclass(frozen=True, slots=True)
class PackLabel:
    """One pack's label with its two peel-off copies; `kind` says whether it is a tray or a single instrument.

    `number` is the pack's with its round ("0417A-231"); `tray` "tray 1 of 2"; `contents_list` "v 12";
    `short` names what is missing ("Retractor, narrow: 2 of 3"), `short_count` the pieces in all.
    `sterile_until` is "" where sterility does not end by date, or where it does (`by_date`) and the day is
    only known at release. `method` and `barrier` are codes of the
    design ("steam", "double"), "" where not on file: then their symbols stay away. `released` is the state
    at the moment of printing.
    """

    row_id: int
    called: str
    payload: str
    name: str
    number: str
    set_code: str
    tray: str
    contents_list: str
    load: str
    weight: str
    packed_by: str
    packed_on: str
    short_count: int
    short: tuple[str, ...]
    sterile_until: str
    released: bool
    by_date: bool = False
    method: str = ""
    barrier: str = ""
    kind: LabelKind = LabelKind.PACK


@dataclass(frozen=True, slots=True)
class ShelfLabel:
    """One shelf's label: its code, its room, and what lives there; no levels or owners, which change."""

    row_id: int
    called: str
    payload: str
    place: str
    room: str
    what: str
    size: str
    kind: LabelKind = LabelKind.SHELF


@dataclass(frozen=True, slots=True)
class UnitLabel:
    """The maker's own identity of one box again, for a box whose own code does not scan.

    `size` and `side` stand apart from `name` and are never cut; `use_by` is "" where there is no date.
    """

    row_id: int
    called: str
    payload: str
    name: str
    size: str
    side: str
    maker: str
    lot: str
    serial: str
    use_by: str
    kind: LabelKind = LabelKind.UNIT


@dataclass(frozen=True, slots=True)
class Fact:
    """One field: a word in small letters, and a value that is never cut unless it is a name."""

    word: str
    value: str
    name: bool = False


@dataclass(frozen=True, slots=True)
class PlainLabel:
    """What names one thing and no more: container, loan set, badge, case, sheet.

    `head` says what kind of thing it is; `number` is the biggest and never cut; `name` may give way.
    `note` is one sentence, whole or not printed at all.
    """

    row_id: int
    called: str
    payload: str
    kind: LabelKind
    head: str
    number: str
    name: str
    facts: tuple[Fact, ...] = ()
    note: str = ""


Label = PackLabel | ShelfLabel | UnitLabel | PlainLabel


@dataclass(frozen=True, slots=True)
class Refused:
    """A row that gets no label, and why in one sentence."""

    row_id: int
    called: str
    why: str


def texts_of(label: Label) -> tuple[str, ...]:
    """All words on a label that come from what is on file."""
    if isinstance(label, PackLabel):
        return label.name, label.number, label.set_code, label.load, label.packed_by, *label.short
    if isinstance(label, ShelfLabel):
        return label.place, label.room, label.what, label.size
    if isinstance(label, UnitLabel):
        return label.name, label.size, label.maker, label.lot, label.serial
    return label.number, label.name, *(fact.value for fact in label.facts)
