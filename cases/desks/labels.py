"""Labels of what the intent brings: cases, pick lists, count sheets. No patient is named on any of them."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from cases.bookings.models import Case
from cases.counts.models import CountSheet
from cases.picks.models import PickList
from cases.picks.papers import case_code, sheet_code
from trays.labels.kinds import Fact, LabelKind, PlainLabel, Refused
from trays.labels.sources import Made, Source, refusing, register
from trays.labels.wording import day_words

_CASE = ("case__site__party", "case__list__theatre", "case__procedure")


def open_cases() -> QuerySet[Case]:
    """Cases that are booked, in the order of their lists."""
    rows = Case.objects.filter(status=Case.Status.BOOKED)
    return rows.select_related("site__party", "list__theatre", "procedure").order_by(
        "list__day", "list__theatre", "position"
    )


def pick_lists() -> QuerySet[PickList]:
    """Pick lists in force, the newest first."""
    return PickList.objects.filter(replaced_at=None).select_related(*_CASE).order_by("-pk")


def count_sheets() -> QuerySet[CountSheet]:
    """Count sheets in force, the newest first."""
    rows = CountSheet.objects.filter(replaced_at=None)
    return rows.select_related(*_CASE, "pack__set__version__design").order_by("-pk")


def case_labels(rows: QuerySet[Case]) -> Made:
    """Labels of cases: reference, day, theatre, operation. One query."""
    return tuple(
        _label(
            row.pk,
            LabelKind.CASE,
            row,
            code=case_code(row.site, row.pk),
            head=_("case"),
            number=row.reference,
            name=row.procedure.name,
        )
        for row in rows
    )


def pick_list_labels(rows: QuerySet[PickList]) -> Made:
    """Labels of pick lists, for the trolley that is filled by them. One query."""
    return tuple(
        _label(
            row.pk,
            LabelKind.PICK_LIST,
            row.case,
            code=sheet_code(row.case.site, row.number),
            head=_("pick list"),
            number=row.number,
            name=row.case.procedure.name,
            of_case=True,
        )
        for row in rows
    )


def count_sheet_labels(rows: QuerySet[CountSheet]) -> Made:
    """Labels of count sheets. One query."""
    return tuple(
        _label(
            row.pk,
            LabelKind.COUNT_SHEET,
            row.case,
            code=sheet_code(row.case.site, row.number),
            head=_("count sheet"),
            number=row.number,
            name=row.pack.set.version.design.name if row.pack else str(row.get_kind_display()),
            of_case=True,
        )
        for row in rows
    )


def _label(
    pk: int,
    kind: LabelKind,
    case: Case,
    *,
    code: str,
    head: str,
    number: str,
    name: str,
    of_case: bool = False,
) -> PlainLabel | Refused:
    if not code:
        return refusing(pk, f"{number}, {name}")(_("The site has no location number on file."))
    starts = case.starts_at.astimezone(ZoneInfo(case.site.zone))
    facts = (
        Fact(_("case"), case.reference if of_case else ""),
        Fact("", day_words(case.list.day)),
        Fact(_("about"), f"{starts:%H:%M}"),
        Fact("", case.list.theatre.name, name=True),
    )
    return PlainLabel(pk, number, code, kind, head, number, name, facts)


_CAUTION = gettext_lazy(
    "It names the paper or the case, never a thing, and no patient. Compare before it is stuck on."
)

register(
    Source(
        kind=LabelKind.CASE,
        words=gettext_lazy("Cases"),
        act="make_pick_list",
        subject="case",
        site="site",
        rows=open_cases,
        labels=case_labels,
        caution=_CAUTION,
    )
)
register(
    Source(
        kind=LabelKind.PICK_LIST,
        words=gettext_lazy("Pick lists"),
        act="make_pick_list",
        subject="pick_list",
        site="case__site",
        rows=pick_lists,
        labels=pick_list_labels,
        caution=_CAUTION,
    )
)
register(
    Source(
        kind=LabelKind.COUNT_SHEET,
        words=gettext_lazy("Count sheets"),
        act="make_pick_list",
        subject="count_sheet",
        site="case__site",
        rows=count_sheets,
        labels=count_sheet_labels,
        caution=_CAUTION,
    )
)
