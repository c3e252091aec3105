"""The GS1 Application Identifiers (AIs) as data.

``generate.py`` makes the file; ``ai_table.NOTICE.txt`` says where it comes from.
"""

import json
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path

TABLE_FILE = Path(__file__).parent / "ai_table.json"

# First two digits of AIs that never take a separator, with the whole length of AI and data: kept for
# ever, also for AIs that are not yet given out (GS1 General Specifications).
PREDEFINED_LENGTH = (
    {"00": 20, "01": 16, "02": 16, "03": 16, "04": 18, "20": 4, "41": 16}
    | {str(n): 8 for n in range(11, 20)}
    | {str(n): 10 for n in range(31, 37)}
)


@dataclass(frozen=True)
class Component:
    """One piece of an AI's data. ``charset`` N digits, X the 82, Y the 39, Z base64url characters."""

    charset: str
    least: int
    most: int
    optional: bool
    checks: tuple[str, ...]


@dataclass(frozen=True)
class Definition:
    """One AI.

    ``needs``: of each entry one group must stand beside it; ``excludes``: never beside these. ``n`` in a
    pattern stands for any digit. ``attribute``: may stand in the query of a Digital Link address;
    ``link_key``: none, or the orders of qualifiers that may follow it there as its key.
    """

    ai: str
    title: str
    predefined: bool
    components: tuple[Component, ...]
    needs: tuple[tuple[tuple[str, ...], ...], ...]
    excludes: tuple[str, ...]
    attribute: bool
    link_key: tuple[tuple[str, ...], ...] | None

    @cached_property
    def most(self) -> int:
        """Most characters of data."""
        return sum(c.most for c in self.components)

    @cached_property
    def least(self) -> int:
        """Fewest characters of data."""
        return sum(c.least for c in self.components if not c.optional)

    @cached_property
    def checks(self) -> frozenset[str]:
        """The names of all checks of its data."""
        return frozenset(name for c in self.components for name in c.checks)

    @cached_property
    def excluded(self) -> frozenset[str]:
        """All AIs that may not stand beside it, patterns written out."""
        return frozenset(ai for p in self.excludes for ai in expanded(p)) - {self.ai}


@cache
def definitions() -> dict[str, Definition]:
    """All AIs, by their digits."""
    rows = json.loads(TABLE_FILE.read_text(encoding="utf-8"))
    return {
        ai: Definition(
            ai,
            row["title"],
            row["predefined"],
            tuple(
                Component(c["set"], c["least"], c["most"], c["optional"], tuple(c["checks"]))
                for c in row["parts"]
            ),
            needs=tuple(tuple(tuple(group) for group in one) for one in row["needs"]),
            excludes=tuple(row["excludes"]),
            attribute=row["attribute"],
            link_key=None if row["key"] is None else tuple(tuple(order) for order in row["key"]),
        )
        for ai, row in rows.items()
    }


def find(text: str, at: int = 0) -> Definition | None:
    """The AI that stands at a place in an element string, or none. No AI is the start of another."""
    known = definitions()
    return known.get(text[at : at + 2]) or known.get(text[at : at + 3]) or known.get(text[at : at + 4])


def fixed_length(text: str, at: int = 0) -> int | None:
    """Length of AI and data together that the digits at a place settle without a separator, or none.

    Retired AI 23n, the transitional lot, told its own length: n pairs of characters and one.
    """
    fixed = PREDEFINED_LENGTH.get(text[at : at + 2])
    if fixed is None and retired(text, at):
        return 3 + 2 * int(text[at + 2]) + 1
    return fixed


def retired(text: str, at: int = 0) -> bool:
    """True for the retired AI 23n; 235 has since been given out anew."""
    digit = text[at + 2 : at + 3]
    return text.startswith("23", at) and digit.isascii() and digit.isdigit() and digit != "5"


@cache
def expanded(pattern: str) -> frozenset[str]:
    """The AIs of a pattern: ``310n`` means those of 3100 to 3109 that exist, ``01`` itself alone."""
    return frozenset(
        ai
        for ai in definitions()
        if len(ai) == len(pattern) and all(p in ("n", a) for p, a in zip(pattern, ai, strict=True))
    )
