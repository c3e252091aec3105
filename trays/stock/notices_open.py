"""Open safety notices, as every receipt asks for them, and every plan for what lies in piles."""

from collections.abc import Collection
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.staff.models import Person
from trays.stock.models import Pile, Unit
from trays.stock.models_notices import NoticeLot, NoticeOutcome, NoticeUnit, SafetyNotice
from trays.web.errors import Refusal


def naming(*, component_id: int, lot: str) -> list[SafetyNotice]:
    """The open notices that name this lot of the item, or all its lots (one query)."""
    rows = NoticeLot.objects.filter(
        component_id=component_id, lot__in={"", lot}, notice__closed_at__isnull=True
    )
    return list({row.notice_id: row.notice for row in rows.select_related("notice")}.values())


def refuse_pieces(*, component: Component, lot: str) -> None:
    """Pieces cannot be set apart one by one: of a lot that is named none come in.

    Raises Refusal "lot-recalled".
    """
    if naming(component_id=component.pk, lot=lot):
        raise Refusal(
            "lot-recalled",
            _("A safety notice names lot %(lot)s of %(what)s.") % {"lot": lot, "what": component},
            _("Do not put it with the others: set it aside and tell the supplier."),
        )


def unnamed(piles: QuerySet[Pile]) -> QuerySet[Pile]:
    """Those of the piles that no open notice names."""
    return piles.filter(~_named(notice__closed_at__isnull=True))


def piles_named(notice: SafetyNotice) -> QuerySet[Pile]:
    """The piles of a notice's lots with something in them, at every site."""
    rows = Pile.objects.filter(_named(notice=notice), quantity__gt=0)
    return rows.select_related("component", "site", "place").order_by("site__name", "place__walk", "pk")


def _named(**which: Any) -> Exists:
    """Whether one of these notices names the row's lot, or all lots of its item."""
    lot = Q(lot="") | Q(lot=OuterRef("lot"))
    return Exists(NoticeLot.objects.filter(lot, component=OuterRef("component"), **which))


def add_arrived(notice: SafetyNotice, units: Collection[Unit], *, by: Person, at: datetime) -> None:
    """Put units that came in quarantine onto a notice's list: they are in hand already."""
    for unit in units:
        NoticeUnit.objects.update_or_create(
            notice=notice,
            unit=unit,
            defaults={"outcome": NoticeOutcome.SECURED, "outcome_at": at, "outcome_by": by},
            create_defaults={
                "state_then": unit.state,
                "site_then_id": unit.site_id,
                "outcome": NoticeOutcome.SECURED,
                "outcome_at": at,
                "outcome_by": by,
            },
        )
