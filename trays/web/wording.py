"""Numbers, times and verdicts in the words that every page and sheet uses."""

import math
from datetime import date, datetime
from decimal import Decimal

from django.utils import timezone
from django.utils.dateformat import format as date_words
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

Chance = float | Decimal

VERDICTS = ("covered", "thin", "short", "unknown")
# A value and the same value through floats differ by less than this, in hundredths.
_ROUNDING = 1e-9

SITETIME_FORMS = {
    "near": "D j M, H:i",
    "time": "H:i",
    "seconds": "H:i:s",
    "day": "D j M",
    "date": "j F Y",
    "month": "m/Y",
    "full": "j F Y, H:i",
}


def in_hundred(chance: Chance | None) -> str:
    """A chance from 0 to 1 in whole hundredths, rounded down so that it is never overstated.

    Rounded down, the figure reaches a target of whole hundredths exactly when the chance does: "98" beside
    "wanted 99" is never Covered. Gives "<1" for above none and below one, "over 99" for all but certain, "–"
    for not known.
    """
    if chance is None:
        return "–"
    hundredths = _hundredths(chance)
    if 0 < hundredths < 1 - _ROUNDING:
        return "<1"
    if 99.5 <= hundredths < 100:
        return _("over 99")
    return str(math.floor(hundredths + _ROUNDING))


def likely(chance: Chance | None) -> str:
    """A likelihood from 0 to 1 in whole hundredths, rounded to the nearest: for bars, which promise nothing.

    Gives "<1" for above none and under a half, "–" for none and for not known.
    """
    if chance is None:
        return "–"
    hundredths = _hundredths(chance)
    if hundredths == 0:
        return "–"
    if hundredths < 0.5:
        return "<1"
    if 99.5 <= hundredths < 100:
        return _("over 99")
    return str(math.floor(hundredths + 0.5))


def _hundredths(chance: Chance) -> float:
    hundredths = float(chance) * 100
    if not -_ROUNDING <= hundredths <= 100 + _ROUNDING:
        raise ValueError(f"a chance lies between 0 and 1, not {chance}")
    return min(max(hundredths, 0.0), 100.0)


def verdict_state(state: object) -> str:
    """One of VERDICTS, from a word, an enum member or its value; "not known" is ``unknown``."""
    value = str(getattr(state, "value", state)).strip().lower().replace("_", " ").replace("-", " ")
    if value in ("not known", "unknown", "none", ""):
        return "unknown"
    if value not in VERDICTS:
        raise ValueError(f"no verdict is called {state!r}")
    return value


def verdict_word(state: object) -> str:
    """Covered, Thin, Short or Not known."""
    return {
        "covered": pgettext("verdict", "Covered"),
        "thin": pgettext("verdict", "Thin"),
        "short": pgettext("verdict", "Short"),
        "unknown": pgettext("verdict", "Not known"),
    }[verdict_state(state)]


def verdict_figures(chance: Chance | None, target: Chance | None = None, *, at_most: bool = False) -> str:
    """The figures: "91 in 100; wanted 99", with "at most" before them when only a bound is known."""
    if chance is None:
        return ""
    figures = {"chance": in_hundred(chance), "target": in_hundred(target)}
    if target is None:
        words = _("at most %(chance)s in 100") if at_most else _("%(chance)s in 100")
    elif at_most:
        words = _("at most %(chance)s in 100; wanted %(target)s")
    else:
        words = _("%(chance)s in 100; wanted %(target)s")
    return words % figures


def verdict_line(
    state: object, chance: Chance | None = None, target: Chance | None = None, *, at_most: bool = False
) -> str:
    """The verdict in one run of words, for sheets and files: "Short, 91 in 100; wanted 99"."""
    figures = verdict_figures(chance, target, at_most=at_most)
    return f"{verdict_word(state)}, {figures}" if figures else verdict_word(state)


def sitetime(moment: datetime | date | None, form: str = "near") -> str:
    """A moment in the site's zone (Django's active one): "Tue 8 Dec, 11:40".

    ``form`` is one of SITETIME_FORMS. A plain date takes the forms without a time; "" for None.
    """
    if moment is None or moment == "":
        return ""
    pattern = SITETIME_FORMS[form]
    if isinstance(moment, datetime):
        local = timezone.localtime(moment) if timezone.is_aware(moment) else moment
        return date_words(local, pattern)
    return date_words(moment, pattern.removesuffix(", H:i"))
