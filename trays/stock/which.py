"""Which unit a label means, where several of one lot look alike: the one that the act at hand wants."""

from collections.abc import Sequence

from django.db.models import QuerySet
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.parties.models import Site
from trays.places.models import Place
from trays.stock import claims
from trays.stock.models import Unit, UnitState
from trays.stock.models_notices import NoticeOutcome, NoticeUnit, SafetyNotice
from trays.stock.models_transfers import OPEN_STATES, CarriedState, Transfer, TransferUnit
from trays.stock.moving import state_word
from trays.stock.services import MOVED
from trays.web.errors import Refusal

MOST_ALIKE = 200
"""So many units that look alike are looked at."""


def named(*, component: Component, lot: str, serial: str) -> QuerySet[Unit]:
    """The units that a label names: by serial where it has one, else by lot.

    Raises Refusal "lot-not-read" for a label that names the item only.
    """
    if not lot and not serial:
        raise Refusal(
            "lot-not-read",
            _("This label names the item only: neither lot nor serial."),
            _("Scan its other code, or type lot or serial."),
        )
    rows = Unit.objects.filter(component=component).select_related("component", "place", "site", "owner")
    return rows.filter(serial=serial) if serial else rows.filter(lot=lot)


def unit_to_move(
    *, component: Component, lot: str, serial: str, place: Place, origin: Place | None = None
) -> Unit:
    """One that lies at another place of the site.

    Raises Refusal "unit-not-on-file", "there-already", "not-on-hand", "several-places" (says which),
    "lot-not-read".
    """
    rows = named(component=component, lot=lot, serial=serial)
    lying = list(rows.filter(site=place.site_id, state__in=MOVED).order_by("place__walk", "pk"))
    away = [unit for unit in lying if unit.place_id != place.pk]
    if origin is not None:
        away = [unit for unit in away if unit.place_id == origin.pk]
    if away:
        places = {unit.place_id: unit.place.name for unit in away}
        if len(places) > 1:
            raise Refusal(
                "several-places",
                _("Units of this lot lie at %(places)s.") % {"places": ", ".join(places.values())},
                _("Say on the page from which of them it comes."),
            )
        return away[0]
    if lying and origin is None:
        raise Refusal(
            "there-already",
            _("%(unit)s is at %(place)s already.") % {"unit": lying[0], "place": place},
            _("Scan the next one."),
        )
    raise _not_here(rows, component)


def free_first(units: Sequence[Unit]) -> list[Unit]:
    """Of units that look alike those first that are kept for nobody, else as they stand."""
    kept = claims.kept_for([unit.pk for unit in units])
    return sorted(units, key=lambda unit: unit.pk in kept)


def unit_to_send(*, transfer: Transfer, component: Component, lot: str, serial: str) -> Unit:
    """One on hand at the source that is in no open transfer, first expired first.

    Raises Refusal "unit-not-on-file", "not-on-hand", "listed-already", "lot-not-read".
    """
    rows = named(component=component, lot=lot, serial=serial)
    here = rows.filter(site=transfer.source_id, state__in=Unit.ON_HAND).order_by("expires", "pk")
    listed = TransferUnit.objects.filter(state__in=OPEN_STATES, unit__in=here)
    taken = dict(listed.values_list("unit_id", "transfer__number"))
    free = free_first([unit for unit in here if unit.pk not in taken])
    if free:
        return free[0]
    if taken:
        raise Refusal(
            "listed-already",
            _("All of these are listed: %(numbers)s.") % {"numbers": ", ".join(sorted(set(taken.values())))},
            _("Scan the next one."),
        )
    raise _not_here(rows, component)


def unit_arriving(*, transfer: Transfer, component: Component, lot: str, serial: str) -> Unit:
    """One of the transfer that has not arrived; else one that the source's record holds on a shelf.

    Raises Refusal "unit-not-on-file", "arrived-already", "not-on-hand", "lot-not-read".
    """
    rows = named(component=component, lot=lot, serial=serial)
    waits = rows.filter(
        transfers__transfer=transfer, transfers__state__in=(CarriedState.SENT, CarriedState.MISSING)
    )
    found = waits.order_by("pk").first()
    if found is not None:
        return found
    arrived = rows.filter(transfers__transfer=transfer, site=transfer.target_id).first()
    strays = rows.filter(site=transfer.source_id, state__in=Unit.ON_HAND).order_by("expires", "pk")
    if stray := free_first(list(strays[:MOST_ALIKE])):
        return stray[0]
    if arrived is not None:
        raise Refusal(
            "arrived-already", _("%(unit)s has arrived already.") % {"unit": arrived}, _("Scan the next one.")
        )
    raise _not_here(rows, component)


def unit_sought(
    *, notice: SafetyNotice, component: Component, lot: str, serial: str, site: Site
) -> NoticeUnit:
    """One of the notice at this site that is apart and not yet accounted for.

    Raises Refusal "not-sought", "accounted-already", "lot-not-read".
    """
    rows = named(component=component, lot=lot, serial=serial)
    sought = NoticeUnit.objects.filter(notice=notice, unit__in=rows).select_related("unit", "notice")
    still = sought.filter(outcome=NoticeOutcome.OPEN)
    here = still.filter(unit__site=site, unit__state=UnitState.QUARANTINE).order_by("pk").first()
    found = here or still.order_by("pk").first()
    if found is not None:
        return found
    if sought.exists():
        raise Refusal(
            "accounted-already", _("All of these are accounted for."), _("Scan the next one.")
        )
    raise Refusal(
        "not-sought",
        _("Notice %(number)s does not name this one.") % {"number": notice.number},
        _("Leave it where it is."),
    )


def units_on_hand(*, site: Site, component: Component, lot: str, serial: str, count: int) -> list[Unit]:
    """So many of a lot on hand at a site. Raises Refusal "unit-not-on-file", "not-enough", "lot-not-read"."""
    rows = named(component=component, lot=lot, serial=serial)
    here = rows.filter(site=site, state__in=Unit.ON_HAND).order_by("place__walk", "pk")
    found = free_first(list(here[: count + MOST_ALIKE]))[:count]
    if not found:
        raise _not_here(rows, component)
    if len(found) < count:
        raise Refusal(
            "not-enough",
            _("Of these %(there)s are on hand here.") % {"there": len(found)},
            _("Put the number right; or count the shelf."),
        )
    return found


def _not_here(rows: QuerySet[Unit], component: Component) -> Refusal:
    other = rows.order_by("pk").first()
    if other is None:
        return Refusal(
            "unit-not-on-file",
            _("%(what)s: no unit of this label is on file.") % {"what": component},
            _("Receive it first, or set it aside and look at the label again."),
        )
    return Refusal(
        "not-on-hand",
        _("%(unit)s is %(state)s by the record, at %(site)s.")
        % {"unit": other, "state": state_word(other.state), "site": other.site},
        _("Set it aside and find out what happened."),
        unit_id=other.pk,
    )
