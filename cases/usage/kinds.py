"""Shapes that this room hands in and out: frozen values, no reading and no writing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum

from cases.bookings.models import CaseSlot, Construct
from cases.usage.models import Brought, Fits
from trays.catalogue.models import Component
from trays.identifiers.meaning import Kind, Reading
from trays.instruments.models import Pack
from trays.processing.receiving import Lacking
from trays.staff.models import Person
from trays.stock.models import Pile, Unit

LONGEST_LOT = 20


@dataclass(frozen=True, slots=True)
class Scanned:
    """What one label said: the bytes of the carrier and what they mean; or what was typed off it, and why.

    `device` is the UDI's device identifier (the GTIN for GS1); `pis` every production identifier as
    (key, value) in the order of the label. `described` is for a code that nobody knows: what it is, in words.
    """

    raw: bytes = b""
    device: str = ""
    lot: str = ""
    serial: str = ""
    expires: date | None = None
    made_on: date | None = None
    agency: str = ""
    pis: tuple[tuple[str, str], ...] = ()
    typed_reason: str = ""
    described: str = ""

    @property
    def typed(self) -> bool:
        return bool(self.typed_reason.strip())


_DEVICE_KEYS = ("01", "device")


def scanned(reading: Reading) -> Scanned:
    """The label as it was read; a code that cannot be read leaves its bytes alone."""
    kind = reading.kind in (Kind.TRADE_ITEM, Kind.HIBC)
    return Scanned(
        raw=reading.raw,
        device=(reading.device or "")[:60] if kind else "",
        lot=(reading.lot or "")[:LONGEST_LOT],
        serial=(reading.serial or "")[:LONGEST_LOT],
        expires=reading.expiry.day if reading.expiry else None,
        made_on=reading.made.day if reading.made else None,
        agency=reading.agency,
        pis=tuple((part.key, part.value) for part in reading.parts if part.key not in _DEVICE_KEYS),
    )


class Level(StrEnum):
    """How much a remark weighs: to know; to look at; not without a name and a reason."""

    NOTE = "note"
    CAUTION = "caution"
    STOP = "stop"


@dataclass(frozen=True, slots=True)
class Remark:
    """One thing to say about a unit before it is opened."""

    code: str
    level: Level
    sentence: str
    next_step: str = ""


@dataclass(frozen=True, slots=True)
class Pair:
    """Two pieces of one construct and what the fit rules say of them.

    `source` is the document of the rule; "" where no rule is on file.
    """

    a: str
    b: str
    fits: str
    sentence: str
    source: str = ""
    a_brought: int | None = None
    b_brought: int | None = None


@dataclass(frozen=True, slots=True)
class SlotState:
    """One slot of a construct and the piece that stands in it now; None while there is none.

    `needed`: the plan uses it every time. `older` are pieces of the slot without a fate beside it.
    """

    slot: CaseSlot
    name: str
    needed: bool
    brought: Brought | None
    older: tuple[Brought, ...] = ()


@dataclass(frozen=True, slots=True)
class ConstructCheck:
    """One construct as it stands: every pair by the rules, what each piece says, what is missing.

    `fits` is the worst of the pairs. `remarks` by the brought piece's key. `extra` are pieces that stand in
    no slot of the plan.
    """

    construct: Construct
    fits: str
    pairs: tuple[Pair, ...]
    slots: tuple[SlotState, ...]
    extra: tuple[Brought, ...]
    remarks: dict[int, tuple[Remark, ...]]

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of the slots that the plan uses every time and that nothing stands in."""
        return tuple(one.name for one in self.slots if one.needed and one.brought is None)

    @property
    def complete(self) -> bool:
        return not self.missing

    @property
    def doubtful(self) -> tuple[Pair, ...]:
        """The pairs that are not allowed by a rule on file."""
        return tuple(pair for pair in self.pairs if pair.fits != Fits.ALLOWED)


@dataclass(frozen=True, slots=True)
class Check:
    """The answer to a scan before anything is opened. Nothing has been changed by it.

    `ask` are the constructs to choose between where the side does not settle it. `lots` are those picked or
    held for the case of the same component.
    """

    scanned: Scanned
    source: str
    component: Component | None
    unit: Unit | None
    pile: Pile | None
    construct: Construct | None
    slot: CaseSlot | None
    ask: tuple[Construct, ...]
    fits: str
    pairs: tuple[Pair, ...]
    remarks: tuple[Remark, ...]
    name: str

    @property
    def stops(self) -> tuple[Remark, ...]:
        """What needs a name and a reason before it may be taken."""
        return tuple(one for one in self.remarks if one.level is Level.STOP)

    @property
    def clear(self) -> bool:
        """Whether it may be opened as it is."""
        return not self.stops and not self.ask


@dataclass(frozen=True, slots=True)
class Override:
    """Taken all the same: why, and on whose word. `surgeon` where it is a person on file."""

    reason: str
    name: str
    surgeon: Person | None = None


@dataclass(frozen=True, slots=True)
class Wait:
    """Something a case's closing waits for. `page` is the URL name of where it is put right."""

    code: str
    sentence: str
    page: str


@dataclass(frozen=True, slots=True)
class Sent:
    """A used pack with what it lacks at the final count; or one that goes back as it came."""

    pack: Pack
    lacking: Sequence[Lacking] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """A signature entry as it is to be shown. `holds` is None for an entry that is not signed."""

    pk: int
    construct_id: int
    role: str
    name: str
    at: datetime
    signed: bool
    holds: bool | None
    why: str
    meaning: str = ""
