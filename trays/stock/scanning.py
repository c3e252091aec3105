"""What a scanned label comes to on the page Receiving: taken in at once, or its form filled from it."""

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from urllib.parse import urlsplit
from uuid import UUID

from django.http import HttpRequest, QueryDict
from django.urls import reverse
from django.utils.translation import gettext as _

from trays.catalogue.models import Component, FamilyKind
from trays.catalogue.queries import component_by_gtin
from trays.identifiers.meaning import Reading
from trays.parties.models import Party, PartyKind, Site, Tenure
from trays.places.models import Place
from trays.staff.access import home_site, sites_for
from trays.staff.models import Person
from trays.stock.arriving import (
    COMES_BACK,
    Goods,
    check_in_date,
    check_supplier,
    printable,
    serial_known,
)
from trays.stock.models import Unit
from trays.stock.services import unit_receive
from trays.web.errors import Refusal
from trays.web.numbers import whole

ACT = "receive_stock"
KEPT = ("site", "place", "tenure", "supplier", "straight")
"""What the page's address carries from one box to the next."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What the page's address says: where goods go, whose they are, and whether each scan goes straight."""

    site: Site
    place: Place | None
    tenure: str
    supplier: Party | None
    straight: bool

    @property
    def query(self) -> dict[str, str]:
        """The same as it stands in an address."""
        return {
            "site": self.site.code,
            **({"place": str(self.place.pk)} if self.place else {}),
            "tenure": self.tenure,
            **({"supplier": str(self.supplier.pk)} if self.supplier else {}),
            **({"straight": "1"} if self.straight else {}),
        }


@dataclass(frozen=True, slots=True)
class Label:
    """What one or two scans of a label said."""

    code: str
    lot: str
    serial: str
    expires: date | None
    raw: bytes


@dataclass(frozen=True, slots=True)
class Said:
    """What came of a scan: words, or the address of the form that is filled from it."""

    what: str = ""
    next_step: str = ""
    url: str = ""


def setting_of(query: QueryDict, *, by: Person) -> Setting | None:
    """What an address says, nonsense left out; None for somebody who receives nowhere."""
    sites = {site.code: site for site in sites_for(by=by, act=ACT).select_related("party")}
    home = home_site(by)
    site = sites.get(query.get("site", "")) or (sites.get(home.code) if home else None)
    site = site or next(iter(sites.values()), None)
    if site is None:
        return None
    tenure = query.get("tenure", "")
    suppliers = Party.objects.filter(kind=PartyKind.SUPPLIER)
    places = Place.objects.filter(site=site).select_related("site")
    place = places.filter(pk=whole(query.get("place", "")) or 0).first()
    return Setting(
        site,
        place,
        tenure if tenure in Tenure.values else Tenure.OWNED,
        suppliers.filter(pk=whole(query.get("supplier", "")) or 0).first(),
        query.get("straight") == "1" and place is not None,
    )


def query_of_page(request: HttpRequest) -> QueryDict:
    """The query of the page on which a scan was made; empty where the device does not tell it."""
    return QueryDict(urlsplit(request.headers.get("HX-Current-URL", "")).query)


def label_of(reading: Reading) -> Label:
    """What a reading says of goods."""
    return Label(
        code=reading.device or "",
        lot=reading.lot or "",
        serial=reading.serial or "",
        expires=reading.expiry.day if reading.expiry else None,
        raw=reading.raw,
    )


def label_take(
    *, label: Label, setting: Setting, by: Person, at: datetime, client_key: UUID | None = None
) -> Said | None:
    """Take a label in, or say at which form it is decided; None where it names the item only.

    Raises Refusal for what is kept out: "out-of-date", "serial-known", "other-suppliers-item",
    "lot-unreadable", and those of a receipt.
    """
    if not label.lot and not label.serial:
        return None
    printable(label.lot)
    printable(label.serial)
    check_in_date(label.expires, site=setting.site, at=at)
    found = component_by_gtin(label.code) if label.code else None
    if found is None:
        return Said(url=address("catalogue-draft-new", setting, label))
    component, held = found
    check_supplier(component, setting.supplier)
    _refuse_known_serial(component, label.serial)
    if setting.straight and setting.place is not None and component.family.kind != FamilyKind.CONSUMABLE:
        try:
            return _straight(component, held, label, setting, setting.place, by, at, client_key)
        except Refusal as refusal:
            if refusal.code != "short-dated":
                raise
    return Said(url=address("receiving", setting, label))


def address(
    name: str, setting: Setting, label: Label | None = None, *, typed: Mapping[str, str] | None = None
) -> str:
    """The address of a page that keeps the setting, its form filled from the label or what was typed."""
    query = QueryDict(mutable=True)
    query.update({**setting.query, **(typed or {})})
    if label is not None:
        query.update(
            {
                "item": label.code,
                "lot": label.lot,
                "serial": label.serial,
                "expires": label.expires.isoformat() if label.expires else "",
                "raw": base64.b64encode(label.raw).decode("ascii"),
            }
        )
    return f"{reverse(name)}?{query.urlencode()}"


def _straight(
    component: Component,
    held: int,
    label: Label,
    setting: Setting,
    place: Place,
    by: Person,
    at: datetime,
    client_key: UUID | None,
) -> Said:
    goods = Goods(
        component=component,
        owner=setting.site.party if setting.tenure == Tenure.OWNED else component.supplier,
        tenure=setting.tenure,
        place=place,
        lot=label.lot,
        serial=label.serial,
        expires=label.expires,
        delivered_by=setting.supplier,
    )
    units = unit_receive(
        by=by, site=setting.site, goods=goods, count=held, raw=label.raw, at=at, client_key=client_key
    )
    named = label.serial or label.lot
    words = {"what": component, "named": named, "place": place, "count": len(units)}
    if units[0].state != Unit.State.SHELF:
        return Said(
            _("Set apart: %(what)s, %(named)s. A safety notice names its lot.") % words,
            _("Put it where things in quarantine are kept."),
        )
    if len(units) > 1:
        return Said(_("Received: %(count)s × %(what)s, %(named)s, to %(place)s.") % words)
    return Said(_("Received: %(what)s, %(named)s, to %(place)s.") % words)


def _refuse_known_serial(component: Component, serial: str) -> None:
    known = Unit.objects.filter(component=component, serial=serial) if serial else Unit.objects.none()
    unit = known.exclude(state__in=COMES_BACK).select_related("place", "site").first()
    if unit is not None:
        raise serial_known(unit)
