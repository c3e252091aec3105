"""What the count of a case looks like now: one frozen picture for the page, the device and the paper.

`as_json` writes it for the device: the same names, moments in ISO form, keys of rows as numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

# A row by its key; or, for a device that has not heard it yet, by the client key of the act that made it.
Key = int | UUID


@dataclass(frozen=True, slots=True)
class PersonName:
    """A person by key and name; `pk` None for one who is only named on paper."""

    pk: int | None
    name: str


@dataclass(frozen=True, slots=True)
class Counted:
    """The newest valid entry of one line at one stage. `verdict`: equal, fewer, more, conflict."""

    id: int
    counted: int
    verdict: str
    basis: str
    by: str
    at: datetime
    device_at: datetime | None
    paper_at: datetime | None
    device: UUID | None


@dataclass(frozen=True, slots=True)
class LineState:
    """One line. `should_be` is what was added less what was left in; `additions` what came on, in order.

    `entries` is by stage, valid ones only; `newest` is the newest entry of each stage, valid or not: what a
    device gives back as `seen`. `verdict` and `difference` are those of the stage under way (or the last one
    that counts the line): open, equal, fewer, more, conflict, settled.
    """

    pk: int
    number: int
    klass: str
    name: str
    section: str
    note: str
    critical: bool
    parts: int
    multiple: int
    listed: int | None
    pack: int | None
    should_be: int
    left_in: int
    additions: tuple[int, ...]
    entries: Mapping[int, Counted]
    newest: Mapping[int, int]
    verdict: str
    difference: int
    broken: int | None = None

    @property
    def said(self) -> str:
        return verdict_words(self.verdict, self.difference)


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature under a stage or a discrepancy: printed name, time, meaning; whether it still holds."""

    seat: str
    person: PersonName
    at: datetime
    meaning: str


@dataclass(frozen=True, slots=True)
class StageState:
    """One stage. `state`: waiting, open, closed, not_done. `late`: entered from paper afterwards."""

    pk: int
    mark: str
    word: str
    kind: str
    when: str
    state: str
    classes: tuple[str, ...]
    begun_at: datetime | None
    begun_by: str
    ended_at: datetime | None
    ended_by: str
    scrub: PersonName | None
    circulating: PersonName | None
    late: bool
    paper_at: datetime | None
    paper_sheet: str
    reason: str
    decided_by: str
    follow_up: str
    followed_at: datetime | None
    followed_by: str
    followed_note: str
    seats: tuple[str, ...]
    signed: tuple[Signed, ...]
    balanced: bool
    settled: int

    @property
    def unsigned(self) -> tuple[str, ...]:
        """Seats that have not signed yet."""
        done = {one.seat for one in self.signed}
        return tuple(seat for seat in self.seats if seat not in done)


@dataclass(frozen=True, slots=True)
class ClassState:
    """One class in running order. `keys` are the steps of its keys; `lines` the keys of its lines."""

    klass: str
    word: str
    keys: tuple[int, ...]
    lines: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BoardRow:
    """One class on the board: how many there should be, how many were counted at the stage under way.

    `fewer` and `more` are sums over its lines, so that one more here never hides one fewer there. `open` is
    the number of lines not counted yet, `conflict` of those two devices counted differently. `under_way`:
    the class counted last, or the first that is not done. `verdict`: open, equal, fewer, more, both,
    conflict, settled, none (nothing of this class).
    """

    klass: str
    word: str
    should_be: int
    counted: int
    lines: int
    open: int
    fewer: int
    more: int
    conflict: int
    verdict: str
    under_way: bool

    @property
    def said(self) -> str:
        if self.verdict == "both":
            return _("%(fewer)s fewer, %(more)s more") % {"fewer": self.fewer, "more": self.more}
        if self.verdict == "open":
            return ngettext("%(n)s line to count", "%(n)s lines to count", self.open) % {"n": self.open}
        difference = self.more if self.verdict == "more" else -self.fewer
        return verdict_words(self.verdict, difference)


@dataclass(frozen=True, slots=True)
class PackState:
    """One pack at the table. `verdict` at the stage under way as of the lines; `marks` with their words."""

    pk: int
    pack: int
    number: str
    name: str
    items: int
    lines: tuple[int, ...]
    contents_list: str
    short: str
    indicator: str
    marks: tuple[str, ...]
    reason: str
    note: str
    decided_by: str
    at: datetime
    by: str
    verdict: str
    open: int


@dataclass(frozen=True, slots=True)
class StepState:
    """One step of a discrepancy. `state`: done, not_done (with its reason), current, later."""

    number: int
    kind: str
    words: str
    when: str
    state: str
    at: datetime | None
    by: str
    note: str


@dataclass(frozen=True, slots=True)
class DiscrepancyPicture:
    """One discrepancy with its steps. `covers`: whether it still holds for the figures as they are."""

    pk: int
    stage: int
    line: int
    name: str
    expected: int
    counted: int
    state: str
    outcome: str
    note: str
    report: str
    opened_at: datetime
    opened_by: str
    settled_at: datetime | None
    first: PersonName | None
    second: PersonName | None
    signed: tuple[int, ...]
    carried: int | None
    steps: tuple[StepState, ...]
    missing_steps: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Rival:
    """Two numbers for one line that two devices gave: what is shown until the line is counted again."""

    line: int
    stage: int
    entry: int
    counted: int
    other: int
    by: str
    other_by: str
    after_close: bool


@dataclass(frozen=True, slots=True)
class HandOverPicture:
    seat: str
    before: str
    after: str
    at: datetime
    stage: int | None


@dataclass(frozen=True, slots=True)
class LeftInPicture:
    line: int
    name: str
    quantity: int
    plan: str
    decided_by: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class WrongPacketPicture:
    line: int
    name: str
    found: int
    packed_in: int
    lot: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class PauseState:
    stage: int | None
    klass: str
    reason: str
    at: datetime
    by: str


@dataclass(frozen=True, slots=True)
class Gap:
    """Something that is to be done before the case can close: `code`, in words, and the row it is about."""

    code: str
    sentence: str
    stage: int | None = None
    line: int | None = None


@dataclass(frozen=True, slots=True)
class CountState:
    """The whole count of one case. `current` is the stage under way, `next` the first that waits."""

    count: int
    case: int
    reference: str
    operation: str
    side: str
    theatre: str
    day: date
    zone: str
    template: str
    direction: str
    opened_at: datetime
    opened_by: str
    trolley_at: datetime | None
    scrub: PersonName | None
    circulating: PersonName | None
    paused: PauseState | None
    current: int | None
    next: int | None
    stages: tuple[StageState, ...]
    classes: tuple[ClassState, ...]
    lines: tuple[LineState, ...]
    board: tuple[BoardRow, ...]
    packs: tuple[PackState, ...]
    discrepancies: tuple[DiscrepancyPicture, ...]
    conflicts: tuple[Rival, ...]
    left_in: tuple[LeftInPicture, ...]
    wrong_packets: tuple[WrongPacketPicture, ...]
    hand_overs: tuple[HandOverPicture, ...]
    gaps: tuple[Gap, ...]
    caution: str

    def line(self, pk: int) -> LineState:
        return next(line for line in self.lines if line.pk == pk)

    def stage(self, pk: int) -> StageState:
        return next(stage for stage in self.stages if stage.pk == pk)


def verdict_words(verdict: str, difference: int) -> str:
    """The verdict as it is said and shown: "equal", "1 fewer", "2 more"."""
    if verdict == "fewer":
        return _("%(n)s fewer") % {"n": -difference}
    if verdict == "more":
        return _("%(n)s more") % {"n": difference}
    return {
        "equal": _("equal"),
        "open": _("to count"),
        "conflict": _("two numbers: count again"),
        "settled": _("differs, settled"),
        "none": _("none"),
    }.get(verdict, verdict)


def as_json(value: Any) -> Any:
    """A picture as plain values for JSON: properties that are words (`said`) come along."""
    if is_dataclass(value):
        plain = {field.name: as_json(getattr(value, field.name)) for field in fields(value)}
        if hasattr(value, "said"):
            plain["said"] = value.said
        return plain
    if isinstance(value, Mapping):
        return {str(key): as_json(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [as_json(one) for one in value]
    if isinstance(value, datetime | date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value
