"""The figures of a level in words: exact, about, at most."""

import math

from django.utils.translation import gettext as _

from cases.readiness.kinds import Level, Word
from trays.web.wording import in_hundred, verdict_word


def chance_of_short(level: Level) -> str:
    """The bound on the chance of being short, in whole hundredths, rounded up so that it is never
    understated."""
    return str(math.ceil((1.0 - level.chance) * 100 - 1e-9))


def short_figures(level: Level) -> str:
    """ "91"; "about 91" where it is an estimate; where only a bound is known "at most 9 short"."""
    if level.at_most:
        return _("at most %(n)s short") % {"n": chance_of_short(level)}
    if _estimated(level):
        return _("about %(chance)s") % {"chance": _roughly(level)}
    return in_hundred(level.chance)


def figures(level: Level) -> str:
    """ "91 in 100; wanted 99".

    An estimate is "about 91 in 100; wanted 99", and where only what is proven keeps it from being covered
    "about 99 in 100, at least 98; wanted 99". Where only a bound is known it is "at most 9 in 100 short;
    wanted 1".
    """
    words = {"wanted": in_hundred(level.wanted)}
    if level.at_most:
        wanted = math.floor((1.0 - level.wanted) * 100 + 1e-9)
        return _("at most %(short)s in 100 short; wanted %(wanted)s") % {
            "short": chance_of_short(level),
            "wanted": wanted if wanted else "<1",
        }
    if not _estimated(level):
        words["chance"] = in_hundred(level.chance)
        return _("%(chance)s in 100; wanted %(wanted)s") % words
    words["chance"] = _roughly(level)
    if level.word is not Word.COVERED and level.chance >= level.wanted:
        words["surely"] = in_hundred(level.surely)
        return _("about %(chance)s in 100, at least %(surely)s; wanted %(wanted)s") % words
    return _("about %(chance)s in 100; wanted %(wanted)s") % words


def one_more_sentence(name: str, level: Level) -> str:
    """ "With one more tibial 6: 98 in 100, Covered." """
    words = {"name": name, "word": verdict_word(level.word)}
    if level.at_most:
        words["short"] = chance_of_short(level)
        return _("With one more %(name)s: at most %(short)s in 100 short, %(word)s.") % words
    if _estimated(level):
        words["chance"] = _roughly(level)
        return _("With one more %(name)s: about %(chance)s in 100, %(word)s.") % words
    words["chance"] = in_hundred(level.chance)
    return _("With one more %(name)s: %(chance)s in 100, %(word)s.") % words


def _estimated(level: Level) -> bool:
    """Whether the figure is only an estimate: not where what is proven reads the same."""
    return level.about and (level.surely is None or in_hundred(level.surely) != in_hundred(level.chance))


def _roughly(level: Level) -> str:
    """An estimate in whole hundredths; "99" for all but certain."""
    return in_hundred(min(level.chance, 0.99))
