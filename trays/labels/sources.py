"""Where labels come from: for each kind the rows that can have one, and what they say.

The rooms of `cases/` bring their own kinds (`register`), so that this room knows nothing of cases.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.utils.functional import Promise

from trays.labels.kinds import Label, LabelKind, Refused

Words = str | Promise
Made = tuple[Label | Refused, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that are chosen together: a set's packs, a store's shelves; `code` stands in addresses."""

    code: str
    name: str
    ids: frozenset[int]


@dataclass(frozen=True, slots=True)
class Source:
    """One kind of label.

    `rows` gives what can be labelled in the order of printing, of the named sites or of all; `site` is the
    path from a row to its site. `labels` reads such rows into labels with a fixed number of queries.
    `act` is what a person must be allowed at the site, `subject` how the record names a row.
    """

    kind: LabelKind
    words: Words
    act: str
    subject: str
    site: str
    rows: Callable[[], QuerySet[Any]]
    labels: Callable[[QuerySet[Any]], Made]
    caution: Words
    groups: Callable[[QuerySet[Any]], tuple[Group, ...]] | None = None
    group_words: tuple[Words, Words] = ("", "")

    def at_sites(self, site_ids: Iterable[int], ids: Iterable[int] | None = None) -> QuerySet[Any]:
        """The rows of the sites, or those among them with these keys, in the order of printing."""
        rows = self.rows().filter(**{f"{self.site}__in": list(site_ids)})
        return rows if ids is None else rows.filter(pk__in=list(ids))


_SOURCES: dict[LabelKind, Source] = {}


def register(source: Source) -> Source:
    """Make a kind of label known; returns it."""
    _SOURCES[source.kind] = source
    return source


def sources() -> tuple[Source, ...]:
    """Every kind that is known, in the order of the kinds."""
    return tuple(_SOURCES[kind] for kind in LabelKind if kind in _SOURCES)


def source_of(kind: LabelKind) -> Source:
    """Raises KeyError for a kind that no room has brought."""
    return _SOURCES[kind]


def refusing(row_id: int, called: str) -> Callable[[str], Refused]:
    """Makes the refusals of one row."""
    return lambda why: Refused(row_id, called, why)
