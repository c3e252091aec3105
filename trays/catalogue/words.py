"""Sizes and sides in words: said the same on every page and paper."""

from typing import Protocol

from django.utils.translation import gettext as _

from trays.catalogue.models import Component


class Sized(Protocol):
    """Whatever has a size, and a second measure or ""."""

    @property
    def size(self) -> str: ...
    @property
    def second(self) -> str: ...


def size_words(one: Sized) -> str:
    """The size as people say it; with its second measure, "4 × 8"."""
    return f"{one.size} × {one.second}" if one.second else one.size


def side_word(side: str) -> str:
    """The side as a word that stands out; "" where there is none."""
    return {"left": _("LEFT"), "right": _("RIGHT")}.get(side, "")


def side_in_text(side: str) -> str:
    """The side as a word within a sentence; "" where there is none."""
    return {"left": _("left"), "right": _("right")}.get(side, "")


def size_and_side(component: Component) -> str:
    """Size, second measure and side as people say it: "5 × 14 LEFT"; the name without a size."""
    if not component.size:
        return component.name
    return " ".join(word for word in (size_words(component), side_word(component.side)) if word)
