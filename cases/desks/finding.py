"""What a scan leads to: the page to go to, what the thing is, or why it was refused.

Things of a site that the person may not see are answered like things that are not on file.
"""

from collections.abc import Callable
from datetime import date, datetime
from typing import cast

from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case, Construct
from cases.counts.models import CountSheet
from cases.desks.found import Finding, Link, not_on_file, refuse
from cases.picks.models import PickList
from cases.picks.not_this import Goods
from cases.picks.papers import case_key, construct_key, number_from
from cases.reorders.queries import held_words
from trays.catalogue.models import Component
from trays.catalogue.queries import component_by_gtin, families_by_code, search
from trays.catalogue.words import size_and_side
from trays.identifiers import ours
from trays.identifiers.meaning import Kind, Part, Reading
from trays.instruments.models import InstrumentSet, Pack, PackState
from trays.instruments.models_pieces import Piece
from trays.instruments.queries import pack_by_number, set_by_grai
from trays.orders.models import Order
from trays.orders.reading import number_from as order_number
from trays.parties.queries import site_day
from trays.places.models import Place
from trays.places.queries import place_by_label
from trays.staff.access import sites_for
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.queries import on_hand, units_named
from trays.stock.tables import date_word
from trays.web.wording import sitetime

SHOWN = 8


class Finder:
    """Finds what one person may see, at one moment."""

    def __init__(self, *, by: Person, at: datetime) -> None:
        self.by = by
        self.at = at
        self._sites: dict[str, dict[int, str]] = {}

    def sites(self, act: str) -> dict[int, str]:
        """Ids and names of the sites at which the person may do the act."""
        if act not in self._sites:
            self._sites[act] = {site.pk: site.name for site in sites_for(by=self.by, act=act)}
        return self._sites[act]

    def find(self, reading: Reading) -> Finding:
        """Where the reading leads."""
        if reading.kind is Kind.STAFF:
            return self._colleague(reading.value("8017") or "") or refuse(
                "badge-not-on-file",
                _("No badge with this code is on file; the code was not kept."),
                _("Ask whoever keeps the program to enter the badge."),
                keep_raw=False,
            )
        if reading.kind is Kind.PATIENT:
            return refuse(
                "code-of-a-person",
                _("This is the code of a person, not of a thing; it was not kept."),
                _("Scan the label of a pack, set, place, sheet or component."),
                keep_raw=False,
            )
        if reading.choices:
            # A symbol that does not claim to be GS1 may be text that somebody knows.
            plain = self._text(reading.text.strip()) if reading.kind is Kind.TEXT else None
            return plain if plain is not None and not plain.refused else _ambiguous(reading)
        if not reading.usable:
            return refuse(
                "code-unreadable", reading.say(_), _("If that fails, type what stands below the bars.")
            )
        by_key: dict[type, Callable[[Reading], Finding]] = {
            ours.SetKey: self._set,
            ours.AssetKey: self._pack,
            ours.PlaceKey: self._place,
            ours.SheetKey: self._sheet,
            ours.TradeItemKey: self._item,
        }
        if reading.key is not None:
            return by_key[type(reading.key)](reading)
        if reading.kind == Kind.HIBC:
            return self._item(reading)
        if reading.kind == Kind.TEXT:
            return self._text(reading.text.strip())
        return refuse(
            "nothing-to-find",
            _("Nothing here is found by such a code."),
            _("Scan the code with the item number."),
        )

    # People: their codes are not kept as scans

    def _colleague(self, badge: str) -> Finding | None:
        """Whose badge it is, for those who work at a site of theirs."""
        person = Person.objects.filter(badge=badge, is_active=True).first() if badge else None
        if person is None:
            return None
        here = [
            role
            for role in person.roles.select_related("site").order_by("pk")
            if role.site_id in self.sites("see_cases")
        ]
        if not here and person != self.by:
            return None
        roles = ", ".join(f"{role.get_kind_display()}, {role.site}" for role in here)
        return Finding(
            what=_("Badge of %(name)s") % {"name": person.name},
            why=roles and f"{roles}.",
            keep_raw=False,
            thing=person,
        )

    # Sets, packs, places

    def _set(self, reading: Reading) -> Finding:
        key = cast(ours.SetKey, reading.key)
        found = set_by_grai(key.asset_type + key.serial)
        return self._go_to_set(found) or not_on_file(_("No set with this label is on file."))

    def _go_to_set(self, found: InstrumentSet | None) -> Finding | None:
        if found is None or found.site_id not in self.sites("see_sets"):
            return None
        what = _("Set %(code)s") % {"code": found.code}
        return Finding(what=what, url=reverse("set", args=[found.code]), thing=found)

    def _pack(self, reading: Reading) -> Finding:
        key = cast(ours.AssetKey, reading.key)
        pack = pack_by_number(key.giai)
        going = self._go_to_pack(pack)
        if pack is None or going is None:
            return self._piece(key.giai) or not_on_file(_("No pack with this label is on file."))
        given = key.round
        if given and given != str(pack.round) and not _before_packing(pack, given):
            return refuse(
                "label-of-another-round",
                _("This label is of round %(label)s of pack %(pack)s, which is in round %(now)s.")
                % {"label": given, "pack": pack.number, "now": pack.round},
                _("Set the pack aside and ask sterile services; an old label must not stay on a pack."),
                links=(Link(_("Pack %(pack)s") % {"pack": pack.number}, going.url),),
            )
        return going

    def _go_to_pack(self, pack: Pack | None) -> Finding | None:
        if pack is None or pack.set.site_id not in self.sites("see_processing"):
            return None
        words = {"pack": pack.number, "set": pack.set.code}
        what = _("Pack %(pack)s of set %(set)s") % words
        return Finding(what=what, url=reverse("pack", args=[pack.pk]), thing=pack)

    def _piece(self, mark: str) -> Finding | None:
        """A single instrument by the code that is marked on it."""
        piece = Piece.objects.select_related("type", "site", "pack__set").filter(mark=mark).first()
        if piece is None or piece.site_id not in self.sites("see_sets"):
            return None
        words = {"piece": piece.type.name, "mark": piece.mark}
        links: tuple[Link, ...] = ()
        if piece.pack is None:
            where = f"{piece.site.name}, {str(piece.get_state_display()).lower()}."
        else:
            code = piece.pack.set.code
            where = _("It belongs to set %(code)s, tray %(tray)s.") % {
                "code": code,
                "tray": piece.pack.tray,
            }
            links = (Link(_("Set %(code)s") % {"code": code}, reverse("set", args=[code])),)
        return Finding(what=_("%(piece)s, instrument %(mark)s") % words, why=where, links=links, thing=piece)

    def _place(self, reading: Reading) -> Finding:
        key = cast(ours.PlaceKey, reading.key)
        place = place_by_label(key.gln, key.extension or "")
        return self._about_place(place) or not_on_file(_("No place with this label is on file."))

    def _about_place(self, place: Place | None) -> Finding | None:
        if place is None or place.site_id not in self.sites("see_stock"):
            return None
        units = Unit.objects.filter(place=place, state__in=Unit.ON_HAND).count()
        packs = Pack.objects.filter(place=place).count()
        there = ngettext("%(count)s unit", "%(count)s units", units) % {"count": units}
        trays = ngettext("%(count)s pack", "%(count)s packs", packs) % {"count": packs}
        return Finding(
            what=f"{place.name}, {place.site.name}",
            why=_("%(units)s and %(packs)s are there, by the record.") % {"units": there, "packs": trays},
            thing=place,
        )

    # Sheets and cases

    def _sheet(self, reading: Reading) -> Finding:
        key = cast(ours.SheetKey, reading.key)
        found = self._sheet_by_number(number_from(key.serial), key.line) or self._order(key.serial)
        return found or not_on_file(_("No sheet with this number is on file."))

    def _sheet_by_number(self, number: str, line: int | None) -> Finding | None:
        if not number:
            return None
        if (key := case_key(number)) is not None:
            return self._case_by_key(key)
        if (key := construct_key(number)) is not None:
            return self._record(key)
        listed = PickList.objects.select_related("case").filter(number=number).first()
        if listed is not None and listed.case.site_id in self.sites("see_picks"):
            anchor = f"#line-{line}" if line else ""
            return Finding(
                what=_("Pick list %(number)s") % {"number": number},
                url=reverse("pick-list", args=[listed.pk]) + anchor,
            )
        sheet = CountSheet.objects.select_related("case").filter(number=number).first()
        if sheet is not None and sheet.case.site_id in self.sites("see_cases"):
            return Finding(
                what=_("Count sheet %(number)s") % {"number": number},
                url=reverse("count-sheets", args=[sheet.case_id]),
            )
        return None

    def _record(self, key: int) -> Finding | None:
        """The implant record of one construct: the page of its case's."""
        construct = Construct.objects.select_related("case").filter(pk=key).first()
        if construct is None or construct.case.site_id not in self.sites("see_theatre"):
            return None
        what = _("Implant record, case %(reference)s") % {"reference": construct.case.reference}
        return Finding(what=what, url=reverse("theatre-record", args=[construct.case_id]))

    def _order(self, text: str) -> Finding | None:
        """A purchase order by the number on its paper."""
        number = order_number(text)
        order = Order.objects.filter(number=number).first() if number else None
        if order is None or order.site_id not in self.sites("see_orders"):
            return None
        what = _("Order %(number)s") % {"number": order.number}
        return Finding(what=what, url=reverse("order", args=[order.pk]))

    def _case_by_key(self, key: int) -> Finding | None:
        case = Case.objects.filter(pk=key, site_id__in=self.sites("see_cases")).first()
        if case is None:
            return None
        what = _("Case %(reference)s") % {"reference": case.reference}
        return Finding(what=what, url=reverse("case", args=[case.pk]))

    def _case(self, text: str) -> Finding | None:
        cases = Case.objects.filter(site_id__in=self.sites("see_cases"))
        found = list(cases.filter(reference=text)[:2]) or list(cases.filter(reference__iexact=text)[:2])
        if len(found) != 1:
            return None
        return Finding(
            what=_("Case %(reference)s") % {"reference": found[0].reference},
            url=reverse("case", args=[found[0].pk]),
        )

    # Components and units

    def _item(self, reading: Reading) -> Finding:
        code = reading.gtin or reading.value("device") or ""
        found = component_by_gtin(code) if code else None
        if found is None:
            return refuse(
                "unknown-item",
                _("No component with the code %(code)s is on file.") % {"code": code or reading.text[:40]},
                _("Ask stores to add it to the catalogue; a used one is recorded all the same."),
            )
        component, quantity = found
        if not self.sites("see_stock"):
            return not_on_file(_("You may not see stock."))
        if reading.lot or reading.serial:
            return self._unit(component, reading)
        return self._component(component, quantity)

    def _component(self, component: Component, quantity: int) -> Finding:
        counts = {
            site_id: on_hand(site_id=site_id).filter(component=component).count()
            for site_id in self.sites("see_stock")
        }
        where = ", ".join(f"{name} {counts[pk]}" for pk, name in self.sites("see_stock").items())
        box = _(" This code is a box of %(count)s.") % {"count": quantity} if quantity > 1 else ""
        return Finding(
            what=component_words(component),
            why=_("On site: %(where)s.") % {"where": where} + box,
            links=(self._family_link(component),),
            thing=Goods(component),
        )

    def _unit(self, component: Component, reading: Reading) -> Finding:
        lot, serial = reading.lot or "", reading.serial or ""
        units = list(
            units_named(component_id=component.pk, lot=lot, serial=serial).filter(
                site_id__in=self.sites("see_stock")
            )[:SHOWN]
        )
        named = _("serial %(code)s") % {"code": serial} if serial else _("lot %(code)s") % {"code": lot}
        if not units:
            return refuse(
                "unit-not-on-file",
                _("%(item)s, %(named)s, is not on file.")
                % {"item": component_words(component), "named": named},
                _("Receive it first, or set it aside and tell stores."),
                links=(self._family_link(component),),
            )
        labelled = reading.expiry.day if reading.expiry else None
        held = held_words([unit.pk for unit in units])
        return Finding(
            what=f"{component_words(component)}, {named}",
            why="; ".join(self._unit_words(unit, held.get(unit.pk, "")) for unit in units) + ".",
            thing=Goods(component, lot, serial),
            next_step=_date_differs(units, labelled),
            links=(self._family_link(component),),
        )

    def _unit_words(self, unit: Unit, held_for: str) -> str:
        day = site_day(unit.site, self.at)
        state = (
            _("held, %(case)s") % {"case": held_for} if held_for else str(unit.get_state_display()).lower()
        )
        dated = date_word(unit.expires, day)
        until = _("use by %(day)s") % {"day": sitetime(unit.expires, "date")} if unit.expires else ""
        words = (f"{unit.place.name} {unit.bin}".strip(), state, until, dated)
        return ", ".join(word for word in words if word)

    def _family_link(self, component: Component) -> Link:
        return Link(
            _("Stock of %(family)s") % {"family": component.family.name},
            reverse("stock-family", args=[component.family.code]),
        )

    # What people type

    def _text(self, text: str) -> Finding:
        line = None
        number = text.upper()
        serial, hyphen, last = number.rpartition("-")
        if hyphen and last.isascii() and last.isdigit() and number_from(serial):
            number, line = serial, int(last)
        number = number_from(number.replace("-", "", 1))
        return (
            self._case(text)
            or self._sheet_by_number(number, line)
            or self._order(text)
            or self._go_to_set(_set_by_code(text))
            or self._go_to_pack(pack_by_number(text))
            or self._piece(text)
            or self._family(text)
            or self._place_of_code(text)
            or self._colleague(text)
            or self._searched(text)
        )

    def _family(self, text: str) -> Finding | None:
        family = families_by_code(text)
        if family is None or not self.sites("see_stock"):
            return None
        return Finding(what=family.name, url=reverse("stock-family", args=[family.code]))

    def _place_of_code(self, text: str) -> Finding | None:
        places = Place.objects.filter(site_id__in=self.sites("see_stock"), code__iexact=text)
        found = list(places.select_related("site")[:2])
        return self._about_place(found[0]) if len(found) == 1 else None

    def _searched(self, text: str) -> Finding:
        found = search(text, SHOWN + 1) if self.sites("see_stock") else []
        if not found:
            return refuse(
                "not-found",
                _("Nothing is called “%(text)s”.") % {"text": text[:60]},
                _("Try the code below the bars, a case reference, or part of a name."),
            )
        if len(found) == 1:
            return self._component(found[0], 1)
        families = {one.family_id: one for one in found}
        return Finding(
            what=ngettext("%(count)s component fits.", "%(count)s components fit.", len(found))
            % {"count": _("More than %(count)s") % {"count": SHOWN} if len(found) > SHOWN else len(found)},
            why=", ".join(f"{one.name} ({one.code})" for one in found[:SHOWN]) + ".",
            next_step=_("Type more of the name, or open the stock page of its family."),
            links=tuple(self._family_link(one) for one in list(families.values())[:3]),
        )


def component_words(component: Component) -> str:
    """A component as people say it: its family, then size and side."""
    return f"{component.family.name} {size_and_side(component)}" if component.size else component.name


def _before_packing(pack: Pack, given: str) -> bool:
    """Whether the label is of the round before, still with the tray: packing makes a new one."""
    return given == str(pack.round - 1) and pack.state in (
        PackState.RECEIVED,
        PackState.CLEANED,
        PackState.ASSEMBLED,
    )


def _ambiguous(reading: Reading) -> Finding:
    return Finding(
        what=reading.say(_),
        next_step=_("Choose the one that the label says; or scan another code."),
        ways=tuple(" ".join(_part(part) for part in choice) for choice in reading.choices),
    )


def _part(part: Part) -> str:
    return f"({part.key}){part.value}" if part.key.isdigit() else f"{part.title} {part.value}"


def _set_by_code(text: str) -> InstrumentSet | None:
    return InstrumentSet.objects.filter(code__iexact=text).first()


def _date_differs(units: list[Unit], labelled: date | None) -> str:
    if labelled is None or any(unit.expires == labelled for unit in units):
        return ""
    return _("The label says use by %(day)s, the record does not: set it aside and tell stores.") % {
        "day": sitetime(labelled, "date")
    }
