"""From a safety notice to the cases to whose table a piece of its lots was brought."""

from collections.abc import Iterable

from django.db.models import Q

from cases.usage.models import Brought, Fate
from trays.catalogue.models import PackLevel
from trays.parties.models import Site
from trays.stock.models_notices import SafetyNotice

# What is in the patient comes first.
_ORDER = {Fate.IMPLANTED: 0, Fate.IMPLANTED_REMOVED: 1, Fate.WASTED: 2, "": 3, Fate.RETURNED_SEALED: 4}


def brought_of(notice: SafetyNotice, *, sites: Iterable[Site]) -> list[Brought]:
    """Pieces of the lots of a notice that came to a table at these sites, implanted ones first (3 queries).

    One whose code was not on file when it was brought is found by the code that is on file now.
    """
    wanted = Q()
    named = list(notice.lots.values_list("component_id", "lot"))
    codes: dict[int, list[str]] = {}
    levels = PackLevel.objects.filter(component__in={pk for pk, _lot in named})
    for component_id, code in levels.values_list("component_id", "code"):
        codes.setdefault(component_id, []).append(code)
    for component_id, lot in named:
        of_item = Q(component=component_id) | Q(component__isnull=True, di__in=codes.get(component_id, []))
        wanted |= of_item & Q(lot=lot) if lot else of_item
    rows = Brought.objects.filter(wanted, replaced_at__isnull=True, case__site__in=list(sites))
    found = rows.select_related(
        "case__procedure", "case__list__theatre", "case__site", "component", "construct", "slot__plan_slot"
    )
    return sorted(found, key=lambda one: (_ORDER.get(one.fate, 3), one.case.starts_at, one.number))
