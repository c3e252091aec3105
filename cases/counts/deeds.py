"""Entries of a device: one after the other, each one act of the count by its own key, and what came of it.

What cannot be done is told and the next one is tried: a device must never be stuck behind one entry.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts import adding, counting, opening, settling, staging
from cases.counts.kinds_count import Key
from cases.counts.models_counts import Entry
from cases.counts.queries_device import counter_at
from trays.ledger.append import answered
from trays.staff.models import Person
from trays.web.errors import Refusal, Unreadable

LONGEST_NUMBER = 18


@dataclass(frozen=True, slots=True)
class Hand:
    """Whose session it is, on which device, and when what they send has come."""

    by: Person
    device: UUID | None
    at: datetime


@dataclass(frozen=True, slots=True)
class Taken:
    """What came of one entry: applied, repeated, conflict, refused; and for the last two why."""

    key: str
    result: str
    said: str = ""
    next_step: str = ""
    code: str = ""


class Given:
    """The values of one entry as they came, read by what they should be."""

    def __init__(self, values: Mapping[str, Any]) -> None:
        self.values = values

    def text(self, name: str, longest: int) -> str:
        value = self.values.get(name, "")
        if not isinstance(value, str) or len(value) > longest or not value.isprintable():
            raise unreadable()
        return value.strip()

    def number(self, name: str, *, least: int = 0, most: int = 9999) -> int:
        value = self.values.get(name)
        if isinstance(value, str) and value.isascii() and value.isdigit():
            value = int(value[:LONGEST_NUMBER])
        if not isinstance(value, int) or isinstance(value, bool) or not least <= value <= most:
            raise unreadable()
        return value

    def row(self, name: str) -> Key:
        """A row by its key, or by the key of the entry that made it."""
        value = self.values.get(name)
        found = uuid_of(value)
        return found if found is not None else self.number(name, least=1, most=10**LONGEST_NUMBER)

    def rows(self, name: str) -> list[int]:
        value = self.values.get(name)
        if not isinstance(value, list) or len(value) > 200:
            raise unreadable()
        return [Given({name: one}).number(name, least=1, most=10**LONGEST_NUMBER) for one in value]

    def seen(self) -> int | None:
        return self.number("seen", most=10**LONGEST_NUMBER) or None if self.values.get("seen") else None

    def yes(self, name: str) -> bool:
        return self.values.get(name) in (True, "1", "true")

    def moment(self) -> datetime | None:
        """The device's own time; a device without one gives none."""
        value = self.values.get("at")
        try:
            found = parse_datetime(value) if isinstance(value, str) else None
        except ValueError:
            found = None
        return found if found is not None and found.tzinfo is not None else None


def unreadable() -> Unreadable:
    return Unreadable(
        "entry-unreadable",
        _("This entry did not arrive whole; nothing of it was kept."),
        _("Enter it again."),
    )


def uuid_of(value: object) -> UUID | None:
    try:
        return UUID(value) if isinstance(value, str) else None
    except ValueError:
        return None


@dataclass(frozen=True, slots=True)
class Deed:
    """One entry on its way into the count; `common` is what every act is told."""

    hand: Hand
    case: Case
    key: UUID
    given: Given

    @property
    def common(self) -> dict[str, Any]:
        return {
            "by": self.hand.by,
            "case": self.case,
            "at": self.hand.at,
            "client_key": self.key,
            "device": self.hand.device,
            "device_at": self.given.moment(),
        }

    def person(self, name: str) -> Person:
        return counter_at(site_id=self.case.site_id, pk=self.given.number(name, least=1, most=10**12))


def deed_done(hand: Hand, case: Case, values: Mapping[str, Any]) -> Taken:
    """Do one entry. Whatever comes of it is told, never raised."""
    sent = str(values.get("key", ""))[:40]
    key = uuid_of(values.get("key"))
    kind = values.get("kind")
    try:
        if key is None or not isinstance(kind, str) or kind not in KINDS:
            raise unreadable()
        repeated = answered(key) is not None
        made = KINDS[kind](Deed(hand, case, key, Given(values)))
    except Refusal as refusal:
        return Taken(sent, "refused", str(refusal.sentence), str(refusal.next_step), refusal.code)
    differ = _conflicts(made)
    if differ:
        said = _("Another device counted this differently: %(what)s.") % {"what": ", ".join(differ[:3])}
        return Taken(sent, "conflict", said, _("Count it again, aloud."), "counted-differently")
    return Taken(sent, "repeated" if repeated else "applied")


def _conflicts(made: object) -> list[str]:
    """Names of the lines for which another device has another number."""
    entries = made if isinstance(made, list) else [made]
    return [one.line.name for one in entries if isinstance(one, Entry) and one.conflict]


def _counters(deed: Deed) -> object:
    return opening.counters_name(
        scrub=deed.person("scrub"), circulating=deed.person("circulating"), **deed.common
    )


def _begin(deed: Deed) -> object:
    return counting.stage_begin(stage=deed.given.row("stage"), **deed.common)


def _count(deed: Deed) -> object:
    given = deed.given
    return counting.count_enter(
        line=given.row("line"),
        stage=given.row("stage"),
        counted=given.number("counted"),
        seen=given.seen(),
        **deed.common,
    )


def _accept(deed: Deed) -> object:
    given = deed.given
    return counting.packs_accept(
        stage=given.row("stage"), packs=given.rows("packs"), seen=given.seen(), **deed.common
    )


def _recount(deed: Deed) -> object:
    given = deed.given
    return counting.stage_recount(
        stage=given.row("stage"), klass=given.text("klass", 10), reason=given.text("reason", 40),
        **deed.common,
    )  # fmt: skip


def _add(deed: Deed) -> object:
    given = deed.given
    return adding.added_record(
        line=given.row("line"), quantity=given.number("quantity", least=1), as_found=given.yes("as_found"),
        **deed.common,
    )  # fmt: skip


def _correct(deed: Deed) -> object:
    given = deed.given
    return adding.added_correct(added=given.row("added"), reason=given.text("reason", 40), **deed.common)


def _new_line(deed: Deed) -> object:
    given = deed.given
    return adding.line_add(
        klass=given.text("klass", 10), name=given.text("name", 120),
        quantity=given.number("quantity", least=1), **deed.common,
    )  # fmt: skip


def _fragment(deed: Deed) -> object:
    given = deed.given
    return adding.fragment_add(
        broken=given.row("broken"), pieces=given.number("pieces", least=1), name=given.text("name", 120),
        **deed.common,
    )  # fmt: skip


def _left_in(deed: Deed) -> object:
    given = deed.given
    return adding.left_in(
        line=given.row("line"), quantity=given.number("quantity", least=1), plan=given.text("plan", 200),
        decided_by=given.text("decided_by", 120), **deed.common,
    )  # fmt: skip


def _packet(deed: Deed) -> object:
    given = deed.given
    return adding.packet_wrong(
        line=given.row("line"), found=given.number("found"), lot=given.text("lot", 20), **deed.common
    )


def _discrepancy(deed: Deed) -> object:
    given = deed.given
    return settling.discrepancy_open(stage=given.row("stage"), line=given.row("line"), **deed.common)


def _step(deed: Deed) -> object:
    given = deed.given
    return settling.step_done(
        discrepancy=given.row("discrepancy"), number=given.number("number"), done=given.yes("done"),
        note=given.text("note", 200), **deed.common,
    )  # fmt: skip


def _settle(deed: Deed) -> object:
    given = deed.given
    return settling.discrepancy_settle(
        discrepancy=given.row("discrepancy"), outcome=given.text("outcome", 20), note=given.text("note", 300),
        report=given.text("report", 40), second=deed.person("second"), **deed.common,
    )  # fmt: skip


def _close(deed: Deed) -> object:
    return staging.stage_close(
        stage=deed.given.row("stage"), scrub=deed.person("scrub"), circulating=deed.person("circulating"),
        **deed.common,
    )  # fmt: skip


def _not_done(deed: Deed) -> object:
    given = deed.given
    return staging.stage_not_done(
        stage=given.row("stage"), reason=given.text("reason", 200), follow_up=given.text("follow_up", 200),
        decided_by=given.text("decided_by", 120), **deed.common,
    )  # fmt: skip


def _follow_up(deed: Deed) -> object:
    given = deed.given
    return staging.follow_up_done(
        by=deed.hand.by, case=deed.case, stage=given.row("stage"), note=given.text("note", 200),
        at=deed.hand.at, client_key=deed.key,
    )  # fmt: skip


def _extra(deed: Deed) -> object:
    return staging.count_ask(**deed.common)


def _hand_over(deed: Deed) -> object:
    return staging.hand_over(seat=deed.given.text("seat", 20), to=deed.person("to"), **deed.common)


def _pause(deed: Deed) -> object:
    given = deed.given
    return staging.count_pause(
        klass=given.text("klass", 10), reason=given.text("reason", 40), **deed.common
    )


def _resume(deed: Deed) -> object:
    return staging.count_resume(recount=True, **deed.common)


KINDS: dict[str, Callable[[Deed], object]] = {
    "counters": _counters,
    "begin": _begin,
    "count": _count,
    "accept": _accept,
    "recount": _recount,
    "add": _add,
    "correct": _correct,
    "new_line": _new_line,
    "fragment": _fragment,
    "left_in": _left_in,
    "packet": _packet,
    "discrepancy": _discrepancy,
    "step": _step,
    "settle": _settle,
    "close": _close,
    "not_done": _not_done,
    "follow_up": _follow_up,
    "extra": _extra,
    "hand_over": _hand_over,
    "pause": _pause,
    "resume": _resume,
}
"""What a device may enter, in its own short words, and the act that it is."""
