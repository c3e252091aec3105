"""Filters above a list: a plain form read from the address, where nonsense means "not given"."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.http import QueryDict

# A new filter starts at the first page, and never as a file.
_NOT_KEPT = ("page", "as")


@dataclass(frozen=True, slots=True)
class FilterLink:
    """One choice of a filter: its words, its address, and whether it is the one that holds."""

    label: str
    url: str
    current: bool


class GetForm(forms.Form):
    """A form for the query of an address; fields should be ``required=False``.

    ``chosen`` holds the given values that make sense. Others are left out, so that an old or mistyped address
    shows the list rather than an error.
    """

    def __init__(self, query: QueryDict, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", "filter_%s")
        super().__init__(query, **kwargs)
        self.query = query

    @property
    def chosen(self) -> dict[str, Any]:
        self.full_clean()
        cleaned: dict[str, Any] = getattr(self, "cleaned_data", {})
        return {
            name: value
            for name, value in cleaned.items()
            if name not in self.errors and value not in (None, "", [])
        }

    def address(self, **changes: str | None) -> str:
        """This address's query with some values changed (None takes one out), beginning with "?"."""
        query = self.query.copy()
        for name in _NOT_KEPT:
            query.pop(name, None)
        for name, value in changes.items():
            if value is None or value == "":
                query.pop(name, None)
            else:
                query[name] = value
        return f"?{query.urlencode()}"

    def links(self, name: str, choices: Iterable[tuple[str | None, str]]) -> list[FilterLink]:
        """One link per choice (value, label); value None or "" is the link that takes the filter off."""
        held = str(self.chosen.get(name, ""))
        return [
            FilterLink(str(label), self.address(**{name: value}), current=(value or "") == held)
            for value, label in choices
        ]
