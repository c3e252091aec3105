"""Picking by scan: each thing scanned ticks its line of the case's list.

What does not belong is refused in words; nothing is ticked twice.
"""

from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.bookings.once import Answer, act_once
from cases.picks.models import PackFor, PickLine, PickList
from cases.picks.not_this import (
    Goods,
    another_lot,
    goods_words,
    line_words,
    lot_not_read,
    picked_already,
    wrong_goods,
    wrong_pack,
)
from cases.reservations import locking
from trays.instruments.models import Pack
from trays.instruments.queries import set_facts
from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.moving import state_word
from trays.stock.queries import site_day
from trays.web.errors import Refusal
from trays.web.wording import sitetime


def packs_pick(
    *, by: Person, pick_list: PickList, packs: Sequence[Pack], at: datetime, client_key: UUID | None = None
) -> list[PickLine]:
    """Tick the lines of scanned packs: one, or all of a set.

    Raises Refusal "list-replaced", "case-not-open", "not-on-this-list" (says what is wanted instead),
    "picked-already", "not-sterile" (the pack is no longer ready); NotAllowed "not-your-act".
    """

    def choose(lines: Sequence[PickLine]) -> list[PickLine]:
        by_pack = {line.pack_id: line for line in lines if line.pack_id is not None}
        own = [by_pack[pack.pk] for pack in packs if pack.pk in by_pack]
        if not own:
            raise wrong_pack(packs[0], pick_list.case, lines)
        still = [line for line in own if line.picked_at is None]
        if not still:
            raise picked_already(own[0], _("pack %(pack)s") % {"pack": packs[0].number})
        _check_ready(still, pick_list.case, at)
        return still

    return _pick(by, pick_list, choose, at, client_key)


def goods_pick(
    *, by: Person, pick_list: PickList, goods: Goods, at: datetime, client_key: UUID | None = None
) -> list[PickLine]:
    """Tick the line of a scanned unit or consumable: another unit of the same lot will do, another lot not.

    Raises Refusal "list-replaced", "case-not-open", "not-on-this-list" (side and size are said),
    "another-lot" (says which is wanted), "lot-not-read" (a unit by its item number alone),
    "picked-already", "out-of-date" (expired by now, or by the day of the operation), "not-on-hand" (set
    apart since the list was made); NotAllowed "not-your-act".
    """

    def choose(lines: Sequence[PickLine]) -> list[PickLine]:
        own = [line for line in lines if line.component_id == goods.component.pk]
        if not own:
            raise wrong_goods(goods, pick_list.case, lines)
        if not goods.lot and not goods.serial and all(line.unit_id for line in own):
            raise lot_not_read(goods)
        fitting = [line for line in own if _is_it(line, goods)]
        if not fitting:
            raise another_lot(goods, own)
        still = [line for line in fitting if line.picked_at is None]
        if not still:
            raise picked_already(fitting[0], goods_words(goods))
        usable = [line for line in still if _why_not(line, pick_list.case, at) is None]
        if not usable:
            raise _why_not(still[0], pick_list.case, at) or picked_already(still[0], goods_words(goods))
        return usable[:1]

    return _pick(by, pick_list, choose, at, client_key)


def pile_pick(
    *, by: Person, pick_list: PickList, number: int, at: datetime, client_key: UUID | None = None
) -> list[PickLine]:
    """Tick a line of consumables by its number: what lies loose in a cupboard has no label to scan.

    Raises Refusal "scan-it" for any other line, "no-such-line", "picked-already"; NotAllowed.
    """

    def choose(lines: Sequence[PickLine]) -> list[PickLine]:
        line = next((one for one in lines if one.number == number), None)
        if line is None:
            raise Refusal("no-such-line", _("There is no such line on this list."), _("Load the page again."))
        if line.pile_id is None:
            raise Refusal(
                "scan-it",
                _("Line %(line)s, %(what)s, is ticked by its own label.")
                % {"line": number, "what": line_words(line)},
                _("Scan the label, or type the code below the bars."),
            )
        if line.picked_at is not None:
            raise picked_already(line, line_words(line))
        return [line]

    return _pick(by, pick_list, choose, at, client_key)


def pick_undo(
    *, by: Person, pick_list: PickList, at: datetime, client_key: UUID | None = None
) -> list[PickLine]:
    """Take back the last tick: of one line, or of all that one scan ticked.

    Raises Refusal "nothing-to-undo", "left-already" (its pack has left for the theatre); NotAllowed.
    """

    def choose(lines: Sequence[PickLine]) -> list[PickLine]:
        newest = max((line.picked_at for line in lines if line.picked_at is not None), default=None)
        own = [line for line in lines if newest is not None and line.picked_at == newest]
        if not own:
            raise Refusal("nothing-to-undo", _("Nothing of this list is picked."), _("Scan the first line."))
        gone = PackFor.objects.filter(
            case=pick_list.case, pack__in=[line.pack_id for line in own if line.pack_id],
            returned_at__isnull=True, issued_at__gte=newest,
        )  # fmt: skip
        if gone.exists():
            raise Refusal(
                "left-already",
                _("What was picked last has left for the theatre."),
                _("Take it back unopened first."),
            )
        return own

    return _tick("pick_list.undo", by, pick_list, choose, None, at, client_key)


# One tick


def _pick(
    by: Person,
    pick_list: PickList,
    choose: Callable[[Sequence[PickLine]], list[PickLine]],
    at: datetime,
    client_key: UUID | None,
) -> list[PickLine]:
    return _tick("pick_list.pick", by, pick_list, choose, by, at, client_key)


def _tick(
    verb: str,
    by: Person,
    pick_list: PickList,
    choose: Callable[[Sequence[PickLine]], list[PickLine]],
    picker: Person | None,
    at: datetime,
    client_key: UUID | None,
) -> list[PickLine]:
    case = pick_list.case
    require(by=by, act="make_pick_list", site_id=case.site_id)

    def work() -> list[PickLine]:
        # The units too: one that is set apart at this moment is picked before that, or not at all.
        units = pick_list.lines.filter(unit__isnull=False).values_list("unit_id", flat=True)
        locking.lock(cases=[case.pk], units=units)
        check_in_force(pick_list)
        chosen = choose(lines_of(pick_list))
        for line in chosen:
            line.picked_at, line.picked_by = (at, picker) if picker is not None else (None, None)
        PickLine.objects.bulk_update(chosen, ["picked_at", "picked_by"])
        before, after = ("open", "picked") if picker is not None else ("picked", "open")
        record(
            chain=case.site.code, verb=verb, by=by, at=at, client_key=client_key,
            answer={"pick_lines": [line.pk for line in chosen]},
            lines=[Line("pick_line", line.pk, before, after) for line in chosen],
        )  # fmt: skip
        return chosen

    def replay(answer: Answer) -> list[PickLine]:
        return [line for line in lines_of(pick_list) if line.pk in answer["pick_lines"]]

    return act_once(verb=verb, by=by, client_key=client_key, work=work, replay=replay)


def lines_of(pick_list: PickList) -> list[PickLine]:
    """The lines of a list with what is said of them (one query)."""
    rows = pick_list.lines.select_related(
        "unit", "pile", "component__family", "pack__set__version__design", "place"
    )
    return list(rows.order_by("number"))


def _is_it(line: PickLine, goods: Goods) -> bool:
    thing = line.unit or line.pile
    if thing is None:
        return False
    if goods.serial:
        return getattr(thing, "serial", "") == goods.serial
    return not goods.lot or thing.lot == goods.lot


def _why_not(line: PickLine, case: Case, at: datetime) -> Refusal | None:
    """Why the unit of a line may not be taken any more; None where it may."""
    unit = line.unit
    if unit is None:
        return None
    if unit.state not in Unit.ON_HAND:
        return Refusal(
            "not-on-hand",
            _("Not this one: by the record it is %(state)s.") % {"state": state_word(unit.state)},
            _("Set it apart, and make the list again."),
        )
    day = max(site_day(case.site, at), case.list.day)
    if unit.expires is not None and unit.expires < day:
        return Refusal(
            "out-of-date",
            _("Not this one: it could be used until %(day)s.") % {"day": sitetime(unit.expires, "date")},
            _("Set it apart, and make the list again."),
        )
    return None


def check_in_force(pick_list: PickList) -> None:
    """Raises Refusal "list-replaced", "case-not-open"."""
    fresh = PickList.objects.select_related("case").get(pk=pick_list.pk)
    if fresh.replaced_at is not None:
        raise Refusal(
            "list-replaced",
            _("A newer list took the place of this one."),
            _("Open the list in force, and pick by that."),
        )
    if fresh.case.status not in (Case.Status.BOOKED, Case.Status.OPENED):
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is %(status)s.")
            % {"reference": fresh.case.reference, "status": fresh.case.get_status_display().lower()},
            _("Put everything back."),
        )


def _check_ready(lines: Iterable[PickLine], case: Case, at: datetime) -> None:
    packs = {line.pack_id for line in lines}
    sets = {line.pack.set_id for line in lines if line.pack is not None}
    day = max(site_day(case.site, at), case.list.day)
    for facts in set_facts(site_ids=[case.site_id], set_ids=sets):
        for pack in facts.packs:
            if pack.pk in packs and not pack.ready_on(day):
                raise Refusal(
                    "not-sterile",
                    _("Not this one: %(why)s.") % {"why": pack.why_not(day)},
                    _("Set it aside for sterile services, and make the list again."),
                    pack_id=pack.pk,
                )
