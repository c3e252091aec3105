"""What may be tried on a list, as it stands in an address: "up.12", "move.12.31", "more.C7".

Numbers are ids of cases and lists; items are named as in `shelf`.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

MOST_TRIES = 12
"""Tries that may be kept in one address."""
_WRITTEN = re.compile(
    r"(up|down|out|later)\.(\d{1,9})|(move)\.(\d{1,9})\.(\d{1,9})|(more|fewer)\.([CD]\d{1,9})"
)


class Kind(StrEnum):
    """What is tried."""

    UP = "up"
    DOWN = "down"
    OUT = "out"
    LATER = "later"
    MOVE = "move"
    MORE = "more"
    FEWER = "fewer"


@dataclass(frozen=True, slots=True)
class Try:
    """One thing that is tried: with a case (moved to a list), or with an item."""

    kind: Kind
    case_id: int = 0
    list_id: int = 0
    item: str = ""

    def __str__(self) -> str:
        if self.item:
            return f"{self.kind}.{self.item}"
        return f"{self.kind}.{self.case_id}" + (f".{self.list_id}" if self.list_id else "")


def try_read(text: str) -> Try | None:
    """The try that a text stands for; None for nonsense."""
    found = _WRITTEN.fullmatch(text)
    if found is None:
        return None
    one, case, moved, moved_case, to, number, item = found.groups()
    if one:
        return Try(Kind(one), int(case))
    return Try(Kind(moved), int(moved_case), int(to)) if moved else Try(Kind(number), item=item)


def tries_read(texts: Iterable[str]) -> tuple[Try, ...]:
    """Those that make sense, in order."""
    return tuple(one for text in texts if (one := try_read(text)) is not None)
