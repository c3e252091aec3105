"""An alert in sentences."""

import math
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.reorders.alerts import AlertRow, Alerts, Because, Reason
from trays.web.wording import in_hundred, sitetime

# References named beside an alert; the others are counted.
NAMED = 4


def count_word(count: int) -> str:
    """Numbers up to twelve as words, larger ones in figures: for sentences."""
    words = (
        _("none"), _("one"), _("two"), _("three"), _("four"), _("five"), _("six"),
        _("seven"), _("eight"), _("nine"), _("ten"), _("eleven"), _("twelve"),
    )  # fmt: skip
    return words[count] if 0 <= count < len(words) else str(count)


def capital(sentence: str) -> str:
    return sentence[:1].upper() + sentence[1:]


def reason(row: AlertRow) -> str:
    """Why: "Three booked cases may take it by Thu 10 Dec; 1 usable, wanted 3. It may run out …"."""
    asked = "; ".join(part for part in (_asked(row), _stands(row)) if part)
    more = [
        _coming(row), _because(row), _runs_out(row), _held(row), _stale(row), _least(row), _no_forecast(row),
    ]  # fmt: skip
    return " ".join([f"{capital(asked)}.", *(sentence for sentence in more if sentence)])


def _asked(row: AlertRow) -> str:
    cases = len(row.case_ids)
    if not cases:
        if row.expected_unbooked <= 0:
            return ""
        return _("no booked case asks for it, but unbooked work takes %(mean)s by %(day)s") % {
            "mean": figure(row.expected_unbooked),
            "day": _day(row.until),
        }
    values = {"count": count_word(cases), "day": _day(row.until), "mean": figure(row.expected_booked)}
    if row.pieces:
        words = ngettext(
            "%(count)s booked case takes %(mean)s by %(day)s",
            "%(count)s booked cases take %(mean)s by %(day)s",
            cases,
        )
    else:
        words = ngettext(
            "%(count)s booked case may take it by %(day)s",
            "%(count)s booked cases may take it by %(day)s",
            cases,
        )
    asked = words % values
    if row.expected_unbooked >= 0.05:
        asked += _(", and unbooked work %(mean)s") % {"mean": figure(row.expected_unbooked)}
    return asked


def _stands(row: AlertRow) -> str:
    if row.usable == 0:
        return _("none usable, wanted %(wanted)s") % {"wanted": row.wanted}
    return _("%(usable)s usable, wanted %(wanted)s") % {"usable": row.usable, "wanted": row.wanted}


def _coming(row: AlertRow) -> str:
    """What is on its way, and when: of a draft that it is not sent yet."""
    if not row.coming:
        return ""
    first = row.coming[0]
    words = {"count": row.on_order, "day": _day(first.due), "number": first.number}
    if not all(one.promised for one in row.coming):
        sentence = ngettext(
            "%(count)s is on order, not all of it sent yet (%(number)s).",
            "%(count)s are on order, not all of them sent yet (%(number)s).",
            row.on_order,
        )
    else:
        sentence = ngettext(
            "%(count)s is on order, due %(day)s (%(number)s).",
            "%(count)s are on order, the first due %(day)s (%(number)s).",
            row.on_order,
        )
    return sentence % words


def _because(row: AlertRow) -> str:
    """What asks for it: the cases' target, or a chance of the item's own."""
    why = row.why
    if why.because is Because.CASES:
        return _cases_miss(why)
    if why.because is Because.UNBOOKED:
        return _("Without more, a case that is not booked yet would be short too often.")
    if why.because is Because.COST:
        return _("By what a shortage and one too many cost, it is to last in %(wanted)s of 100 times.") % {
            "wanted": in_hundred(why.wanted)
        }
    if why.because is Because.CHANCE:
        return _("It is to last until the delivery in %(wanted)s of 100 times.") % {
            "wanted": in_hundred(why.wanted)
        }
    return ""


def _cases_miss(why: Reason) -> str:
    words = {
        "case": why.reference,
        "short": in_hundred_at_most(why.short),
        "allowed": in_hundred_at_most(why.allowed),
        "others": count_word(why.cases - 1),
    }
    if why.cases == 1:
        return (
            _("Without more, %(case)s is short in up to %(short)s of 100, where %(allowed)s is allowed.")
            % words
        )
    return (
        ngettext(
            "Without more, %(case)s is short in up to %(short)s of 100, where %(allowed)s is allowed, "
            "and so is %(others)s other case too often.",
            "Without more, %(case)s is short in up to %(short)s of 100, where %(allowed)s is allowed, "
            "and so are %(others)s other cases too often.",
            why.cases - 1,
        )
        % words
    )


def in_hundred_at_most(chance: float) -> str:
    """A chance of being short in hundredths, rounded up so that it is never understated; "<1" below one."""
    hundredths = chance * 100.0
    if 0.0 < hundredths < 1.0 - 1e-9:
        return "<1"
    return str(min(100, math.ceil(hundredths - 1e-9)))


def _runs_out(row: AlertRow) -> str:
    if row.short_on is None:
        return ""
    if row.on_its_way:
        return _("It may run out on %(day)s, before enough of it is here.") % {"day": _day(row.short_on)}
    if row.late:
        return _("It may run out on %(day)s; an order today comes on %(arrives)s, too late for that.") % {
            "day": _day(row.short_on),
            "arrives": _day(row.arrives),
        }
    return _("It may run out on %(day)s.") % {"day": _day(row.short_on)}


def _held(row: AlertRow) -> str:
    sentences = []
    if row.held:
        sentences.append(
            ngettext(
                "%(count)s of the usable is held for its case.",
                "%(count)s of the usable are held for their cases.",
                row.held,
            )
            % {"count": capital(count_word(row.held))}
        )
    if row.kept:
        sentences.append(
            ngettext(
                "%(count)s more is held for later or other cases.",
                "%(count)s more are held for later or other cases.",
                row.kept,
            )
            % {"count": capital(count_word(row.kept))}
        )
    return " ".join(sentences)


def _stale(row: AlertRow) -> str:
    if not row.short_dated:
        return ""
    return ngettext(
        "%(count)s is out of date by then.", "%(count)s are out of date by then.", row.short_dated
    ) % {"count": capital(count_word(row.short_dated))}


def _least(row: AlertRow) -> str:
    return _("The site keeps at least %(least)s.") % {"least": row.least} if row.least else ""


def _no_forecast(row: AlertRow) -> str:
    return "" if row.forecast else _("No forecast: only bookings count.")


def references(row: AlertRow) -> str:
    """The local references of the cases, the first few by name."""
    named = ", ".join(row.references[:NAMED])
    more = len(row.references) - NAMED
    return _("%(named)s and %(count)s more") % {"named": named, "count": more} if more > 0 else named


def act(row: AlertRow) -> str:
    """The next act: "Order 3", "Order 1 box of 10", "On its way"."""
    if row.on_its_way:
        return _("On its way")
    if row.multiple > 1 and row.suggested % row.multiple == 0:
        boxes = row.suggested // row.multiple
        return ngettext(
            "Order %(boxes)s box of %(multiple)s", "Order %(boxes)s boxes of %(multiple)s", boxes
        ) % {"boxes": boxes, "multiple": row.multiple}
    return _("Order %(count)s") % {"count": row.suggested}


def summary(found: Alerts) -> str:
    """The sentence under the title."""
    if not found.rows:
        return ngettext(
            "Nothing is below what the coming cases ask for; %(count)s item was looked at.",
            "Nothing is below what the coming cases ask for; %(count)s items were looked at.",
            found.looked_at,
        ) % {"count": found.looked_at} + (f" {on_way(found)}" if found.on_way else "")
    total = len(found.rows)
    sentence = ngettext(
        "%(count)s item is below what the coming cases ask for.",
        "%(count)s items are below what the coming cases ask for.",
        total,
    ) % {"count": total}
    today = sum(1 for row in found.rows if row.order_by == found.rows[0].order_by)
    first = ngettext("%(count)s must be ordered %(day)s.", "%(count)s must be ordered %(day)s.", today) % {
        "count": capital(count_word(today)),
        "day": day_word(found.rows[0].order_by, found.day),
    }
    late = sum(1 for row in found.rows if row.late)
    tail = (
        ngettext(
            "For %(count)s no order comes in time: move, borrow or change the list.",
            "For %(count)s no order comes in time: move, borrow or change the list.",
            late,
        )
        % {"count": count_word(late)}
        if late
        else ""
    )
    return " ".join(part for part in (sentence, first, tail, on_way(found)) if part)


def on_way(found: Alerts) -> str:
    """What needs no order any more: "Two need nothing: they are on their way." """
    count = len(found.on_way)
    if not count:
        return ""
    return ngettext(
        "%(count)s needs nothing: it is on its way.", "%(count)s need nothing: they are on their way.", count
    ) % {"count": capital(count_word(count))}


def figure(mean: float) -> str:
    """An expected number: whole ones bare, others with one decimal."""
    return f"{mean:.0f}" if abs(mean - round(mean)) < 0.05 else f"{mean:.1f}"


def day_word(day: date, today: date) -> str:
    """A deadline: "today" for the day itself."""
    return _("today") if day == today else _("by %(day)s") % {"day": _day(day)}


def _day(day: date) -> str:
    return sitetime(day, "day")
