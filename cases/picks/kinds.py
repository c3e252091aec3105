"""What a pick list says, ready to show or to print: frozen values, the site's zone, the reader's language.

The page and the sheet draw from the same values, so that they cannot differ. Codes are wire element
strings for a symbol; "" where the site has no number of its own to make one from.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LevelWords:
    """One level of assurance: its state, and its figures in words.

    `state` is covered, thin, short or unknown; `figures` such as "91 in 100; wanted 95", with "at most"
    before it when only a bound is known, and "" when nothing is known.
    """

    label: str
    state: str
    word: str
    figures: str


@dataclass(frozen=True, slots=True)
class SheetVerdict:
    """The head's right half: the worse of the two levels, both levels, and why."""

    state: str
    word: str
    in_room: LevelWords
    on_site: LevelWords
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RunCell:
    """One size of a slot's family.

    `chance` is how likely it is, 0 to 1 (None: not told). `group` is "" for a size that is not on the list,
    else likely, keep_sealed or contingency. `minimum`: it is there because of the site's minimum.
    `missing`: it is wanted, and no unit of it could be taken.
    """

    size: str
    chance: float | None
    group: str
    minimum: bool
    missing: bool
    likely: str = ""


@dataclass(frozen=True, slots=True)
class SizeRun:
    """One row of the size run: the slot (with its size in the first measure for inserts), and its words."""

    label: str
    side: str
    unit: str
    cells: tuple[RunCell, ...]
    note: str


@dataclass(frozen=True, slots=True)
class GroupCount:
    """How many lines one group has, for the key under the run; `mark` is "" for sets."""

    group: str
    word: str
    mark: str
    lines: int


@dataclass(frozen=True, slots=True)
class PickRow:
    """One line: what to take, how many, from which bin.

    `size` and `side` stand apart from `name` so that they are never cut with it; for a pack `size` is the
    set's code and `side` "tray 1 of 2". `detail` is its lot or pack and its date. `code` is the symbol of
    this line (never of the thing) and `text` the same to read or type. `mark` is its group's mark (likely,
    keep_sealed, contingency, consumable), "" for a set. `thing` is unit, pack or pile.
    """

    number: int
    code: str
    text: str
    name: str
    size: str
    side: str
    lot: str
    until: str
    detail: str
    group: str
    group_word: str
    mark: str
    site_minimum: bool
    take: int
    bin: str
    chance: float | None
    thing: str


@dataclass(frozen=True, slots=True)
class PickPlace:
    """One stop of the walk, numbered in the site's order."""

    number: int
    name: str
    hint: str
    rows: tuple[PickRow, ...]


@dataclass(frozen=True, slots=True)
class NotOnSite:
    """Something the list wants that could not be found, and why; it has no number and no tick."""

    name: str
    size: str
    side: str
    take: int
    group: str
    group_word: str
    mark: str
    site_minimum: bool
    chance: float | None
    why: str


@dataclass(frozen=True, slots=True)
class PickSheet:
    """The whole of one pick list.

    Head: `subject` with `side` (RIGHT, LEFT, "LEFT and RIGHT" or ""), `number` with `code`, then the facts.
    Body: `runs`, `key`, `places` in walking order, `not_on_site`. `changed_since`: in words what has happened
    to the case since the list was made, "" for nothing. `replaced`: in words, when a newer list took its
    place.
    """

    number: str
    code: str
    subject: str
    side: str
    reference: str
    day: str
    theatre: str
    position: str
    surgeon: str
    starts: str
    made: str
    made_by: str
    verdict: SheetVerdict
    runs: tuple[SizeRun, ...]
    minimum_added: str
    minimum_lines: int
    key: tuple[GroupCount, ...]
    places: tuple[PickPlace, ...]
    not_on_site: tuple[NotOnSite, ...]
    changed_since: str
    replaced: str
    caution: str
    printed: str
    language: str

    @property
    def lines(self) -> int:
        """How many lines there are to take."""
        return sum(len(place.rows) for place in self.places)
