"""What a history says of each thing that happened."""

from itertools import groupby

from django.utils.translation import gettext as _

from cases.trace.queries import Happening
from trays.instruments.models import PackState
from trays.processing.models_machines import RunState
from trays.processing.words import reason_word


def what_words(one: Happening) -> str:
    """ "Received to cleaned", "Washer 1, run 12: passed"."""
    if one.kind == "run":
        return _("%(machine)s, run %(run)s: %(came)s") % {
            "machine": one.machine,
            "run": one.run,
            "came": str(RunState(one.after).label).lower(),
        }
    words = _("%(before)s to %(after)s") % {
        "before": PackState(one.before).label,
        "after": str(PackState(one.after).label).lower(),
    }
    if one.run:
        return _("%(step)s, %(machine)s run %(run)s") % {
            "step": words,
            "machine": one.machine,
            "run": one.run,
        }
    return words


def reason_words(one: Happening) -> str:
    """Why, where a step or a run says so."""
    if not one.reason:
        return ""
    return one.reason if one.kind == "run" else reason_word(one.reason)


def by_round(rows: list[Happening]) -> list[tuple[int, list[tuple[Happening, str, str]]]]:
    """The history round by round, each thing with what is said of it."""
    return [
        (number, [(one, what_words(one), reason_words(one)) for one in own])
        for number, own in groupby(rows, key=lambda one: one.round)
    ]
