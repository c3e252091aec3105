"""Who counts on a unit: asked of the rooms above, which know of cases; this one does not.

A room above registers once how to name whom units are kept for, and how to end that when a unit leaves the
shelf otherwise than for them.
"""

from collections.abc import Callable, Collection, Mapping
from datetime import datetime

from django.utils.translation import gettext as _

from trays.ledger.append import Line
from trays.stock.models import Unit
from trays.web.errors import Refusal

Words = Callable[[Collection[int]], Mapping[int, str]]
GiveUp = Callable[[Collection[Unit], datetime], list[Line]]

_claims: list[tuple[Words, GiveUp]] = []


def register(words: Words, give_up: GiveUp) -> None:
    """`words` says for whom units are kept, by their ids; `give_up` ends that and returns event lines."""
    if (words, give_up) not in _claims:
        _claims.append((words, give_up))


def kept_for(unit_ids: Collection[int]) -> dict[int, str]:
    """For whom each of these units is kept, in words; those kept for nobody are left out."""
    found: dict[int, str] = {}
    for words, _give_up in _claims:
        found.update(words(unit_ids))
    return found


def give_up_within(units: Collection[Unit], at: datetime) -> list[Line]:
    """End whatever the units are kept for, within the act that takes them away; they are locked."""
    return [line for _words, give_up in _claims for line in give_up(units, at)]


def refuse_kept(units: Collection[Unit]) -> None:
    """Raises Refusal "kept-for" when somebody counts on one of the units."""
    kept = kept_for([unit.pk for unit in units])
    for unit in units:
        if unit.pk in kept:
            raise Refusal(
                "kept-for",
                _("%(unit)s is kept for %(whom)s.") % {"unit": unit, "whom": kept[unit.pk]},
                _("Take another one; or have it given free there first."),
                unit_id=unit.pk,
            )
