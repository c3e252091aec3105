"""The one place where a unit changes its state or a pile its count, with the event's lines as answer.

`lock_units` first, in the act's transaction, then `step_within`; the caller writes the event last. A line
carries +1 when a unit comes into stock and -1 when it leaves it, so that stock is the sum of the lines.
"""

from collections.abc import Collection, Iterable
from typing import Any

from django.db import connection
from django.db.models import F, QuerySet
from django.utils.translation import gettext as _

from trays.ledger.append import Line
from trays.places.models import Place
from trays.stock.models import Pile, Unit, UnitState
from trays.stock.ways import ASTRAY, FATES, STOCK, WAYS, way
from trays.web.errors import Refusal

__all__ = [
    "STOCK", "WAYS", "lock_pile", "lock_units", "pile_add_within", "piles_take_within", "state_word",
    "step_within",
]  # fmt: skip


def lock_units(pks: Iterable[int]) -> list[Unit]:
    """The units, locked, in order of their key; call inside the transaction of the act.

    Raises Refusal "unit-gone" when one of them is not on file.
    """
    wanted = sorted(set(pks))
    # The lock alone, then the reading: a row that moved while PostgreSQL waited for it falls out of a join.
    own = Unit.objects.filter(pk__in=wanted).order_by("pk")
    _lock(own)
    rows = list(own.select_related("component", "site", "place", "owner"))
    if len(rows) != len(wanted):
        raise Refusal("unit-gone", _("A unit is not on file."), _("Scan it again."))
    return rows


def step_within(
    *, units: Collection[Unit], state: str, place: Place | None = None, bin: str | None = None
) -> list[Line]:
    """Take locked units to a state, and to a place if one is given; return the event's lines.

    A unit that is in the state already only moves. Without a place it stays where it is; a new place without
    a bin empties the bin.

    Raises Refusal "no-way-unit", which says what the unit is, and "place-elsewhere" for a shelf of another
    site, unless the unit was on its way, missing or gone, or it is what happened to it in theatre.
    """
    state = UnitState(state)
    for unit in units:
        if not (way(unit.state, state) or (unit.state == state and state in STOCK and place is not None)):
            raise no_way(unit, state)
        if place is not None and place.site_id != unit.site_id and not _may_turn_up(unit, state):
            raise Refusal(
                "place-elsewhere",
                _("This place is at another site."),
                _("Choose a place of this site; a transfer between sites is an act of its own."),
            )
    lines = [_line(unit, state, place) for unit in units]
    new: dict[str, Any] = {"state": state}
    if place is not None:
        new |= {"place": place, "site": place.site, "bin": bin or ""}
    elif bin is not None:
        new["bin"] = bin
    Unit.objects.filter(pk__in=[unit.pk for unit in units]).update(**new)
    for unit in units:
        for name, value in new.items():
            setattr(unit, name, value)
    return lines


def lock_pile(pk: int) -> Pile:
    """The pile, locked. Raises Refusal "pile-gone"."""
    _lock(Pile.objects.filter(pk=pk))
    pile = Pile.objects.select_related("component", "site", "place", "owner").filter(pk=pk).first()
    if pile is None:
        raise Refusal("pile-gone", _("This pile is not on file."), _("Look the consumable up again."))
    return pile


def piles_take_within(*, pile: Pile, pieces: int, after: str = "taken") -> Line:
    """Take so many pieces off a pile; return the event's line. `after` says where they went.

    Raises Refusal "not-enough" with what is there, "no-pieces".
    """
    _check_pieces(pieces)
    own = lock_pile(pile.pk)
    if own.quantity < pieces:
        raise Refusal(
            "not-enough",
            _("Of %(what)s, lot %(lot)s, %(there)s are on file at %(place)s.")
            % {"what": own.component, "lot": own.lot, "there": own.quantity, "place": own.place},
            _("Take no more than there are, or count the pile first."),
            there=own.quantity,
        )
    Pile.objects.filter(pk=own.pk).update(quantity=F("quantity") - pieces)
    pile.quantity = own.quantity - pieces
    return Line("pile", pile.pk, "shelf", after, -pieces)


def pile_add_within(*, pile: Pile, pieces: int, before: str = "") -> Line:
    """Put so many pieces onto a pile; return the event's line. `before` says where they came from."""
    _check_pieces(pieces)
    own = lock_pile(pile.pk)
    Pile.objects.filter(pk=own.pk).update(quantity=F("quantity") + pieces)
    pile.quantity = own.quantity + pieces
    return Line("pile", pile.pk, before, "shelf", pieces)


def state_word(state: str) -> str:
    """The state as it stands within a sentence."""
    return str(UnitState(state).label).lower()


def no_way(unit: Unit, after: str) -> Refusal:
    """What is said of a unit that cannot take this step."""
    follows = [state_word(state) for state in WAYS[unit.state] if state not in FATES]
    return Refusal(
        "no-way-unit",
        _("%(unit)s is %(state)s; it cannot become %(after)s from there.")
        % {"unit": unit, "state": state_word(unit.state), "after": state_word(after)},
        _("Next for it: %(what)s. Somebody may have moved it a moment ago: load the page again.")
        % {"what": _(" or ").join(follows)}
        if follows
        else _("Look at its history, and tell quality if the record is wrong."),
        unit_id=unit.pk,
        state=unit.state,
    )


def _lock(rows: QuerySet[Any]) -> None:
    # no_key: others may still point to the row (a new hold does), only not change it.
    no_key = connection.features.has_select_for_no_key_update
    list(rows.select_for_update(no_key=no_key).values_list("pk", flat=True))


def _line(unit: Unit, state: str, place: Place | None) -> Line:
    if unit.state == state:
        return Line("unit", unit.pk, unit.place.code, place.code if place else "")
    return Line("unit", unit.pk, unit.state, state, (state in STOCK) - (unit.state in STOCK))


def _may_turn_up(unit: Unit, state: str) -> bool:
    return unit.state in ASTRAY or state in FATES


def _check_pieces(pieces: int) -> None:
    if pieces < 1:
        raise Refusal("no-pieces", _("This is no number of pieces."), _("Put the number right."))
