"""What can be labelled: labels ready to print, or why not; with a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.db.models import Q, QuerySet

# Each registers the kinds of labels that it makes.
from trays.labels import packs, plain, shelves, units  # noqa: F401
from trays.labels.kinds import LabelKind
from trays.labels.models import LabelPaper, LabelRun
from trays.labels.sources import Group, Made, Source, source_of, sources
from trays.staff.access import sites_for
from trays.staff.models import Person
from trays.symbols.labelstock import COMMON, LabelStock


def kinds_for(by: Person) -> tuple[Source, ...]:
    """The kinds that the person may print somewhere."""
    allowed = {act: sites_for(by=by, act=act).exists() for act in {source.act for source in sources()}}
    return tuple(source for source in sources() if allowed[source.act])


def groups(kind: LabelKind, *, site_ids: Iterable[int]) -> tuple[Group, ...]:
    """What the rows of a kind can be narrowed to, in order. At most one query."""
    source = source_of(kind)
    return source.groups(source.at_sites(site_ids)) if source.groups else ()


def labels_of(kind: LabelKind, *, site_ids: Iterable[int], ids: Iterable[int] | None = None) -> Made:
    """Labels of a kind, or the reason why a row gets none; `ids` narrows them. At most five queries."""
    source = source_of(kind)
    return source.labels(source.at_sites(site_ids, ids))


def sites_of(kind: LabelKind, ids: Iterable[int]) -> set[int]:
    """The sites of the rows with these keys. One query."""
    source = source_of(kind)
    rows = source.rows().order_by().filter(pk__in=list(ids))
    return {pk for pk in rows.values_list(source.site, flat=True) if pk is not None}


def own_stocks(site_id: int) -> dict[str, LabelStock]:
    """The stocks that a site has added, or set for its printers, by code. One query."""
    return {row.code: row.as_stock() for row in LabelPaper.objects.filter(site_id=site_id)}


def stocks_at(site_id: int) -> Mapping[str, LabelStock]:
    """Every stock that labels can be printed on there, by code: the common ones first."""
    return {**COMMON, **own_stocks(site_id)}


def runs_for(by: Person) -> QuerySet[LabelRun]:
    """The runs that the person may see: their own; the system's keeper sees all."""
    rows = LabelRun.objects.select_related("site", "by").order_by("-pk")
    return rows if by.is_superuser else rows.filter(Q(by=by))
