"""Words of the count: marks of packs, reasons, what is wrong with a template."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

MARKS: Mapping[str, str | Promise] = {
    "not_released": gettext_lazy("not released"),
    "out_of_date": gettext_lazy("out of date"),
    "not_for_this_case": gettext_lazy("not for this case"),
    "lacks_critical": gettext_lazy("lacks a critical instrument"),
    "elsewhere": gettext_lazy("on record at another site"),
    "indicator_not_seen": gettext_lazy("indicator not seen"),
    "indicator_failed": gettext_lazy("indicator not changed"),
    "not_in_round": gettext_lazy("on record as out of use"),
    "no_lines": gettext_lazy("no contents list on record"),
}
"""What was not as it should be with a pack that was opened all the same."""

OPENED_REASONS: Mapping[str, str | Promise] = {
    "opened_before_scan": gettext_lazy("It was open before it was scanned"),
    "nothing_else": gettext_lazy("Nothing else could be had in time"),
    "emergency": gettext_lazy("Emergency"),
    "record_is_wrong": gettext_lazy("The record is wrong: the label on the pack says otherwise"),
    "other": gettext_lazy("Another reason, as written"),
}
"""Why a pack was opened although the record spoke against it."""

CORRECTIONS: Mapping[str, str | Promise] = {
    "slip": gettext_lazy("Pressed by mistake"),
    "not_opened": gettext_lazy("Not opened after all"),
    "wrong_line": gettext_lazy("Belongs to another line"),
    "taken_out": gettext_lazy("Taken out whole, not used"),
}
"""Why an addition is taken back."""

_FAULTS: Mapping[str, str | Promise] = {
    "first-stage": gettext_lazy("The first stage, and only that, is a first count."),
    "final-stage": gettext_lazy("There is exactly one final count."),
    "no-classes": gettext_lazy("No class is counted."),
    "stage-kind": gettext_lazy("What the stage is for is not known."),
    "stage-kind-twice": gettext_lazy("Hand-over and extra counts are described once each."),
    "stage-nameless": gettext_lazy("The stage needs a number or letter, and a word."),
    "two-signers": gettext_lazy("Two different people at least sign a stage."),
    "signer-unknown": gettext_lazy("Scrub, circulating and surgeon can sign; nobody else."),
    "class-unknown": gettext_lazy("There is no such class."),
    "class-twice": gettext_lazy("A class stands once."),
    "class-nameless": gettext_lazy("The class needs a word."),
    "stage-unknown": gettext_lazy("The class names a stage that is not there."),
    "key-out-of-range": gettext_lazy("A key adds 1 to 100."),
    "step-unknown": gettext_lazy("The step needs words, a kind, and when it is needed."),
}


def mark_words(marks: list[str]) -> tuple[str, ...]:
    """The words of a pack's marks."""
    return tuple(str(MARKS.get(mark, mark)) for mark in marks)


def fault_words(part: str, number: int, code: str) -> str:
    """One fault of a template, with where it stands."""
    where = {
        "stage": _("Stage %(n)s: ") % {"n": number},
        "class": _("Class %(n)s: ") % {"n": number},
        "step": _("Step %(n)s: ") % {"n": number},
    }.get(part, "")
    return f"{where}{_FAULTS.get(code, code)}"
