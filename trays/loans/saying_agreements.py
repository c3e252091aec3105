"""What the pages of agreements come to, in sentences."""

from collections.abc import Sequence
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.loans.models_agreements import Agreement
from trays.loans.queries_agreements import AgainstAgreement, CountDue
from trays.web.wording import sitetime


def agreements_say(due: Sequence[CountDue], lines: Sequence[AgainstAgreement]) -> str:
    """How many agreements are in force, what is short, which count is first."""
    if not due:
        return _("No agreement is in force at this site.")
    said = [
        ngettext("%(n)s agreement is in force.", "%(n)s agreements are in force.", len(due)) % {"n": len(due)}
    ]
    said.append(_stock_says(lines))
    first = due[0]
    when = {"code": first.agreement.code, "day": sitetime(first.due, "day")}
    said.append(
        _("The count of %(code)s was due on %(day)s.") % when
        if first.late
        else _("The next count is that of %(code)s, due by %(day)s.") % when
    )
    return " ".join(said)


def agreement_says(row: Agreement, due: CountDue | None, lines: Sequence[AgainstAgreement], day: date) -> str:
    """Where one agreement stands."""
    if due is None:
        if row.valid_from > day:
            return _("It begins on %(day)s.") % {"day": sitetime(row.valid_from, "date")}
        return _("It has ended.")
    when = {"day": sitetime(due.due, "day")}
    counted = _("Its count was due on %(day)s.") % when if due.late else _("Next count by %(day)s.") % when
    return f"{_stock_says(lines)} {counted}"


def _stock_says(lines: Sequence[AgainstAgreement]) -> str:
    short = sum(1 for one in lines if one.missing)
    exchange = sum(one.to_exchange for one in lines)
    said = [
        ngettext("%(n)s item is short.", "%(n)s items are short.", short) % {"n": short}
        if short
        else _("Every item is there as agreed.")
    ]
    if exchange:
        said.append(
            ngettext("%(n)s unit is to be exchanged.", "%(n)s units are to be exchanged.", exchange)
            % {"n": exchange}
        )
    return " ".join(said)
