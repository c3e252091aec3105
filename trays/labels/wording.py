"""Words that several labels share."""

from datetime import date

from django.utils.dateformat import format as date_words


def day_words(day: date | None) -> str:
    """ "24 Nov 2027": a day on a label is always words; "" for none."""
    return date_words(day, "j M Y") if day else ""
