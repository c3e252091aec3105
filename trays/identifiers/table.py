"""The GS1 Application Identifiers (AIs) as data.

``generate.py`` makes the file; ``ai_table.NOTICE.txt`` says where it comes from.
"""

import json
from dataclasses import dataclass
from functools import cache
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
    """One AI. ``needs``: of each entry one group must stand beside it; ``excludes``: never beside these.

    ``n`` in a pattern stands for any digit.
    """

    ai: str
    title: str
    predefined: bool
    components: tuple[Component, ...]
    needs: tuple[tuple[tuple[str, ...], ...], ...]
    excludes: tuple[str, ...]

    @property
    def most(self) -> int:
        """Most characters of data."""
        return sum(c.most for c in self.components)

    @property
    def least(self) -> int:
        """Fewest characters of data."""
        return sum(c.least for c in self.components if not c.optional)


@cache
def definitions() -> dict[str, Definition]:
    """All AIs, by their digits."""
    rows = json.loads(TABLE_FILE.read_text(encoding="utf-8"))
    return {
        ai: Definition(
            ai=ai,
            title=row["title"],
            predefined=row["predefined"],
            components=tuple(
                Component(p["set"], p["least"], p["most"], p["optional"], tuple(p["checks"]))
                for p in row["parts"]
            ),
            needs=tuple(tuple(tuple(group) for group in one) for one in row["needs"]),
            excludes=tuple(row["excludes"]),
        )
        for ai, row in rows.items()
    }


def find(text: str, at: int = 0) -> Definition | None:
    """The AI that stands at a place in an element string, or none. No AI is the start of another."""
    known = definitions()
    for length in (2, 3, 4):
        found = known.get(text[at : at + length])
        if found is not None:
            return found
    return None


def matches(pattern: str, ai: str) -> bool:
    """True if an AI is one of a pattern's: ``310n`` means 3100 to 3109."""
    return len(pattern) == len(ai) and all(p in ("n", a) for p, a in zip(pattern, ai, strict=True))
