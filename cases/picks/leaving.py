"""Packs that leave for a case, are opened for it, or come back from it: each in one act, and on file since.

A fact (a pack opened, one that came back) is taken down whatever the list said.
"""

from collections.abc import Callable, Collection, Iterable, Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.bookings.once import act_once
from cases.picks.models import PackFor, PickLine, PickList
from cases.picks.ticking import check_in_force
from cases.reservations import locking
from trays.instruments.models import Pack, PackState
from trays.ledger.append import Line, record
from trays.places.models import Place
from trays.processing.moving import lock_packs
from trays.processing.storing import issue_within, open_within, return_within
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

ON_A_SHELF = (PackState.RELEASED, PackState.STORED)


def packs_issue_for(
    *, by: Person, pick_list: PickList, at: datetime, client_key: UUID | None = None
) -> list[PackFor]:
    """Issue the picked packs of a list to the case's theatre: one act for all that have not left yet.

    Raises Refusal "nothing-picked", "list-replaced", "case-not-open", and what `storing.packs_issue` raises;
    NotAllowed.
    """
    case = pick_list.case
    require(by=by, act="issue_packs", site_id=case.site_id)
    theatre = case.list.theatre

    def work() -> list[PackFor]:
        locking.lock(cases=[case.pk])
        check_in_force(pick_list)
        made, lines = issue_for_within(by=by, pick_list=pick_list, at=at)
        if not made:
            raise Refusal(
                "nothing-picked",
                _("No picked pack of this list is waiting to leave."),
                _("Scan the packs first; each scan ticks its line."),
            )
        _record(case, "pick_list.issue", by, at, client_key, lines, made, theatre)
        return made

    return _once("pick_list.issue", by, client_key, work, case)


def issue_for_within(
    *, by: Person, pick_list: PickList, at: datetime, but: Collection[int] = ()
) -> tuple[list[PackFor], list[Line]]:
    """The same within a larger act that has locked the case; nothing where no picked pack waits to leave.

    `but` are packs that stay as they are.
    """
    case = pick_list.case
    ticked = pick_list.lines.filter(pack__isnull=False, picked_at__isnull=False).exclude(pack__in=list(but))
    had = set(_had(case).values_list("pack_id", "round"))
    picked = lock_packs(ticked.values_list("pack_id", flat=True))
    # One that came back by another door is here again, whatever was kept of it.
    locked = [pack for pack in picked if (pack.pk, pack.round) not in had or pack.state in ON_A_SHELF]
    if not locked:
        return [], []
    moved = issue_within(by=by, locked=locked, place=case.list.theatre, at=at)
    # It is no longer with the case that had it before.
    PackFor.objects.filter(_of(locked), returned_at__isnull=True, opened_at__isnull=True).update(
        returned_at=at, returned_by=by
    )
    made = PackFor.objects.bulk_create(
        [PackFor(case=case, pack=pack, round=pack.round, issued_at=at, issued_by=by) for pack in locked]
    )
    return made, [*_lines(made, "picked", "issued"), *moved]


def packs_open_for(
    *, by: Person, case: Case, packs: Collection[Pack], at: datetime, client_key: UUID | None = None
) -> list[PackFor]:
    """Take down that packs were opened for a case. A fact: one that nobody had issued for it is taken down
    too.

    Raises Refusal "no-packs", and "no-way" only as `storing.packs_open` does; NotAllowed.
    """
    require(by=by, act="issue_packs", site_id=case.site_id)
    _some(packs)

    def work() -> list[PackFor]:
        locked = lock_packs(pack.pk for pack in packs)
        rows, lines = open_for_within(by=by, case=case, locked=locked, at=at)
        _record(case, "case.open-packs", by, at, client_key, lines, rows, case.list.theatre)
        return rows

    return _once("case.open-packs", by, client_key, work, case)


def open_for_within(
    *, by: Person, case: Case, locked: Collection[Pack], at: datetime
) -> tuple[list[PackFor], list[Line]]:
    """The same for locked packs within a larger act, with no event written."""
    moved = open_within(by=by, locked=locked, place=case.list.theatre, at=at)
    PackFor.objects.filter(_of(locked), returned_at__isnull=True, opened_at__isnull=True).exclude(
        case=case
    ).update(returned_at=at, returned_by=by)
    rows = []
    for pack in locked:
        row, _made = PackFor.objects.get_or_create(
            case=case, pack=pack, round=pack.round, returned_at=None,
            defaults={"issued_at": at, "issued_by": by},
        )  # fmt: skip
        row.opened_at, row.opened_by = at, by
        row.save(update_fields=["opened_at", "opened_by"])
        rows.append(row)
    return rows, [*_lines(rows, "issued", "opened"), *moved]


def packs_return_from(
    *,
    by: Person,
    case: Case,
    packs: Collection[Pack],
    place: Place,
    bin: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> list[PackFor]:
    """Take back packs that a case did not open, whole and dry, onto a shelf.

    Raises Refusal "no-packs", "no-way", "not-with-this-case"; NotAllowed.
    """
    require(by=by, act="store_packs", site_id=case.site_id)
    _some(packs)

    def work() -> list[PackFor]:
        locked = lock_packs(pack.pk for pack in packs)
        rows = list(PackFor.objects.filter(_of(locked), case=case, returned_at__isnull=True))
        if len(rows) != len(locked):
            raise Refusal(
                "not-with-this-case",
                _("Not all of these packs are with case %(case)s.") % {"case": case.reference},
                _("Load the page again; bring others back on the page Store."),
            )
        moved = return_within(by=by, locked=locked, place=place, bin=bin, at=at)
        PackFor.objects.filter(pk__in=[row.pk for row in rows]).update(returned_at=at, returned_by=by)
        # What is back on its shelf is to be picked again, if it is still wanted.
        PickLine.objects.filter(pick_list__case=case, pack__in=locked).update(picked_at=None, picked_by=None)
        lines = [*_lines(rows, "issued", "returned"), *moved]
        _record(case, "case.return-packs", by, at, client_key, lines, rows, place)
        return rows

    return _once("case.return-packs", by, client_key, work, case)


def _had(case: Case) -> QuerySet[PackFor]:
    return PackFor.objects.filter(case=case, returned_at__isnull=True)


def _of(packs: Iterable[Pack]) -> Q:
    found = Q(pk__in=[])
    for pack in packs:
        found |= Q(pack=pack, round=pack.round)
    return found


def _some(packs: Collection[Pack]) -> None:
    if not packs:
        raise Refusal("no-packs", _("No pack is named."), _("Choose the packs that it is about."))


def _lines(rows: Iterable[PackFor], before: str, after: str) -> list[Line]:
    """The case itself is as it was: its own lines would say that its list may no longer fit."""
    return [Line("pack_for", row.pk, before, after) for row in rows]


def _record(
    case: Case, verb: str, by: Person, at: datetime, client_key: UUID | None, lines: list[Line],
    rows: Sequence[PackFor], place: Place,
) -> None:  # fmt: skip
    record(
        chain=case.site.code, verb=verb, by=by, at=at, place_id=place.pk, client_key=client_key,
        answer={"packs_for": [row.pk for row in rows]}, lines=lines,
    )  # fmt: skip


def _once(
    verb: str, by: Person, client_key: UUID | None, work: Callable[[], list[PackFor]], case: Case
) -> list[PackFor]:
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(PackFor.objects.filter(case=case, pk__in=answer["packs_for"])),
    )
