"""How a stock take ends: it agrees with the record, or the record is adjusted, signed."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, second_may, sign
from trays.stock import claims, notices_open
from trays.stock.apart import end_rows
from trays.stock.arriving import set_apart_rows
from trays.stock.models import Unit, UnitState
from trays.stock.models_apart import ApartCause, ApartEnd
from trays.stock.models_takes import (
    Adjustment,
    AdjustmentLine,
    AdjustmentReason,
    Sighting,
    StockTake,
    TakeStatus,
)
from trays.stock.moving import lock_pile, lock_units, pile_add_within, piles_take_within, step_within
from trays.stock.policies import policy_of
from trays.stock.queries_takes import TakePicture, take_picture, units_lying
from trays.stock.taking import end_take, lock_take, once, write_take
from trays.web.errors import Refusal


def take_agree(*, by: Person, take: StockTake, at: datetime, client_key: UUID | None = None) -> StockTake:
    """End a count that agrees with the record.

    Raises Refusal "differs" (says what), "piles-uncounted", "take-ended"; NotAllowed.
    """
    require(by=by, act="count_stock", site_id=take.site_id)

    def work() -> StockTake:
        lock_units(units_lying(place_id=take.place_id).values_list("pk", flat=True))
        row = lock_take(take)
        picture = _whole(row)
        if picture.differs:
            raise Refusal(
                "differs",
                _("%(lack)s not seen, %(more)s more than on record, %(piles)s piles differ.")
                % {
                    "lack": len(picture.not_seen),
                    "more": len(picture.more),
                    "piles": len(picture.pile_differences),
                },
                _("Count again; what still differs is adjusted and signed."),
            )
        row.expected, row.seen = len(picture.units), picture.seen
        return write_take("take.agree", row, by, at, client_key, [end_take(row, TakeStatus.AGREED, by, at)])

    return once("take.agree", by, client_key, work)


def take_adjust(
    *,
    by: Signer,
    take: StockTake,
    reason: str,
    note: str = "",
    second: Signer | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> StockTake:
    """Make the record what was seen: units not seen are missing, more of a lot are new units.

    Signed; above the site's limit, or where something has no price, by two. Only after a recount.

    Raises Refusal "nothing-differs", "recount-first", "piles-uncounted", "second-missing", "same-person",
    "second-may-not", "note-missing" (for another reason), "take-ended"; NotAllowed.
    """
    person = by.person
    require(by=person, act="adjust_stock", site_id=take.site_id)
    if reason == AdjustmentReason.OTHER and not note.strip():
        raise Refusal("note-missing", _("Nothing is said of it."), _("Say in a few words what happened."))

    def work() -> StockTake:
        lock_units(units_lying(place_id=take.place_id).values_list("pk", flat=True))
        row = lock_take(take)
        picture = _whole(row)
        _check_adjustable(picture)
        limit = policy_of(row.site_id).adjustment_limit
        _check_second(by, second, row, two=picture.value > limit or picture.unpriced > 0)
        content = content_of(picture, reason)
        parts: dict[str, Any] = {"subject": "stock_take", "subject_id": row.pk, "content": content, "at": at}
        first_name = sign(by=by, meaning=Signature.Meaning.ADJUSTED, **parts)
        second_name = sign(by=second, meaning=Signature.Meaning.WITNESSED, **parts) if second else None
        made = Adjustment.objects.create(
            take=row, site=row.site, reason=reason, note=note.strip()[:200], value=picture.value,
            limit=limit, currency=row.site.currency, unpriced=picture.unpriced, at=at,
            signature=first_name, second=second_name,
        )  # fmt: skip
        lines = _adjust(picture, made, by=person, at=at)
        row.expected, row.seen = len(picture.units), picture.seen
        lines.append(end_take(row, TakeStatus.ADJUSTED, person, at))
        record(
            chain=row.site.code, verb="take.adjust", by=person, at=at, place_id=row.place_id, reason=reason,
            client_key=client_key, answer={"take": row.pk}, lines=lines,
        )  # fmt: skip
        return row

    return once("take.adjust", person, client_key, work)


def content_of(picture: TakePicture, reason: str) -> dict[str, Any]:
    """What the signatures under an adjustment are bound to: each thing that changes, and why."""
    return {
        "take": picture.take.number,
        "round": picture.take.round,
        "reason": reason,
        "not_seen": sorted([unit.component.code, unit.lot, unit.serial] for unit in picture.not_seen),
        "more": sorted([one.component.code, one.lot] for one in picture.more),
        "piles": sorted(
            [one.pile.component.code, one.pile.lot, one.pile.quantity, one.counted]
            for one in picture.pile_differences
        ),
    }


def _whole(row: StockTake) -> TakePicture:
    picture = take_picture(row)
    if picture.uncounted:
        one = picture.uncounted[0].pile
        raise Refusal(
            "piles-uncounted",
            _("%(what)s, lot %(lot)s, has not been counted.") % {"what": one.component, "lot": one.lot},
            _("Count every pile of this place; 0 where nothing is left."),
        )
    return picture


def _check_adjustable(picture: TakePicture) -> None:
    if not picture.differs:
        raise Refusal("nothing-differs", _("The count agrees with the record."), _("End it as it is."))
    if picture.take.round < 2:
        raise Refusal(
            "recount-first",
            _("A difference is counted a second time before the record is changed."),
            _("Begin the recount."),
        )


def _check_second(first: Signer, second: Signer | None, row: StockTake, *, two: bool) -> None:
    if second is None:
        if two:
            raise Refusal(
                "second-missing",
                _("This changes more than one person may sign for here."),
                _("Let a second person sign with you."),
            )
        return
    if second.person.pk == first.person.pk:
        raise Refusal(
            "same-person",
            _("The second signature is another person's."),
            _("Let the second person enter their own PIN."),
        )
    second_may(second, act="adjust_stock", site_id=row.site_id)


def _adjust(picture: TakePicture, made: Adjustment, *, by: Person, at: datetime) -> list[Line]:
    gone = lock_units(unit.pk for unit in picture.not_seen)
    lines = step_within(units=gone, state=UnitState.MISSING)
    lines += claims.give_up_within(gone, at)
    end_rows(gone, end=ApartEnd.MISSING, by=by, at=at)
    rows = [
        AdjustmentLine(adjustment=made, unit=unit, quantity=-1, price=unit.component.price) for unit in gone
    ]
    for unit in _new_units(picture.more, picture.take, by, at):
        lines.append(Line("unit", unit.pk, "", unit.state, 1))
        rows.append(AdjustmentLine(adjustment=made, unit=unit, quantity=1, price=unit.component.price))
    for one in picture.pile_differences:
        pile, pieces = lock_pile(one.pile.pk), abs(one.difference)
        lines.append(
            pile_add_within(pile=pile, pieces=pieces, before="found")
            if one.difference > 0
            else piles_take_within(pile=pile, pieces=pieces, after="missing")
        )
        rows.append(
            AdjustmentLine(
                adjustment=made, pile=pile, quantity=one.difference, price=pile.component.price
            )
        )
    AdjustmentLine.objects.bulk_create(rows)
    return lines


def _new_units(more: Iterable[Sighting], take: StockTake, by: Person, at: datetime) -> list[Unit]:
    """What was found beyond the record is like the others of its lot."""
    made = []
    for one in more:
        notices = notices_open.naming(component_id=one.component_id, lot=one.lot)
        like = Unit.objects.filter(component=one.component, lot=one.lot, serial="")
        twin = like.filter(site=take.site).order_by("-pk").first() or like.order_by("-pk")[0]
        made.append(
            Unit.objects.create(
                component=one.component, lot=one.lot, expires=twin.expires, owner_id=twin.owner_id,
                tenure=twin.tenure, site=take.site, place=take.place, received_at=at,
                state=UnitState.QUARANTINE if notices else UnitState.SHELF,
            )
        )  # fmt: skip
        if notices:
            set_apart_rows(made[-1:], cause=ApartCause.NOTICE, note=notices[0].number, by=by, at=at)
        for notice in notices:
            notices_open.add_arrived(notice, made[-1:], by=by, at=at)
    return made
