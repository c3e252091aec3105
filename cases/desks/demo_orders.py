"""Orders of the demo, one at each stage: drafted, approved, sent, confirmed with fewer, part delivered and
late, a bill, one that came, one that was cancelled.

All of it goes through the services, at moments before the demo was started. It is the same each time.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.db import transaction

from trays.catalogue.models import Component
from trays.orders.deliveries import Label, delivery_begin, delivery_close, delivery_receive
from trays.orders.documents import papers_of
from trays.orders.models import Order
from trays.orders.services import (
    LineAnswer,
    OrderWish,
    limits_set,
    order_approve,
    order_cancel,
    order_confirm,
    order_draft,
    order_send,
)
from trays.parties.models import Party, Site
from trays.parties.workdays import DAY, earlier, later
from trays.places.models import Place
from trays.staff.models import Person
from trays.staff.signing import Signer, signer

SITE = "larkmere"
STORES, QUALITY = "ossett", "brackenthwaite"
MERROWFIELD, TARN = "merrowfield", "tarn-ridley"
LIMITS = {"stores": Decimal(2500), "coordinator": Decimal(5000), "quality": None}


@transaction.atomic
def orders_act(*, base_day: date, pin: str) -> None:
    """Act out what stores ordered in the days before the base day."""
    office = _office(base_day, pin)
    limits_set(by=office.stores, site=office.site, amounts=LIMITS, at=office.moment(20, 9))
    _came(office)
    _called_off(office)
    _late(office)
    _fewer(office)
    _on_its_way(office)
    _bill(office)
    _to_send(office)
    _to_approve(office)


@dataclass
class _Office:
    """Stores of the demo: who orders, who signs, the day on which it all began."""

    site: Site
    stores: Person
    signs: Signer
    base_day: date

    def moment(self, days: int, hour: int, minute: int = 0) -> datetime:
        """So many working days before the base day, by the site's clock."""
        day = earlier(self.base_day - DAY, days - 1)
        return datetime.combine(day, time(hour, minute), ZoneInfo(self.site.zone))

    def due(self, at: datetime, days: int) -> date:
        """So many working days after a moment."""
        return later(at.date(), days)

    def draft(
        self,
        supplier: str,
        wishes: Iterable[tuple[str, int]],
        at: datetime,
        kind: str = "stock",
        lot: str = "",
    ) -> Order:
        asked = dict(wishes)
        components = {one.code: one for one in Component.objects.filter(code__in=asked)}
        lines = [OrderWish(components[code], quantity, lot=lot) for code, quantity in asked.items()]
        return order_draft(
            by=self.stores, site=self.site, supplier=Party.objects.get(code=supplier), kind=kind, lines=lines,
            at=at,
        )  # fmt: skip

    def approved(self, order: Order, at: datetime) -> Order:
        return order_approve(by=self.signs, order=order, at=at)

    def sent(self, order: Order, at: datetime, way: str = "mail") -> Order:
        row = self.approved(order, at)
        papers = papers_of(row)
        return order_send(by=self.stores, order=row, way=way, papers=papers, at=at + timedelta(minutes=20))

    def confirmed(self, order: Order, at: datetime, number: str, days: int, fewer: int = 0) -> Order:
        lines = list(order.lines.order_by("number"))
        answers = [
            LineAnswer(line.pk, line.quantity - (fewer if line is lines[-1] else 0), self.due(at, days))
            for line in lines
        ]
        return order_confirm(by=self.stores, order=order, answers=answers, suppliers_number=number, at=at)

    def came(self, order: Order, pieces: Sequence[tuple[str, int]], at: datetime, note: str) -> None:
        """A delivery of consumables, from its first box to its end."""
        place = Place.objects.get(site=self.site, code="CS-A")
        delivery = delivery_begin(by=self.stores, order=order, place=place, note_number=note, at=at)
        for turn, (code, count) in enumerate(pieces, start=1):
            component = Component.objects.select_related("family").get(code=code)
            expires = self.base_day + timedelta(days=540 + 30 * turn)
            label = Label(component, f"9{order.pk:03d}{turn}", expires=expires)
            taken = at + timedelta(minutes=2 * turn)
            delivery_receive(by=self.stores, delivery=delivery, label=label, count=count, at=taken)
        delivery_close(by=self.stores, delivery=delivery, at=at + timedelta(minutes=20))


def _office(base_day: date, pin: str) -> _Office:
    stores = Person.objects.get(username=STORES)
    return _Office(
        site=Site.objects.select_related("party").get(code=SITE),
        stores=stores,
        signs=signer(person=Person.objects.get(username=QUALITY), pin=pin),
        base_day=base_day,
    )


def _came(office: _Office) -> None:
    """Ordered, confirmed, delivered whole: closed by the last box."""
    items = [("swab-10", 40), ("needle-1", 24)]
    order = office.sent(office.draft(MERROWFIELD, items, office.moment(9, 9)), office.moment(9, 10))
    office.confirmed(order, office.moment(9, 15), "M-4411", 2)
    office.came(order, items, office.moment(7, 8, 30), "DN 70118")


def _called_off(office: _Office) -> None:
    """Sent, and cancelled before anything came: it was found at the other site."""
    order = office.sent(office.draft(TARN, [("drill-3", 10)], office.moment(8, 11)), office.moment(8, 12))
    order_cancel(
        by=office.stores, order=order, reason="other_source", note="Ten were on the shelf at Fennside.",
        at=office.moment(7, 9),
    )  # fmt: skip


def _late(office: _Office) -> None:
    """Part delivered, and the rest is late."""
    items = [("cement-40", 20), ("dressing", 40), ("needle-2-0", 24)]
    order = office.sent(office.draft(TARN, items, office.moment(7, 10)), office.moment(7, 11))
    office.confirmed(order, office.moment(7, 14), "TR 20931", 4)
    office.came(order, [("cement-40", 10), ("dressing", 40)], office.moment(3, 8, 45), "TR-D 5512")


def _fewer(office: _Office) -> None:
    """Confirmed, with fewer of one line than were asked for."""
    items = [("saw-90", 10), ("mixer", 10), ("drape-knee", 20)]
    order = office.sent(office.draft(MERROWFIELD, items, office.moment(2, 9)), office.moment(2, 10))
    office.confirmed(order, office.moment(1, 9), "M-4498", 3, fewer=10)


def _on_its_way(office: _Office) -> None:
    """What was used is billed and replaced; the supplier has not answered yet."""
    used = office.draft(
        MERROWFIELD, [("mk-fem-9-l", 1)], office.moment(1, 10), "bill_and_replace", lot="L07K41"
    )
    office.sent(used, office.moment(1, 11), "network")


def _bill(office: _Office) -> None:
    """To be paid, nothing to come."""
    order = office.draft(TARN, [("tr-cup-62", 1)], office.moment(2, 14), "bill_only", lot="T62118")
    order = office.sent(order, office.moment(2, 15), "network")
    office.confirmed(order, office.moment(1, 9, 40), "TR 20977", 0)


def _to_send(office: _Office) -> None:
    """Approved, waiting to be sent."""
    items = [("swab-30", 30), ("pin-65", 10)]
    office.approved(office.draft(TARN, items, office.moment(1, 15)), office.moment(1, 15, 30))


def _to_approve(office: _Office) -> None:
    """Above what stores may approve: another role signs."""
    items = [("mk-fem-1-l", 1), ("mk-fem-9-l", 1), ("mk-tib-9", 1), ("pin-95", 10)]
    office.draft(MERROWFIELD, items, office.moment(1, 16))
