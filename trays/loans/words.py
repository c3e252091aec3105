"""A loan's states, reasons and steps in words."""

from datetime import timedelta

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from trays.loans.ways import LoanStatus

S = LoanStatus

CANCEL = {
    "case-cancelled": gettext_lazy("The case is cancelled"),
    "case-moved": gettext_lazy("The case has moved to another day"),
    "not-needed": gettext_lazy("No longer needed"),
    "found-elsewhere": gettext_lazy("Found elsewhere"),
    "asked-twice": gettext_lazy("Asked for twice"),
}
"""Why the hospital no longer wants a loan."""
DECLINE = {
    "supplier-declined": gettext_lazy("The supplier cannot lend it"),
    "supplier-too-late": gettext_lazy("The supplier cannot bring it in time"),
}
"""Why a supplier says no."""
TURN_AWAY = {
    "no-list": gettext_lazy("No contents list came with it"),
    "no-instructions": gettext_lazy("No instructions of its maker came with it"),
    "no-certificate": gettext_lazy("No certificate of decontamination came with it"),
    "incomplete": gettext_lazy("Something is missing"),
    "damaged": gettext_lazy("Something is damaged"),
    "contaminated": gettext_lazy("It is soiled"),
    "too-heavy": gettext_lazy("It is heavier than the site allows"),
    "wrong-set": gettext_lazy("It is not what was asked for"),
}
"""Why a set is refused on arrival, or taken with an exception."""
CHARGE = {
    "no-use-on-record": gettext_lazy("No use of it is on record"),
    "price-differs": gettext_lazy("The price is not the agreed one"),
    "claimed-twice": gettext_lazy("It was claimed before"),
    "counted-back": gettext_lazy("It was counted back"),
}
"""Why a charge is refused."""


def reason_word(code: str) -> str:
    """A reason in words; a code that is none of ours as it stands."""
    for words in (CANCEL, DECLINE, TURN_AWAY, CHARGE):
        if code in words:
            return str(words[code])
    return code


def status_word(status: str) -> str:
    """A loan's status within a sentence."""
    return str(LoanStatus(status).label).lower()


def step_word(status: str) -> str:
    """What is to be done so that a loan comes to this status, as the list says it."""
    words = {
        S.CONFIRMED: _("Supplier confirms"),
        S.ARRIVED: _("Arrives"),
        S.CHECKED: _("Check"),
        S.PROCESSED: _("Make sterile"),
        S.IN_USE: _("Use"),
        S.DECONTAMINATED: _("Decontaminate"),
        S.COUNTED_OUT: _("Count out"),
        S.RETURNED: _("Send home"),
        S.CLOSED: _("Settle charges and close"),
    }
    return words[S(status)]


def working_time(minutes: int) -> str:
    """A length of working time in words: "25 min", "6 h", "6 h 30 min"."""
    hours, rest = divmod(abs(minutes), 60)
    if not hours:
        return _("%(n)s min") % {"n": rest}
    if not rest or timedelta(minutes=abs(minutes)) >= timedelta(hours=10):
        return _("%(n)s h") % {"n": hours}
    return _("%(h)s h %(m)s min") % {"h": hours, "m": rest}


def contents_word(sets: int, units: int) -> str:
    """How many sets and sealed units a loan has."""
    said = []
    if sets:
        said.append(ngettext("%(n)s set", "%(n)s sets", sets) % {"n": sets})
    if units:
        said.append(ngettext("%(n)s sealed unit", "%(n)s sealed units", units) % {"n": units})
    return ", ".join(said) or _("nothing")
