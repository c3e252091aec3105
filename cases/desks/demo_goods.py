"""Goods of the demo: a transfer on its way and one that came, a count that agreed, what is set apart and why,
returns, a safety notice, a code that nobody knew.

All of it goes through the services, at moments before the demo was started. It is the same each time. It adds
no unit to the shelves of Larkmere, so that the cases' verdicts are those of the files.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction

from trays.catalogue.models import Component, Family
from trays.identifiers.checkdigits import with_mod10
from trays.parties.models import Site, Tenure
from trays.parties.workdays import DAY, earlier
from trays.places.models import Place
from trays.staff.models import Person
from trays.stock.drafts import Came, Described, draft_raise
from trays.stock.models import Unit
from trays.stock.noticing import LotNamed, notice_account, notice_open
from trays.stock.returning import return_make, return_send
from trays.stock.services import Goods, unit_receive
from trays.stock.take_end import take_agree
from trays.stock.taking import take_begin, thing_see
from trays.stock.transferring import transfer_make, transfer_send
from trays.stock.transfers_in import transfer_receive

STORES = "ossett"
UNKNOWN = with_mod10("0952123499001")


@transaction.atomic
def goods_act(*, base_day: date) -> None:
    """Act out what stores did with goods in the days before the base day."""
    store = _store(base_day)
    _came_to_fennside(store)
    _went_back(store)
    _goes_back(store)
    _called_back(store)
    _damaged(store)
    _counted(store)
    _unknown(store)
    _on_its_way(store)


@dataclass
class _Store:
    """Who works there, the two sites, and the place where goods come in."""

    site: Site
    far: Site
    by: Person
    hall: Place
    base_day: date

    def moment(self, days: int, hour: int, minute: int = 0) -> datetime:
        """So many working days before the base day, by the site's clock."""
        day = earlier(self.base_day - DAY, days - 1)
        return datetime.combine(day, time(hour, minute), ZoneInfo(self.site.zone))

    def came(
        self, code: str, lot: str, count: int, at: datetime, *, left: int = 700, condition: str = "good",
        note: str = "",
    ) -> list[Unit]:
        """Consigned units of one lot that came in, with so many days left."""
        component = Component.objects.select_related("supplier", "family").get(code=code)
        goods = Goods(
            component=component, owner=component.supplier, tenure=Tenure.CONSIGNED, place=self.hall, lot=lot,
            expires=self.base_day + timedelta(days=left),
        )  # fmt: skip
        return unit_receive(
            by=self.by, site=self.site, goods=goods, count=count, at=at, condition=condition, note=note
        )


def _store(base_day: date) -> _Store:
    site, far = Site.objects.get(code="larkmere"), Site.objects.get(code="fennside")
    hall = Place.objects.select_related("site").get(site=site, code="IS")
    return _Store(site, far, Person.objects.get(username=STORES), hall, base_day)


def _came_to_fennside(store: _Store) -> None:
    units = store.came("tr-screw-25", "TR25160", 2, store.moment(9, 9))
    transfer = transfer_make(
        by=store.by, source=store.site, target=store.far, units=units, at=store.moment(9, 9, 20),
        note="Screws that Fennside ran low on",
    )  # fmt: skip
    transfer_send(by=store.by, transfer=transfer, at=store.moment(9, 13))
    place = Place.objects.select_related("site").get(site=store.far, code="IS-D")
    transfer_receive(by=store.by, transfer=transfer, units=units, place=place, at=store.moment(8, 8, 30))


def _on_its_way(store: _Store) -> None:
    units = store.came("mk-pat-35", "M26031", 2, store.moment(2, 10))
    transfer = transfer_make(
        by=store.by, source=store.site, target=store.far, units=units, at=store.moment(2, 10, 30),
        note="For the list of next week", needed_on=store.base_day + timedelta(days=6),
    )  # fmt: skip
    transfer_send(by=store.by, transfer=transfer, at=store.moment(1, 14))


def _went_back(store: _Store) -> None:
    units = store.came("mk-tib-2", "M25902", 1, store.moment(12, 11), left=30, condition="short_apart")
    back = return_make(by=store.by, units=units, why="exchange", at=store.moment(12, 11, 15))
    return_send(by=store.by, back=back, note="One with a long date for it", at=store.moment(11, 15))


def _goes_back(store: _Store) -> None:
    units = store.came("mk-tib-7", "M25933", 2, store.moment(4, 11), left=45, condition="short_apart")
    return_make(by=store.by, units=units, why="exchange", at=store.moment(4, 11, 20))


def _called_back(store: _Store) -> None:
    first, _second = store.came("tr-screw-35", "TR25207", 2, store.moment(6, 9))
    notice = notice_open(
        by=store.by, site=store.site, supplier=first.component.supplier, reference="FSN 26/14",
        lots=[LotNamed(first.component, "TR25207")], reason="the inner seal may open", at=store.moment(3, 8),
    )  # fmt: skip
    sought = notice.units.select_related("notice", "unit").get(unit=first)
    notice_account(by=store.by, sought=sought, outcome="secured", at=store.moment(3, 8, 25))


def _damaged(store: _Store) -> None:
    store.came("mk-pat-29", "M26044", 1, store.moment(5, 10), condition="damaged", note="box crushed")


def _counted(store: _Store) -> None:
    """The place where goods come in, the day before: all that is set apart there is seen."""
    at = store.moment(2, 16)
    take = take_begin(by=store.by, place=store.hall, at=at)
    lying = Unit.objects.filter(place=store.hall, state=Unit.State.QUARANTINE).select_related("component")
    for number, unit in enumerate(lying.order_by("pk"), start=1):
        thing_see(
            by=store.by, take=take, component=unit.component, lot=unit.lot, at=at + timedelta(minutes=number)
        )
    take_agree(by=store.by, take=take, at=at + timedelta(minutes=30))


def _unknown(store: _Store) -> None:
    """A code of a box that nobody had seen: said to be a new size of screw."""
    at = store.moment(2, 9)
    family = Family.objects.get(code="tr-screw")
    supplier = Component.objects.filter(family=family)[0].supplier
    described = Described(
        code=UNKNOWN, family=family, name="Cup screw 6.5 × 45 mm", size="45", supplier=supplier
    )
    came = Came(
        place=store.hall, owner=supplier, tenure=Tenure.CONSIGNED, lot="TR25311",
        expires=store.base_day + timedelta(days=800), count=2,
    )  # fmt: skip
    draft_raise(by=store.by, site=store.site, described=described, came=came, at=at)
