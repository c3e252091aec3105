"""What it comes to when packs are brought to a place: put on a shelf, taken back unopened, or issued."""

from collections.abc import Collection
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.instruments.models import Pack, PackState
from trays.places.models import Place
from trays.processing.storing import OUTLETS, SHELVES, packs_issue, packs_return, packs_store
from trays.staff.models import Person
from trays.web.errors import Refusal


def packs_put(
    *,
    by: Person,
    packs: Collection[Pack],
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> str:
    """Bring packs to a place and say what was done: by the place, and by where the packs come from.

    Raises Refusal "no-place-for-packs" for a place that is neither shelf nor theatre nor trolley, and what
    `packs_store`, `packs_return` and `packs_issue` raise.
    """
    if place.kind in OUTLETS:
        packs_issue(by=by, packs=packs, place=place, at=at, client_key=client_key)
        said = ngettext("%(packs)s is issued to %(place)s.", "%(packs)s are issued to %(place)s.", len(packs))
    elif place.kind not in SHELVES:
        raise no_place(place)
    elif packs and all(pack.state == PackState.ISSUED for pack in packs):
        packs_return(by=by, packs=packs, place=place, bin=bin, at=at, client_key=client_key)
        said = ngettext(
            "%(packs)s is back unopened, on %(place)s.",
            "%(packs)s are back unopened, on %(place)s.",
            len(packs),
        )
    else:
        packs_store(by=by, packs=packs, place=place, bin=bin, at=at, client_key=client_key)
        said = ngettext("%(packs)s is on %(place)s.", "%(packs)s are on %(place)s.", len(packs))
    return said % {"packs": named(packs), "place": place.name}


def named(packs: Collection[Pack]) -> str:
    """Packs by their numbers, or how many where they are many."""
    if len(packs) > 3:
        return ngettext("%(n)s pack", "%(n)s packs", len(packs)) % {"n": len(packs)}
    numbers = ", ".join(pack.number for pack in packs)
    return ngettext("Pack %(numbers)s", "Packs %(numbers)s", len(packs)) % {"numbers": numbers}


def no_place(place: Place) -> Refusal:
    """What is said of a place to which no pack is brought from here."""
    return Refusal(
        "no-place-for-packs",
        _("%(place)s is neither a shelf nor a theatre nor a trolley.") % {"place": place.name},
        _("Scan a shelf’s label, or a theatre’s. What comes back used is received on its own page."),
    )
