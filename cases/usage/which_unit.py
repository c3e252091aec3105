"""Which thing of the stock a label names, and what stands against taking it: held, released, look-alike.

Units of one lot without serials look alike to a scanner: of those the one kept for the case is meant, then a
free one, then another case's. A serial names one unit, wherever it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from django.db.models import Q
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case
from cases.picks.models import PickLine
from cases.reservations.hold import held_for
from cases.reservations.models import Hold
from cases.reservations.queries import kept_for, open_holds
from cases.usage import queries
from cases.usage.kinds import Level, Remark, Scanned
from cases.usage.models import Brought, Fate, Source
from trays.catalogue.models import Component, FamilyKind
from trays.stock.models import Pile, Unit
from trays.stock.models_transfers import TransferUnit
from trays.stock.moving import state_word
from trays.stock.queries import in_date

MOST_ALIKE = 100
"""So many units of one lot are looked at."""


def alike(case: Case, component: Component, scanned: Scanned) -> list[Unit]:
    """The units that a label names: one by its serial, wherever it is; else all of the lot at the site, or
    on their way to it.
    """
    rows = Unit.objects.filter(component=component).select_related(
        "site", "place", "owner", "component__family"
    )
    if scanned.serial:
        return list(rows.filter(serial=scanned.serial))
    if not scanned.lot:
        return []
    coming = TransferUnit.objects.filter(transfer__target=case.site_id, state__in=("sent", "missing"))
    near = Q(site_id=case.site_id) | Q(pk__in=coming.values("unit"))
    return list(rows.filter(near, lot=scanned.lot, serial="").order_by("pk")[:MOST_ALIKE])


@dataclass(frozen=True, slots=True)
class Named:
    """The thing that the label names, and how the record knows it."""

    source: str
    unit: Unit | None = None
    pile: Pile | None = None
    hold: Hold | None = None
    remarks: tuple[Remark, ...] = ()


class Naming:
    """One label asked about, for one case, on one day of the site. `brought`: what lies on its table."""

    def __init__(self, case: Case, scanned: Scanned, day: date, brought: Sequence[Brought]) -> None:
        self.case, self.scanned, self.day, self.brought = case, scanned, day, brought

    def of(self, component: Component) -> Named:
        """The unit or pile; of several alike the one nearest to this case."""
        units = alike(self.case, component, self.scanned)
        here = {one.unit_id for one in self.brought if one.unit_id and one.fate != Fate.RETURNED_SEALED}
        if self.scanned.serial and units:
            return self._by_serial(units[0], here)
        again = self._again(component)
        free = self._free(units)
        if not free:
            pile = self._pile(component)
            if pile is not None:
                return Named(Source.BOOKED_HERE, pile=pile, remarks=again)
            return Named(Source.UNBOOKED, remarks=(*again, self._not_on_file(component)))
        holds = open_holds(unit.pk for unit in free)
        listed = self._listed(component)
        best = min(free, key=lambda unit: self._nearness(unit, holds.get(unit.pk), listed))
        named = self._known(best, holds.get(best.pk), listed)
        return replace(named, remarks=(*again, *named.remarks))

    def _by_serial(self, unit: Unit, here: set[int]) -> Named:
        if unit.pk in here:
            return Named(Source.HELD, unit=unit, remarks=(_here_already(unit, self.case.reference),))
        elsewhere = _standing_elsewhere(unit)
        if elsewhere is not None:
            remark = _here_already(unit, elsewhere.case.reference, serial=True)
            return Named(Source.UNBOOKED, remarks=(remark,))
        hold = open_holds([unit.pk]).get(unit.pk)
        return self._known(unit, hold, self._listed(unit.component))

    def _free(self, units: Sequence[Unit]) -> list[Unit]:
        """Those that do not lie on a table already, nor have gone another way."""
        keys = [unit.pk for unit in units]
        taken = set(
            Brought.objects.filter(unit_id__in=keys, replaced_at__isnull=True)
            .exclude(fate=Fate.RETURNED_SEALED)
            .values_list("unit_id", flat=True)
        )
        gone = (
            Unit.State.IMPLANTED,
            Unit.State.WASTED,
            Unit.State.RETURNED,
            Unit.State.DISPOSED,
            Unit.State.OPENED,
        )
        return [unit for unit in units if unit.pk not in taken and unit.state not in gone]

    def _again(self, component: Component) -> tuple[Remark, ...]:
        """One of this very label lies there already: the same box again, or another one?"""
        if self.scanned.serial or not self.scanned.lot:
            return ()
        same = [
            one for one in self.brought
            if one.component_id == component.pk and one.lot == self.scanned.lot and not one.serial
            and one.fate != Fate.RETURNED_SEALED
        ]  # fmt: skip
        if not same:
            return ()
        words = ngettext(
            "A box of this lot has been brought in already.",
            "%(n)s boxes of this lot have been brought in already.",
            len(same),
        ) % {"n": len(same)}
        return (
            Remark(
                "another-one", Level.STOP, words, _("Say whether this is another one, or the same box again.")
            ),
        )

    def _nearness(self, unit: Unit, hold: Hold | None, listed: set[int]) -> tuple[int, int, date, int]:
        if hold is not None:
            kept = 0 if kept_for(hold, self.case) else 3
        else:
            kept = 1 if unit.pk in listed else 2
        return (unit.state not in Unit.ON_HAND, kept, unit.expires or date.max, unit.pk)

    def _known(self, unit: Unit, hold: Hold | None, listed: set[int]) -> Named:
        own = hold is not None and kept_for(hold, self.case)
        if own or (hold is None and unit.pk in listed):
            source = Source.HELD
        else:
            source = Source.BOOKED_HERE if hold is None else Source.OTHER_CASE
        said = [*self._released(unit)]
        if hold is not None and not own:
            said.append(
                Remark(
                    "held-by-another",
                    Level.STOP,
                    _("%(unit)s is held for %(whom)s.") % {"unit": unit, "whom": held_for(hold)},
                    _("Take one that is free; or give name and reason, and that case is planned anew."),
                )
            )
        elif not own:
            said += self._look_alike(unit, listed)
        return Named(source, unit=unit, hold=hold, remarks=tuple(said))

    def _released(self, unit: Unit) -> list[Remark]:
        if unit.site_id != self.case.site_id:
            words = _("By the record it is at %(site)s.") % {"site": unit.site.name}
            return [
                Remark(
                    "elsewhere", Level.STOP, words, _("Tell stores; take another, or give name and reason.")
                )
            ]
        if unit.state in Unit.ON_HAND:
            return []
        code = "in-quarantine" if unit.state == Unit.State.QUARANTINE else "not-on-shelf"
        return [
            Remark(
                code,
                Level.STOP,
                _("It is not released for use: by the record it is %(state)s.")
                % {"state": state_word(unit.state)},
                _("Do not open it; set it aside for stores and take another."),
            )
        ]

    def _look_alike(self, unit: Unit, listed: set[int]) -> list[Remark]:
        """Another lot than the one that was set aside, while that one still lies there."""
        own = Unit.objects.filter(component_id=unit.component_id, state__in=Unit.ON_HAND)
        used = [one.unit_id for one in self.brought if one.unit_id]
        set_aside = own.filter(holds__case=self.case, holds__ended_at__isnull=True) | own.filter(
            pk__in=listed
        )
        lots = sorted({one.lot or one.serial for one in set_aside.exclude(pk__in=used).distinct()})
        mine = unit.lot or unit.serial
        if unit.pk in listed or not lots or mine in lots:
            words = _("It was not set aside for this case; it is free.")
            return [] if unit.pk in listed else [Remark("not-set-aside", Level.NOTE, words)]
        return [
            Remark(
                "another-lot",
                Level.STOP,
                _("This is lot %(this)s; set aside for this case is lot %(lots)s.")
                % {"this": mine, "lots": _(" or ").join(lots)},
                _("Look at both labels; take the one set aside, or give name and reason."),
            )
        ]

    def _listed(self, component: Component) -> set[int]:
        """Units of the component on the case's pick list in force."""
        rows = PickLine.objects.filter(
            pick_list__case=self.case, pick_list__replaced_at__isnull=True, component=component,
            unit__isnull=False,
        )  # fmt: skip
        return set(rows.values_list("unit_id", flat=True))

    def _pile(self, component: Component) -> Pile | None:
        if component.family.kind != FamilyKind.CONSUMABLE and not self.scanned.lot:
            return None
        rows = Pile.objects.filter(component=component, site_id=self.case.site_id, quantity__gt=0)
        if self.scanned.lot:
            rows = rows.filter(lot=self.scanned.lot)
        dated = rows.select_related("owner", "place").order_by("expires", "pk")
        return dated.filter(in_date(self.day)).first() or dated.first()

    def _not_on_file(self, component: Component) -> Remark:
        if not self.scanned.lot and not self.scanned.serial:
            return Remark(
                "lot-not-read",
                Level.STOP,
                _("This code says which item it is, but not which lot."),
                _("Scan the other code of the box, or type the lot; if there is none, take the box down so."),
            )
        return Remark(
            "unit-not-on-file",
            Level.STOP,
            _("%(item)s of this lot is not on stock here.") % {"item": queries.component_name(component)},
            _("If it is used, take the box down: it is received and used in one step, and stores are told."),
        )


def _standing_elsewhere(unit: Unit) -> Brought | None:
    rows = Brought.objects.filter(unit=unit, replaced_at__isnull=True).exclude(fate=Fate.RETURNED_SEALED)
    return rows.select_related("case").first()


def _here_already(unit: Unit, reference: str, *, serial: bool = False) -> Remark:
    if not serial:
        return Remark(
            "brought-already",
            Level.STOP,
            _("%(unit)s has been brought in for this case already.") % {"unit": unit},
            _("Nothing more to do; scan the next box."),
        )
    return Remark(
        "seen-before",
        Level.STOP,
        _("Serial %(serial)s stands in the record of case %(case)s.")
        % {"serial": unit.serial, "case": reference},
        _("Read the serial from the label again; if it is right, give name and reason."),
    )
