"""The one place where a pack changes its state: locked, checked against the ways, and written as a step."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import F, Max
from django.utils.translation import gettext as _

from trays.instruments.models import Pack, PackState
from trays.instruments.ready import state_word
from trays.ledger.append import Line
from trays.places.models import Place
from trays.processing.models import Move
from trays.processing.models_machines import Run, RunPack, RunState
from trays.processing.ways import way, ways_on
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Step:
    """What is the same for all packs that move together.

    `happened_at` is when it was done, where that is not when it is recorded. `changes` are further fields of
    the pack that change with the step. Without `place` a pack stays where it is.
    """

    by: Person
    at: datetime
    happened_at: datetime | None = None
    place: Place | None = None
    bin: str = ""
    run: Run | None = None
    reason: str = ""


def lock_packs(ids: Iterable[int]) -> list[Pack]:
    """The packs, locked, in order of their key; call inside the transaction of the act.

    Raises Refusal "pack-gone" when one of them is not on file.
    """
    wanted = sorted(set(ids))
    # The lock alone, then the reading: PostgreSQL looks again at a row that it has waited for, and one whose
    # place has changed meanwhile falls out of a join with the place.
    own = Pack.objects.filter(pk__in=wanted).order_by("pk")
    list(own.select_for_update().values_list("pk", flat=True))
    rows = list(own.select_related("set__site", "set__version__design", "place"))
    if len(rows) != len(wanted):
        raise Refusal("pack-gone", _("A pack is not on file."), _("Scan it again."))
    return rows


def move(
    packs: Collection[Pack],
    after: str,
    step: Step,
    *,
    expected: Collection[str] | None = None,
    **changes: Any,
) -> list[Line]:
    """Take locked packs to a state; return the event's lines. The caller records the event.

    `expected` are the states in which the act may find them; None for any from which a way leads. A pack
    that comes to be received begins its next round.

    Raises Refusal "no-way": it says what the pack is, why it cannot go in here, and what to do.
    """
    for pack in packs:
        if way(pack.state, after) is None or (expected is not None and pack.state not in expected):
            raise no_way(pack, after)
    last = dict(
        Move.objects.filter(pack__in=packs).order_by().values_list("pack").annotate(newest=Max("sequence"))
    )
    moment = step.happened_at or step.at
    new: dict[str, Any] = {"state": after, "since": moment}
    if step.place is not None:
        new |= {"place": step.place, "bin": step.bin}
    if after == PackState.RECEIVED:
        new |= _AT_THE_START
    new |= changes
    lines, moves = [], []
    for pack in packs:
        before, since = pack.state, pack.since
        pack.round += 1 if after == PackState.RECEIVED else 0
        for name, value in new.items():
            setattr(pack, name, value)
        moves.append(
            Move(
                pack=pack, sequence=last.get(pack.pk, 0) + 1, round=pack.round, before=before, after=after,
                since=since, at=moment, recorded_at=step.at, by=step.by, site_id=pack.set.site_id,
                place=pack.place, run=step.run, reason=step.reason,
            )
        )  # fmt: skip
        lines.append(Line("pack", pack.pk, before, after))
    # The step first: the database lets a state change only where a step says so.
    Move.objects.bulk_create(moves)
    if after == PackState.RECEIVED:
        new["round"] = F("round") + 1
    rows = Pack.objects.filter(pk__in=[pack.pk for pack in packs])
    rows.update(**new)
    if step.run is None:
        # What leaves by another door is no longer in a machine that has not begun.
        RunPack.objects.filter(pack__in=packs, open=True, run__state=RunState.FILLING).delete()
    return lines


_AT_THE_START: dict[str, Any] = {
    "sterile_until": None, "load": "", "immediate_use": False, "packed_at": None, "packed_by": None,
}  # fmt: skip


def no_way(pack: Pack, after: str) -> Refusal:
    """What is said of a pack that cannot take this step."""
    return Refusal(
        "no-way",
        _("Pack %(pack)s of set %(set)s is %(state)s; it cannot become %(after)s from there.")
        % {
            "pack": pack.number,
            "set": pack.set.code,
            "state": state_word(pack.state),
            "after": state_word(after),
        },
        _next_step(pack),
        pack_id=pack.pk,
        state=pack.state,
    )


def _next_step(pack: Pack) -> str:
    follows = ways_on(pack.state)
    if not follows:
        return _("Look at its history and ask the person in charge of sterile services.")
    return _("Next for it: %(what)s. Somebody may have moved it a moment ago: load the page again.") % {
        "what": _(" or ").join(state_word(state) for state in follows)
    }
