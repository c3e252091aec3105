"""The sentences of the page of a day's sets."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.readiness.day import DayBoard, KindBoard, Waiting
from cases.readiness.day_order import Proposal
from trays.web.wording import sitetime


def page_words(board: DayBoard) -> str:
    """What the page comes to."""
    if not board.uses:
        return _("No set is wanted on this day.")
    cases = len({use.case.id for use in board.uses})
    drawn = ngettext("%(n)d case draws", "%(n)d cases draw", cases) % {"n": cases}
    kinds = ngettext("%(n)d kind of set.", "%(n)d kinds of set.", len(board.kinds)) % {"n": len(board.kinds)}
    short = len(board.waiting)
    if not short:
        return _("%(cases)s on %(kinds)s No case waits for a set.") % {"cases": drawn, "kinds": kinds}
    waits = ngettext("One of them runs out.", "%(n)d of them run out.", short) % {"n": short}
    return _("%(cases)s on %(kinds)s %(waits)s") % {"cases": drawn, "kinds": kinds, "waits": waits}


@dataclass(frozen=True, slots=True)
class WaitingWords:
    """One case that waits, with all the kinds that it waits for until the same moment."""

    what: str
    why: str
    proven: bool


def waiting_words(board: DayBoard) -> tuple[WaitingWords, ...]:
    """Who waits for what until when, and why; by the start of the case."""
    together: dict[tuple[int, datetime | None], list[KindBoard]] = {}
    for kind in board.kinds:
        if kind.waiting is not None:
            key = (kind.waiting.line.use.case.id, kind.waiting.until)
            together.setdefault(key, []).append(kind)
    found = []
    for kinds in together.values():
        whys = dict.fromkeys(_why(kind, kind.waiting) for kind in kinds if kind.waiting)
        why = " ".join(whys) if len(whys) < len(kinds) or len(kinds) == 1 else _each(kinds)
        found.append((kinds[0], WaitingWords(_what(kinds), why, all(kind.proven for kind in kinds))))
    found.sort(key=lambda pair: pair[0].waiting.line.starts if pair[0].waiting else board.at)
    return tuple(words for _kind, words in found)


def _each(kinds: Sequence[KindBoard]) -> str:
    return " ".join(f"{kind.name}: {_why(kind, kind.waiting)}" for kind in kinds if kind.waiting)


def _what(kinds: Sequence[KindBoard]) -> str:
    waiting = kinds[0].waiting
    if waiting is None:
        return ""
    line = waiting.line
    words = {
        "case": line.use.case.reference,
        "n": line.use.case.position,
        "theatre": line.use.case.theatre,
        "start": sitetime(line.starts, "time"),
        "sets": "; ".join(kind.name for kind in kinds),
    }
    if waiting.until is None:
        return _("Case %(case)s (%(theatre)s, position %(n)d) at %(start)s has no set: %(sets)s.") % words
    near = waiting.until.date() == line.starts.date()
    words["until"] = sitetime(waiting.until, "time") if near else sitetime(waiting.until)
    return (
        _("Case %(case)s (%(theatre)s, position %(n)d) at %(start)s waits until %(until)s for: %(sets)s.")
        % words
    )


def _why(kind: KindBoard, waiting: Waiting) -> str:
    there = len(kind.sets)
    if not there:
        return _("None of this kind is there on this day.")
    sets = ngettext("One set is there", "%(n)d sets are there", there) % {"n": there}
    if kind.needed is not None and kind.needed > there:
        sets = _("%(sets)s; %(needed)d would be enough") % {"sets": sets, "needed": kind.needed}
    if waiting.after is not None:
        return _("%(sets)s. The first to come back is the one from case %(case)s.") % {
            "sets": sets,
            "case": waiting.after.reference,
        }
    if waiting.until is not None:
        return _("%(sets)s, one of them not before then.") % {"sets": sets}
    return _("%(sets)s.") % {"sets": sets}


def kind_words(kind: KindBoard) -> str:
    """How many are there and how many would do."""
    there = ngettext("%(n)d there", "%(n)d there", len(kind.sets)) % {"n": len(kind.sets)}
    if kind.needed is None:
        return there
    return _("%(there)s, %(needed)d needed at least") % {"there": there, "needed": kind.needed}


def order_words(proposal: Proposal) -> tuple[str, str]:
    """What is said of another order: what was found, and what it means."""
    if proposal.lists:
        names = ", ".join(one.theatre_list.theatre.name for one in proposal.lists)
        what = ngettext(
            "Another order of the list of %(names)s lets no case wait.",
            "New orders of the lists of %(names)s, together, let no case wait.",
            len(proposal.lists),
        ) % {"names": names}
        if proposal.least:
            return what, _("No order that helps changes less.")
        return what, _("There may be one that changes less.")
    if proposal.proven:
        what = _("No order of this day’s lists lets every case have its sets in time.")
        why = _("All were ruled out; what has begun was left in its place.")
        return what, f"{why} {_('Move a case, or get one more set.')}"
    return (
        _("No order that helps was found in the time given."),
        _("Not all orders were tried: there may be one."),
    )
