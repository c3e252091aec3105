"""Filters for the pages of the theatre."""

from django import template

from cases.counts.said import mark_words

register = template.Library()


@register.filter
def marks(codes: list[str]) -> str:
    """What was not as it should be with a pack, in words."""
    return ", ".join(mark_words(codes))
