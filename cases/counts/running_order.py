"""The running order of a count: one for paper and screen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import PlanConsumable
from cases.counts.models_templates import CountClass
from trays.catalogue.models import Component
from trays.instruments.models import ContentsLine

LOOSE = (CountClass.SOFT, CountClass.SHARP, CountClass.SMALL)
"""Classes of what comes on in packets, not in a pack of instruments."""


def in_order(contents: Sequence[ContentsLine]) -> list[ContentsLine]:
    """A pack's lines from the top of the tray down, section by section; then rack stock by size."""
    instruments = [line for line in contents if line.instrument]
    sections = list(dict.fromkeys(line.section for line in instruments))
    instruments.sort(key=lambda line: sections.index(line.section))
    racked = [line for line in contents if line.rack_stock]
    racked.sort(key=lambda line: size_order(line.rack_stock))
    return [*instruments, *racked]


def size_order(component: Component | None) -> tuple[int, int, int]:
    """Where a component stands among its family's sizes."""
    return (component.family_id, component.size_rank, component.second_rank) if component else (0, 0, 0)


def section_of(line: ContentsLine) -> str:
    """What stands over a line: its part of the tray; rack stock is a part of its own."""
    return _("Rack stock, by size") if line.rack_stock else line.section or _("Contents")


def line_note(parts: int, listed: int, present: int | None) -> str:
    """What is said beside a line: its parts, and where the pack holds another number than the list."""
    notes = []
    if parts > 1:
        notes.append(ngettext("%(n)s part", "%(n)s parts", parts) % {"n": parts})
    if present is None:
        notes.append(_("list %(list)s, not recorded as packed") % {"list": listed})
    elif present < listed:
        notes.append(_("list %(list)s, short %(short)s") % {"list": listed, "short": listed - present})
    elif present > listed:
        notes.append(_("list %(list)s, %(more)s more") % {"list": listed, "more": present - listed})
    return "; ".join(notes)


def loose_kinds(plan_id: int, order: Sequence[str]) -> list[Component]:
    """The kinds of a plan that are counted, by the site's order of classes, then by name (one query)."""
    rows = PlanConsumable.objects.filter(plan_id=plan_id, component__count_class__in=LOOSE)
    place: Mapping[str, int] = {klass: number for number, klass in enumerate(order)}
    kinds = [row.component for row in rows.select_related("component")]
    return sorted(kinds, key=lambda one: (place.get(one.count_class, len(place)), one.name))


def loose_first(order: Iterable[str]) -> bool:
    """Whether soft goods, sharps and small items are counted before what is in packs."""
    first = next((klass for klass in order if klass in (*LOOSE, CountClass.INSTRUMENT, CountClass.RACK)), "")
    return first not in (CountClass.INSTRUMENT, CountClass.RACK)
