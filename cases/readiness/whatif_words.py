"""What is tried on a list, said in words: the tries, the changes, how surely the list is served."""

import math
from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import TheatreList
from cases.planning.served import Means, Served
from cases.readiness.best_try import Best, Search
from cases.readiness.facts import Snapshot
from cases.readiness.figures import short_figures
from cases.readiness.kinds import Level
from cases.readiness.tries import Kind, Try
from cases.readiness.whatif import Board, Change, item_words
from trays.web.wording import in_hundred, sitetime, verdict_word

_SAME = 1e-9


def change_words(change: Change) -> str:
    """ "+7 in 100", "−2 in 100", "unchanged"; "" where there is nothing to compare.

    The difference of the figures as they are shown, so that the two add up.
    """
    if change.now is None or change.then is None:
        return ""
    step = _shown(change.then) - _shown(change.now)
    if step:
        sign = "+" if step > 0 else "−"
        return _("%(sign)s%(n)d in 100") % {"sign": sign, "n": abs(step)}
    if abs(change.by) < _SAME:
        return _("unchanged") if change.now.word is change.then.word else ""
    if change.by > 0:
        return _("more, by less than 1 in 100")
    return _("less, by less than 1 in 100")


def _shown(level: Level) -> int:
    return math.floor(level.chance * 100 + _SAME)


def way_of(change: Change) -> str:
    """Which way a level goes: "up", "down", "same"."""
    if abs(change.by) < _SAME:
        return "same"
    return "up" if change.by > 0 else "down"


def list_words(one: TheatreList) -> str:
    """ "Fri 4 Dec, Theatre 2, morning"."""
    words = {
        "day": sitetime(one.day, "day"),
        "theatre": one.theatre.name,
        "session": one.get_session_display().lower(),
    }
    return _("%(day)s, %(theatre)s, %(session)s") % words


def try_words(board: Board, one: Try) -> str:
    """A try as the list of those that were pressed names it."""
    if one.item:
        words = {"item": item_words(board.now, one.item)}
        return (_("one more: %(item)s") if one.kind is Kind.MORE else _("one fewer: %(item)s")) % words
    target = board.plan.lists.get(one.list_id)
    words = {
        "case": reference_of(board.now.laws.snapshot, one.case_id),
        "list": list_words(target) if target else _("another list"),
    }
    return {
        Kind.UP: _("case %(case)s one up"),
        Kind.DOWN: _("case %(case)s one down"),
        Kind.OUT: _("without case %(case)s"),
        Kind.LATER: _("the sets of case %(case)s back an hour later"),
        Kind.MOVE: _("case %(case)s at the end of %(list)s"),
    }[one.kind] % words


def reference_of(snapshot: Snapshot, case_id: int) -> str:
    """The case's reference; its number where the snapshot does not know it."""
    return snapshot.references.get(case_id, str(case_id))


def served_words(found: Served | None) -> str:
    """How surely the whole list is served: "96 in 100", "at least 97 in 100", "between 96 and 98 in 100"."""
    if found is None:
        return _("cannot be said")
    one = found.all_served
    low, high = in_hundred(min(1.0, max(0.0, one.low))), in_hundred(min(1.0, max(0.0, one.high)))
    if one.means is Means.EXACT or low == high:
        return _("%(n)s in 100") % {"n": low}
    return _("between %(low)s and %(high)s in 100") % {"low": low, "high": high}


def means_words(found: Served | None) -> str:
    """What that rests on."""
    if found is None:
        return _("the list has no case that can be judged, or one with too many combinations")
    return {
        Means.EXACT: _("exact"),
        Means.BRACKET: _("proven on both sides"),
        Means.PLAYED: _("played out %(n)s times, in 95 of 100 such ranges the truth lies inside")
        % {"n": found.draws},
    }[found.all_served.means]


def best_words(board: Board, search: Search) -> str:
    """ "Best: one more femoral 5 right. Case LK-0912 from 91 to 98 in 100." """
    best = search.best
    if best is None:
        return ngettext(
            "The one single try looked at does not help this list by as much as 1 case in 200.",
            "None of the %(n)d single tries looked at helps this list by as much as 1 case in 200.",
            search.looked_at,
        ) % {"n": search.looked_at}
    words = {
        "try": try_words(board, best.one),
        "case": reference_of(board.then.laws.snapshot, best.case_id),
        "now": short_figures(best.before),
        "then": short_figures(best.after),
        "word": verdict_word(best.after.word),
    }
    said = [_("%(try)s: case %(case)s from %(now)s to %(then)s in 100, %(word)s.") % words]
    return " ".join([*said, *_beside(best)])


def _beside(best: Best) -> list[str]:
    said = []
    if best.others:
        said.append(
            ngettext("%(n)d other case gains too.", "%(n)d other cases gain too.", best.others)
            % {"n": best.others}
        )
    if best.lose:
        said.append(
            ngettext("%(n)d case loses by it.", "%(n)d cases lose by it.", best.lose) % {"n": best.lose}
        )
    return said


def act_words(one: Try, may: Mapping[str, bool]) -> str:
    """Who can do it, or that nobody can, where the person cannot be led to it."""
    if one.kind in (Kind.UP, Kind.DOWN):
        return "" if may["reorder"] else _("A coordinator changes the order of a list.")
    if one.kind in (Kind.MOVE, Kind.OUT):
        return "" if may["book"] else _("A coordinator or a surgeon moves and cancels cases.")
    if one.kind is Kind.MORE:
        return "" if may["order"] else _("Stores and coordinators order what is wanted.")
    return _("Only to see what it would do.")


def says_words(tries: Sequence[Try]) -> str:
    """What the page shows, in one sentence."""
    if not tries:
        return _("Press what you would like to try; nothing is changed by it.")
    return ngettext(
        "One thing is tried; nothing is changed by it.",
        "%(n)d things are tried, one after the other; nothing is changed by it.",
        len(tries),
    ) % {"n": len(tries)}
