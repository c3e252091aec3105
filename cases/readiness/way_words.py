"""When a set of the round is there, in words: a time, a chance, and the reason."""

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.readiness.shelf import moment
from cases.readiness.way import STERILIZER, SURE, Estimate
from trays.instruments.models import PackState
from trays.instruments.ready import state_word
from trays.web.wording import in_hundred, sitetime


def ready_words(found: Estimate) -> str:
    """ "ready by Tue 8 Dec, 10:15, 90 in 100": the time first."""
    if found.at is None:
        return _("nobody can say when it is ready")
    return _("ready by %(time)s, %(chance)s in 100") % {
        "time": sitetime(moment(found.at)),
        "chance": in_hundred(SURE),
    }


def in_time_words(found: Estimate, start: int) -> str:
    """ "86 in 100 ready by Tue 8 Dec, 08:30": for a case that starts at a minute."""
    return _("%(chance)s in 100 ready by %(time)s") % {
        "chance": in_hundred(found.chance(start)),
        "time": sitetime(moment(start)),
    }


def late_words(code: str, found: Estimate, start: int) -> str:
    """What is said of a set that is not there by the start of a case as surely as is asked for."""
    names = {"code": code, "chance": in_hundred(found.chance(start)), "then": ready_words(found)}
    if found.chance(start) <= 0.0:
        return _("%(code)s can no longer be ready in time: %(then)s") % names
    return _("%(code)s is late: %(chance)s in 100 by the start, %(then)s") % names


def because_words(found: Estimate) -> str:
    """The reason: where its last pack stands since when, what taught that stage, and what holds it up."""
    standing = found.standing
    where = state_word(standing.state)
    if standing.since is not None:
        where = _("%(state)s, since %(time)s") % {"state": where, "time": sitetime(standing.since)}
    return "; ".join(part for part in (where, _taught(found), _held(found)) if part)


def _taught(found: Estimate) -> str:
    if not found.seen:
        return _("how long that takes is the site’s reckoning, no step here has taught it yet")
    return ngettext(
        "how long that takes was learnt from %(n)d step here",
        "how long that takes was learnt from %(n)d steps here",
        found.seen,
    ) % {"n": found.seen}


def _held(found: Estimate) -> str:
    sterilizer = found.no_machine == STERILIZER or found.standing.state in (
        PackState.PACKED,
        PackState.IN_LOAD,
    )
    if found.no_machine:
        return _("no sterilizer is in use") if sterilizer else _("no washer is in use")
    if found.held_until is None:
        return ""
    words = {"time": sitetime(moment(found.held_until), "time")}
    if found.standing.until is not None:
        return (
            _("its load ends at %(time)s") % words if sterilizer else _("its wash ends at %(time)s") % words
        )
    if sterilizer:
        return _("a sterilizer has room for it at %(time)s") % words
    return _("it can be washed by %(time)s, behind those that came before") % words
