"""What a pick list made now would hold: the plan's sizes turned into units, packs and piles on shelves.

Called under the lock; it reads with a fixed number of queries and writes nothing.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case
from cases.picks.choose import Candidate, Heap, Kept, Unmet, Wanted, choose_piles, choose_units
from cases.picks.models import PickLine
from cases.readiness.kinds import PickPlan, PickSize
from cases.reservations.models import Hold
from cases.reservations.queries import kept_for, open_holds, operation_day
from trays.catalogue.models import Component
from trays.catalogue.words import size_words
from trays.instruments.models import Pack
from trays.instruments.queries import set_facts
from trays.places.models import Place
from trays.stock.models import Pile, Unit
from trays.stock.notices_open import unnamed

GROUP_ORDER = (PickLine.Group.LIKELY, PickLine.Group.KEEP_SEALED, PickLine.Group.CONTINGENCY)


@dataclass(frozen=True, slots=True)
class Absent:
    """Something wanted that could not be found, and why, in words."""

    name: str
    size: str = ""
    side: str = ""
    take: int = 1
    group: str = ""
    site_minimum: bool = False
    chance: float | None = None
    why: str = ""


@dataclass(slots=True)
class Gathered:
    """Lines without numbers, in walking order, and what is not there."""

    lines: list[PickLine] = field(default_factory=list)
    absent: list[Absent] = field(default_factory=list)
    # How many units and packs the plan counted on that are not there after all: its figures do not hold.
    short_of_plan: int = 0

    @property
    def unit_ids(self) -> list[int]:
        return [line.unit_id for line in self.lines if line.unit_id is not None]


def wanted_components(plan: PickPlan) -> set[int]:
    """The components of which the plan wants units."""
    return {size.component_id for slot in plan.slots for size in slot.sizes}


def units_in_question(case: Case, component_ids: Iterable[int]) -> list[int]:
    """Every unit on hand at the site that could answer: the rows to lock."""
    rows = Unit.objects.filter(
        site_id=case.site_id, component_id__in=list(component_ids), state__in=Unit.ON_HAND
    )
    return list(rows.values_list("pk", flat=True))


def gather(
    *, case: Case, plan: PickPlan, units: Mapping[int, Unit], set_ids: Sequence[int]
) -> Gathered:
    """Choose units among those locked, packs of the sets got, and piles; lines in walking order.

    Queries do not grow with the list: holds, names of what is not there, packs with their facts, piles with
    their components, places.
    """
    found = Gathered()
    day = operation_day(case)
    _units(found, case, plan, units, day)
    _packs(found, case, set_ids, set(plan.contingency_set_ids), day)
    _piles(found, case, plan, day)
    _in_walking_order(found)
    return found


def _units(found: Gathered, case: Case, plan: PickPlan, units: Mapping[int, Unit], day: date) -> None:
    sizes: list[PickSize] = [
        size for slot in plan.slots for size in slot.sizes for _piece in range(size.quantity)
    ]
    wanted = [
        Wanted(key, size.component_id, (GROUP_ORDER.index(PickLine.Group(size.group)), -size.chance))
        for key, size in enumerate(sizes)
    ]
    held = open_holds(units)
    component_ids = {size.component_id for size in sizes}
    candidates = [
        Candidate(
            unit.pk, unit.component_id, unit.tenure, unit.expires, _kept(held.get(unit.pk), case),
            unit.use_first,
        )
        for unit in units.values()
        if unit.component_id in component_ids and unit.site_id == case.site_id and unit.state in Unit.ON_HAND
    ]
    choice = choose_units(wanted, candidates, owner_order=case.site.owner_order, day=day)
    for key, unit_id in sorted(choice.units.items()):
        unit = units[unit_id]
        found.lines.append(
            PickLine(
                group=sizes[key].group,
                site_minimum=sizes[key].site_minimum,
                unit=unit,
                component_id=unit.component_id,
                place_id=unit.place_id,
                bin=unit.bin,
                likelihood=sizes[key].chance,
            )
        )
    if choice.unmet:
        named = Component.objects.select_related("family").in_bulk(
            {unmet.component_id for unmet in choice.unmet}
        )
        found.absent += [_absent_unit(unmet, sizes[unmet.key], named) for unmet in choice.unmet]
        found.short_of_plan += len(choice.unmet)


def _kept(hold: Hold | None, case: Case) -> Kept:
    if hold is None:
        return Kept.FREE
    if hold.case_id == case.pk:
        return Kept.OWN
    return Kept.LIST if kept_for(hold, case) else Kept.OTHER


def _absent_unit(unmet: Unmet, size: PickSize, named: Mapping[int, Component]) -> Absent:
    component = named[unmet.component_id]
    return Absent(
        name=name_words(component),
        size=size_words(component),
        side=component.side,
        group=size.group,
        site_minimum=size.site_minimum,
        chance=size.chance,
        why=_why(unmet),
    )


def _why(unmet: Unmet) -> str:
    if unmet.on_hand == 0:
        return _("none on site")
    parts = []
    if unmet.held:
        parts.append(
            ngettext("%(n)s held for another case", "%(n)s held for other cases", unmet.held)
            % {"n": unmet.held}
        )
    if unmet.out_of_date:
        parts.append(_("%(n)s out of date on the day") % {"n": unmet.out_of_date})
    if not parts:
        # All of them serve other lines of this list.
        return _("%(n)s on site, all on this list already") % {"n": unmet.on_hand}
    return _("%(n)s on site: %(what)s") % {"n": unmet.on_hand, "what": ", ".join(parts)}


def name_words(component: Component) -> str:
    """What it is without its size and side, which stand apart and are never cut with it."""
    return component.family.name if component.size else component.name


def _packs(
    found: Gathered, case: Case, set_ids: Sequence[int], contingency: set[int], day: date
) -> None:
    packs = {pack.pk: pack for pack in Pack.objects.filter(set_id__in=set_ids).select_related("set")}
    for facts in set_facts(site_ids=[case.site_id], set_ids=set_ids):
        group = PickLine.Group.CONTINGENCY if facts.pk in contingency else PickLine.Group.SET
        for tray in facts.missing_trays:
            why = _("tray %(number)s has no pack") % {"number": tray}
            found.absent.append(Absent(name=facts.design, size=facts.code, group=group, why=why))
            found.short_of_plan += 1
        for pack_facts in facts.packs:
            pack = packs[pack_facts.pk]
            if pack_facts.ready_on(day):
                found.lines.append(PickLine(group=group, pack=pack, place_id=pack.place_id, bin=pack.bin))
            else:
                found.absent.append(
                    Absent(name=facts.design, size=facts.code, group=group, why=pack_facts.why_not(day))
                )
                found.short_of_plan += 1


def _piles(found: Gathered, case: Case, plan: PickPlan, day: date) -> None:
    named = Component.objects.in_bulk([component_id for component_id, _n in plan.consumables])
    rows: dict[int, list[Pile]] = {}
    there = Pile.objects.filter(site_id=case.site_id, component_id__in=named, quantity__gt=0)
    for pile in unnamed(there):
        rows.setdefault(pile.component_id, []).append(pile)
    group = PickLine.Group.CONSUMABLE
    for component_id, quantity in plan.consumables:
        piles = {pile.pk: pile for pile in rows.get(component_id, [])}
        heaps = [Heap(pile.pk, pile.tenure, pile.expires, pile.quantity) for pile in piles.values()]
        parts, lacking = choose_piles(quantity, heaps, owner_order=case.site.owner_order, day=day)
        for part in parts:
            pile = piles[part.pile_id]
            found.lines.append(
                PickLine(
                    group=group,
                    pile=pile,
                    component_id=component_id,
                    place_id=pile.place_id,
                    bin=pile.bin,
                    quantity=part.quantity,
                )
            )
        if lacking:
            why = _("%(found)s of %(wanted)s on the shelf and in date") % {
                "found": quantity - lacking,
                "wanted": quantity,
            }
            name = named[component_id].name
            found.absent.append(Absent(name=name, take=lacking, group=group, why=why))


def _in_walking_order(found: Gathered) -> None:
    """By the site's walk, then by bin as people count them (A2-10 after A2-9), then by size."""
    places = Place.objects.in_bulk({line.place_id for line in found.lines})
    components = Component.objects.in_bulk(
        {line.component_id for line in found.lines if line.component_id is not None}
    )

    def key(line: PickLine) -> tuple[object, ...]:
        place = places[line.place_id]
        one = components.get(line.component_id) if line.component_id else None
        size = (one.family_id, one.side, one.size_rank, one.second_rank) if one else (0, "", 0, 0)
        thing = (line.pack.set.code, line.pack.tray) if line.pack else ("", 0)
        return (place.walk, place.code, natural(line.bin), thing, size, line.unit_id or line.pile_id or 0)

    found.lines.sort(key=key)


def natural(text: str) -> Sequence[tuple[int, int, str]]:
    """A key that sorts A2-9 before A2-10."""
    pieces = re.findall(r"\d+|\D+", text)
    return [(0, int(piece), "") if piece.isdecimal() else (1, 0, piece) for piece in pieces]
