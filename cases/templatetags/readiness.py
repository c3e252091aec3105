"""Filters for verdicts: words and figures of a level, sides as words."""

from collections.abc import Sequence

from django import template
from django.utils.translation import gettext as _

from cases.readiness import figures
from trays.catalogue.words import side_in_text
from trays.web import wording

register = template.Library()

register.filter("figures", figures.figures)
register.filter("short_figures", figures.short_figures)
register.filter("verdict_word", wording.verdict_word)


@register.filter
def side_words(sides: Sequence[str]) -> str:
    """ ", right", ", both sides" or "" after the name of an operation."""
    kept = [side for side in sides if side in ("left", "right")]
    if len(kept) > 1:
        return ", " + _("both sides")
    return f", {side_in_text(kept[0])}" if kept else ""
