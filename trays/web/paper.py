"""What all printed sheets share: their own few words, and the refusal of what does not fit."""

from collections.abc import Callable

from django.utils.translation import gettext as _

from trays.symbols import lettering
from trays.symbols.a4 import Words
from trays.symbols.pages import TooTall
from trays.symbols.payload import PayloadRefused
from trays.web.errors import Refusal


def printed(draw: Callable[[], bytes]) -> bytes:
    """What ``draw`` makes, or in words why no paper comes: never a sheet with half a number on it."""
    try:
        return draw()
    except (lettering.DoesNotFit, PayloadRefused, TooTall) as why:
        raise Refusal(
            "not-printed",
            _("The sheet was not printed: %(why)s") % {"why": why},
            _("Shorten it where it was entered, then print again."),
        ) from why


def words(*, sheet: str = "", sticker: str = "") -> Words:
    """A sheet's own words in the reader's language; `sheet` is its foot with {number} and {printed}."""
    return Words(
        page_of=_("page {page} of {pages}"),
        of=_("{page} of {pages}"),
        lines=_("lines {first} to {last} of {total}"),
        one_line=_("line {first} of {total}"),
        all_lines=_("{total} lines"),
        sheet=sheet or _("Sheet {number} · printed {printed}"),
        sticker=sticker or _("patient’s sticker here"),
    )
