"""What the pages of loans come to, in sentences."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.loans.deadlines import Lateness
from trays.loans.queries import Standing
from trays.loans.ways import LoanStatus
from trays.loans.words import reason_word, status_word, step_word, working_time
from trays.web.wording import sitetime


def list_says(rows: Sequence[Standing]) -> str:
    """How many loans are open, what is late, and what is first."""
    if not rows:
        return _("No loan is open.")
    said = [ngettext("%(n)s loan is open.", "%(n)s loans are open.", len(rows)) % {"n": len(rows)}]
    late = sum(1 for one in rows if one.late)
    soon = sum(1 for one in rows if one.next and one.lateness is Lateness.SOON)
    if late:
        said.append(ngettext("%(n)s is late.", "%(n)s are late.", late) % {"n": late})
    if soon:
        said.append(ngettext("%(n)s is due soon.", "%(n)s are due soon.", soon) % {"n": soon})
    if not late and not soon:
        said.append(_("None is late."))
    first = next((one for one in rows if one.next), None)
    if first and first.next:
        said.append(
            _("First: %(loan)s, %(step)s by %(time)s.")
            % {
                "loan": first.loan.number,
                "step": step_word(first.next.status).lower(),
                "time": sitetime(first.next.by),
            }
        )
    return " ".join(said)


def standing_says(one: Standing) -> str:
    """Where a loan stands, and how its next deadline does."""
    status = status_word(one.status).capitalize()
    if one.loan.end_reason:
        status = f"{status}: {reason_word(one.loan.end_reason).lower()}"
    if one.next is None:
        return f"{status}."
    step = {"step": step_word(one.next.status).lower(), "time": sitetime(one.next.by)}
    return f"{status}. {_('Next: %(step)s, by %(time)s.') % step} {left_says(one)}"


def left_says(one: Standing) -> str:
    """How much working time is left to the next deadline, or by how much it is late."""
    if one.next is None:
        return ""
    length = working_time(one.left)
    if not one.late:
        return _("%(time)s of working time left.") % {"time": length}
    if one.status == LoanStatus.CONFIRMED and one.loan.arrives_at and one.loan.arrives_at > one.next.by:
        return _("Promised for %(moment)s: %(time)s of working time too late.") % {
            "moment": sitetime(one.loan.arrives_at),
            "time": length,
        }
    return _("Late by %(time)s of working time.") % {"time": length}


def lateness_word(one: Standing) -> str:
    """One word for the list."""
    return {
        Lateness.LATE: _("late"),
        Lateness.SOON: _("due soon"),
        Lateness.IN_TIME: "",
    }[one.lateness]


def count_waits(one: Standing, *, countable: bool) -> str:
    """What a count out waits for; "" where it may be done."""
    if countable:
        return ""
    if one.status == LoanStatus.IN_USE:
        return _("Waits until what was used is clean.")
    if one.status == LoanStatus.ARRIVED:
        return _("Waits until everything that came is checked.")
    return _("Not possible: the loan is %(state)s.") % {"state": status_word(one.status)}
