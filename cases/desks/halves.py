"""Labels whose item and lot stand in two codes: one half waits for the other, in either order.

The half that waits is kept in the person's session: it outlives loading the page anew, and a change of page.
"""

import base64
import binascii
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.http import HttpRequest
from django.utils import timezone
from django.utils.translation import gettext as _

from trays.identifiers import hibc
from trays.identifiers.gs1 import GS
from trays.identifiers.meaning import Kind, Reading, of_hibc, read

ITEM, REST = "item", "rest"
# A box in the hand is scanned twice within this; later it may be another box.
WAITS = timedelta(minutes=2)
_PLACE = "scan_half"


@dataclass(frozen=True, slots=True)
class Half:
    """A half that waits: which one, its bytes, what it says in words, since when."""

    side: str
    raw: bytes
    words: str
    at: datetime

    @property
    def sentence(self) -> str:
        """What is waited for."""
        if self.side == REST:
            words = _("Waiting for the code with the item number of the same box. %(words)s")
        else:
            words = _("If the same box carries lot and date in a second code, scan that next. %(words)s")
        return words % {"words": self.words}


class Differ(ValueError):
    """Two halves that do not belong together, with a sentence for people."""


def side_of(reading: Reading) -> str:
    """Which half of a label the reading is: the item, the rest (lot, date, serial), or "" for neither."""
    if not reading.usable:
        return ""
    if reading.hibc is not None:
        return {hibc.Form.PRIMARY: ITEM, hibc.Form.SECONDARY: REST}.get(reading.hibc.form, "")
    if reading.kind is Kind.ATTRIBUTES:
        return REST
    return ITEM if reading.kind is Kind.TRADE_ITEM and not (reading.lot or reading.serial) else ""


def joined(first: Reading, second: Reading, *, today: date) -> Reading | None:
    """Both halves as one reading, whichever came first; None for halves of different standards.

    Raises Differ for two that say themselves that they do not belong together.
    """
    item, rest = (first, second) if side_of(first) == ITEM else (second, first)
    if side_of(item) != ITEM or side_of(rest) != REST or (item.hibc is None) != (rest.hibc is None):
        return None
    if item.hibc is not None and rest.hibc is not None:
        try:
            return of_hibc(item, hibc.join(item.hibc, rest.hibc))
        except hibc.BadLabel as differ:
            raise Differ(differ.words.say(_)) from differ
    both = read(f"]d2{_elements(item)}{GS}{_elements(rest)}", today=today, proven=True)
    if not both.usable:
        raise Differ(both.say(_))
    return both


def _elements(reading: Reading) -> str:
    """The parts as an element string; a separator that is not needed is passed over in reading."""
    return GS.join(f"{part.key}{part.value}" for part in reading.parts)


# The session


def waiting(request: HttpRequest, *, at: datetime | None = None) -> Half | None:
    """The half that waits, unless it has waited too long."""
    session = getattr(request, "session", None)
    kept: Any = session.get(_PLACE) if session is not None else None
    if not kept:
        return None
    try:
        half = Half(
            kept["side"],
            base64.b64decode(kept["raw"], validate=True),
            str(kept["words"]),
            datetime.fromisoformat(kept["at"]),
        )
    except (KeyError, TypeError, ValueError, binascii.Error):
        return None
    return half if (at or timezone.now()) - half.at <= WAITS else None


def keep_waiting(request: HttpRequest, half: Half) -> None:
    """Let this half wait."""
    request.session[_PLACE] = {
        "side": half.side,
        "raw": base64.b64encode(half.raw).decode("ascii"),
        "words": half.words,
        "at": half.at.isoformat(),
    }


def let_go(request: HttpRequest) -> None:
    """Nothing waits any more."""
    request.session.pop(_PLACE, None)
