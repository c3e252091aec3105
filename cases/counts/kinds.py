"""What a count sheet says, ready to print: frozen values in the site's zone and the reader's language."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class StageHead:
    """The head of one stage's column: number or letter over the word."""

    mark: str
    word: str


@dataclass(frozen=True, slots=True)
class CountRow:
    """One line of a pack: what it is, and how many are in the pack now (not how many the list asks for).

    `note`: parts, and what is short ("list 3, short 1"); "" for none. `number` runs on through the sections.
    `figures` is what was counted at each stage, where the sheet is filled from the record.
    """

    number: int
    name: str
    note: str
    expected: int
    critical: bool
    figures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CountSection:
    """One part of the tray, from the top down; rack stock is a section of its own, by size."""

    title: str
    rows: tuple[CountRow, ...]


@dataclass(frozen=True, slots=True)
class SoftRow:
    """One kind of soft goods, sharp or small item; `in_packs` is its packed number, "·" when it is single.

    Filled from the record: `first` was counted first, `added` came on since, `figures` were counted later.
    """

    name: str
    in_packs: str
    first: str = ""
    added: tuple[str, ...] = ()
    total: str = ""
    figures: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SoftSection:
    """One class of things counted: soft goods, sharps, other things that count."""

    title: str
    rows: tuple[SoftRow, ...]


@dataclass(frozen=True, slots=True)
class StageFilled:
    """How a stage ended, for the block of its signatures: `tick` is correct, not_correct, not_done or "".

    `scrub` and `circulating` are printed names, the signed moments those of their signatures, "" for none.
    """

    time: str
    tick: str
    scrub: str
    scrub_signed: str
    circulating: str
    circulating_signed: str


@dataclass(frozen=True, slots=True)
class SheetNotes:
    """What the record says for the free lines that end a sheet, each as sentences."""

    not_correct: tuple[str, ...] = ()
    not_done: tuple[str, ...] = ()
    left_in: tuple[str, ...] = ()
    wrong_packets: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CountSheetView:
    """One count sheet of one case: `kind` is pack (then `sections`) or soft_goods (then `soft`).

    `code` is the symbol of the sheet, `pack_code` that of the pack itself (8004)+(91); either is "" where
    there is no number to make it from. `pack` is its number with its round, `contents_list` "v 12".
    `sheet_of_case` "3 of 6" in the order of the count. `short` tells what the pack lacks, "" when it is
    complete to its list.
    `added_rows` is the least number of blank rows, `blank_kinds` that of blank kinds on a soft goods sheet.
    `filled` is how each stage ended where the sheet is filled from the record, `notes` what else it says.
    `direction` is the site's way round.
    """

    kind: str
    number: str
    code: str
    subject: str
    side: str
    operation: str
    reference: str
    day: str
    theatre: str
    position: str
    sheet_of_case: str
    pack: str
    pack_code: str
    contents_list: str
    short: str
    stages: tuple[StageHead, ...]
    sections: tuple[CountSection, ...]
    soft: tuple[SoftSection, ...]
    added_rows: int
    blank_kinds: int
    caution: str
    printed: str
    language: str
    filled: tuple[StageFilled, ...] = ()
    notes: SheetNotes = SheetNotes()
    direction: str = ""

    @property
    def lines(self) -> int:
        """How many lines the sheet has before anything is added."""
        packed = sum(len(section.rows) for section in self.sections)
        return packed + sum(len(section.rows) for section in self.soft)
