"""Holding a set for the time an operation needs it, with the way back; giving it up again.

Two holds of one set never overlap: the set's row is locked, and the database refuses what comes past it.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from cases.bookings.models import Case, TheatreList
from cases.bookings.once import act_once
from cases.reservations import locking, queries
from cases.reservations.hold import REASONS, one_keeper
from cases.reservations.models import SetHold
from cases.reservations.queries import Keeper
from trays.instruments.models import InstrumentSet
from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal
from trays.web.wording import sitetime


def set_hold(
    *,
    by: Person,
    instrument_set: InstrumentSet,
    at: datetime,
    case: Case | None = None,
    theatre_list: TheatreList | None = None,
    client_key: UUID | None = None,
) -> SetHold:
    """Hold a set for a case, or a list, from its start until its end and the site's turnaround.

    Raises Refusal "set-held-by-another", which says when the set is free again, "elsewhere", "case-not-open",
    "list-empty"; NotAllowed "not-your-act".
    """
    keeper = one_keeper(case, theatre_list)
    require(by=by, act="hold_stock", site_id=keeper.site_id)

    def work() -> SetHold:
        locked = locking.lock(
            cases=[keeper.pk] if isinstance(keeper, Case) else (), sets=[instrument_set.pk]
        )
        kept = locked.cases.get(keeper.pk, keeper) if isinstance(keeper, Case) else keeper
        made = place_set_hold(instrument_set=locked.sets[instrument_set.pk], keeper=kept, by=by, at=at)
        record(
            chain=keeper.site.code,
            verb="set.hold",
            by=by,
            at=at,
            lines=[Line("set", instrument_set.pk, "free", "held")],
            client_key=client_key,
            answer={"set_hold": made.pk},
        )
        return made

    return act_once(
        verb="set.hold",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: SetHold.objects.get(pk=answer["set_hold"]),
    )


def set_release(
    *,
    by: Person,
    instrument_set: InstrumentSet,
    at: datetime,
    case: Case | None = None,
    theatre_list: TheatreList | None = None,
    reason: str = "released",
) -> int:
    """End the set's open holds for this case or list; the number ended.

    Raises Refusal "not-held" when there is none, NotAllowed "not-your-act".
    """
    keeper = one_keeper(case, theatre_list)
    require(by=by, act="hold_stock", site_id=keeper.site_id)
    with transaction.atomic():
        locking.lock(sets=[instrument_set.pk])
        held = list(queries.set_holds_of(keeper).filter(set_id=instrument_set.pk))
        lines = end_set_holds(holds=held, at=at, reason=reason)
        if not lines:
            raise Refusal(
                "not-held",
                _("Set %(set)s is not held for it.") % {"set": instrument_set.code},
                _("Load the page again and look at what is held now."),
            )
        record(chain=keeper.site.code, verb="set.release", by=by, at=at, lines=lines, reason=reason)
    return len(lines)


def place_set_hold(
    *, instrument_set: InstrumentSet, keeper: Keeper, by: Person, at: datetime
) -> SetHold:
    """Hold a locked set within a larger act, with no event written. A hold it already has is kept as it is.

    Raises the refusals of `set_hold`.
    """
    starts_at, ends_at = _interval(keeper)
    if instrument_set.site_id != keeper.site_id:
        raise Refusal(
            "elsewhere",
            _("Set %(set)s is at another site.") % {"set": instrument_set.code},
            _("Have it sent to %(site)s first, or hold one that is there.") % {"site": keeper.site.name},
        )
    for other in queries.set_holds_within([instrument_set.pk], starts_at, ends_at):
        if queries.kept_for(other, keeper) and other.starts_at <= starts_at and ends_at <= other.ends_at:
            return other
        if queries.is_own(other, keeper):
            # The case has become longer, or moved a little, since: a new hold of today's length instead.
            end_set_holds(holds=[other], at=at, reason="replaced")
            continue
        raise _taken(instrument_set, keeper, starts_at, ends_at - starts_at)
    new = SetHold(
        set=instrument_set,
        case=keeper if isinstance(keeper, Case) else None,
        list=keeper if isinstance(keeper, TheatreList) else None,
        starts_at=starts_at,
        ends_at=ends_at,
        placed_at=at,
        placed_by=by,
    )
    try:
        with transaction.atomic():
            new.save(force_insert=True)
    except IntegrityError as error:
        if "set_hold_overlap" not in str(error):
            raise
        raise _taken(instrument_set, keeper, starts_at, ends_at - starts_at) from error
    return new


def end_set_holds(*, holds: Iterable[SetHold], at: datetime, reason: str) -> list[Line]:
    """End set holds within a larger act; return the event's lines. One ended by somebody else is left out."""
    if reason not in REASONS:
        raise ValueError(f"a hold does not end as {reason!r}")
    lines = []
    for hold in sorted(holds, key=lambda hold: (hold.set_id, hold.pk)):
        open_still = SetHold.objects.filter(pk=hold.pk, ended_at__isnull=True)
        if open_still.update(ended_at=at, ended_reason=reason) == 1:
            lines.append(Line("set", hold.set_id, "held", "free"))
    return lines


def _interval(keeper: Keeper) -> tuple[datetime, datetime]:
    if isinstance(keeper, Case) and keeper.status not in (Case.Status.BOOKED, Case.Status.OPENED):
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is no longer open; no set is held for it.")
            % {"reference": keeper.reference},
            _("Book a new case if the operation takes place after all."),
        )
    found = queries.set_interval(keeper)
    if found is None:
        raise Refusal(
            "list-empty",
            _("There is no case on this list yet, so it is not known when the set is needed."),
            _("Book a case on the list first, or hold the set for a case."),
        )
    return found


def _taken(wanted: InstrumentSet, keeper: Keeper, starts_at: datetime, length: timedelta) -> Refusal:
    free = queries.free_again(wanted.pk, starts_at, length)
    return Refusal(
        "set-held-by-another",
        _("Set %(set)s is held for another case at that time.") % {"set": wanted.code},
        _("It is free again from %(moment)s. Choose another of its kind, or change the order of the list.")
        % {"moment": sitetime(queries.at_site(free, keeper.site))},
        set_id=wanted.pk,
        free_again=free.isoformat(),
    )
