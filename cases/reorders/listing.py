"""The reorder list as it goes on paper: what is to be ordered now, from whom, of which kind, and why."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from cases.reorders.alerts import AlertRow, alerts
from cases.reorders.expiry import Expiring, How, expiring_at
from cases.reorders.queries_asides import asides_at
from cases.reorders.reasons import day_word, figure
from cases.reorders.uses import UseLine, used_not_ordered
from trays.catalogue.models import Component, PackLevel, Side
from trays.catalogue.words import side_word
from trays.orders.models import OrderKind
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.web.wording import sitetime


@dataclass(frozen=True, slots=True)
class ListLine:
    """One line: `shelf` usable, `due` on order, `level` wanted; for a bill these are left empty.

    `order` pieces; of a bill without replacement `order` is paid and nothing is sent.
    """

    number: int
    name: str
    size: str
    side: str
    reason: str
    gtin: str
    kind: str
    shelf: int | None
    due: int | None
    level: int | None
    order: int
    extra: str


@dataclass(frozen=True, slots=True)
class ListSupplier:
    """The lines of one supplier."""

    name: str
    lines: tuple[ListLine, ...]


@dataclass(frozen=True, slots=True)
class ReorderList:
    """The whole list of a site at a moment; `number` is that of its day, since it is kept nowhere."""

    number: str
    site: str
    made: str
    first: str
    suppliers: tuple[ListSupplier, ...]
    language: str

    @property
    def lines(self) -> int:
        return sum(len(one.lines) for one in self.suppliers)


@dataclass(frozen=True, slots=True)
class _Draft:
    component: Component
    kind: str
    reason: str
    order: int
    extra: str = ""
    shelf: int | None = None
    due: int | None = None
    level: int | None = None


def reorder_list(*, site: Site, at: datetime) -> ReorderList:
    """What is to be ordered at a site, by supplier: alerts that stand, uses without a bill, exchanges."""
    day = site_day(site, at)
    asides = asides_at(site=site)
    found = alerts(site=site, at=at)
    rows = [
        row
        for row in found.rows
        if row.component.pk not in asides or asides[row.component.pk].digest != row.digest
    ]
    drafts = [_of_alert(row) for row in rows]
    drafts += [_of_use(line) for line in used_not_ordered(site=site)]
    drafts += [
        _of_exchange(one)
        for one in expiring_at(site=site, at=at)
        if any(offer.how is How.EXCHANGE for offer in one.offers)
    ]
    return ReorderList(
        number=f"R{day:%y%m%d}",
        site=site.name,
        made=sitetime(at, "full"),
        first=day_word(rows[0].order_by, day) if rows else "–",
        suppliers=_by_supplier(drafts),
        language=get_language() or "en",
    )


def _of_alert(row: AlertRow) -> _Draft:
    wanted = row.expected_booked + row.expected_unbooked
    reason = (
        _("%(count)s expected to be used by %(day)s")
        % {"count": figure(wanted), "day": sitetime(row.until, "day")}
        if wanted >= 0.05
        else _("below level")
    )
    extra = ""
    if row.multiple > 1 and row.suggested % row.multiple == 0:
        extra = _("%(boxes)s × %(multiple)s") % {
            "boxes": row.suggested // row.multiple,
            "multiple": row.multiple,
        }
    return _Draft(
        row.component, OrderKind.STOCK, reason, row.suggested, extra, row.usable, row.on_order, row.wanted
    )


def _of_use(line: UseLine) -> _Draft:
    lot = line.brought.serial or line.brought.lot
    reason = _("%(fate)s %(day)s, lot %(lot)s") % {
        "fate": line.brought.get_fate_display().lower(),
        "day": sitetime(line.day, "date"),
        "lot": lot or "–",
    }
    extra = _("pay 1, send 1") if line.replaces else _("pay 1, send 0")
    return _Draft(line.component, line.kind, reason, 1, extra)


def _of_exchange(one: Expiring) -> _Draft:
    reason = _("lot %(lot)s, usable until %(day)s") % {
        "lot": one.unit.serial or one.unit.lot,
        "day": sitetime(one.unit.expires, "date") if one.unit.expires else "–",
    }
    return _Draft(one.unit.component, OrderKind.EXCHANGE, reason, one.unit.component.order_multiple)


def _by_supplier(drafts: Iterable[_Draft]) -> tuple[ListSupplier, ...]:
    kept = list(drafts)
    gtins = dict(
        PackLevel.objects.filter(quantity=1, component__in={one.component.pk for one in kept})
        .order_by("-pk")
        .values_list("component_id", "code")
    )
    groups: dict[str, list[_Draft]] = defaultdict(list)
    for one in kept:
        groups[one.component.supplier.name].append(one)
    number, found = 0, []
    for name in sorted(groups):
        lines = []
        for one in groups[name]:
            number += 1
            lines.append(_line(number, one, gtins.get(one.component.pk, "")))
        found.append(ListSupplier(name, tuple(lines)))
    return tuple(found)


def _line(number: int, one: _Draft, gtin: str) -> ListLine:
    component = one.component
    size = " × ".join(part for part in (component.size, component.second) if part)
    return ListLine(
        number=number,
        name=component.family.name if component.size else component.name,
        size=size,
        side="" if component.side == Side.NONE else side_word(component.side),
        reason=one.reason,
        gtin=gtin,
        kind=str(OrderKind(one.kind).label).lower(),
        shelf=one.shelf,
        due=one.due,
        level=one.level,
        order=one.order,
        extra=one.extra,
    )
