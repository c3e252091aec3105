"""The short reasons of steps, in words."""

from django.utils.translation import gettext_lazy as _

BACK = {
    "wet": _("Wet pack"),
    "dropped": _("Dropped"),
    "torn": _("Wrap or seal torn"),
    "expired": _("Out of date"),
    "dirty": _("Dirty at inspection"),
    "failed-wash": _("Its wash failed"),
    "damaged": _("Damaged"),
    "not-used-in-time": _("For use at once, and not used"),
}
"""Why a pack goes back to the start (`receiving.REASONS_BACK`)."""
QUARANTINE = {
    "seal": _("Seal or wrap in doubt"),
    "indicator": _("Indicator has not changed"),
    "label": _("Label wrong or unreadable"),
    "content": _("Content in doubt"),
    "inquiry": _("Under inquiry"),
}
OUT = {
    "repair": _("To repair"),
    "lent": _("Lent out"),
    "lost": _("Lost"),
    "condemned": _("Condemned for good"),
}
_OTHERS = {
    "urgent": _("urgent"),
    "unopened": _("returned unopened"),
    "opened-again": _("list opened again"),
    "taken-out": _("taken out of the run"),
    "lifted": _("quarantine lifted"),
    "load-failed": _("its load failed"),
    "recall": _("recalled"),
    "loan-arrived": _("came on loan, to be checked"),
    "loan-refused": _("came on loan and was refused"),
    "loan-accepted": _("came on loan and was accepted"),
    "loan-returned": _("went home"),
    "indicator-outstanding": _("its biological indicator is not known yet"),
}


def reason_word(code: str) -> str:
    """A step's reason in words; a code that is not one of ours as it stands."""
    for words in (BACK, QUARANTINE, OUT, _OTHERS):
        if code in words:
            return str(words[code])
    return code
