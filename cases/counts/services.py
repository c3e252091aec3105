"""Making count sheets: one for each pack of the pick list, one for soft goods, sharps and small items."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID, uuid4

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.bookings.once import Answer, act_once
from cases.counts import queries
from cases.counts.models import CountSheet
from cases.picks.papers import COUNT_SHEET, number_of
from cases.picks.queries import in_force
from cases.reservations import locking
from trays.instruments.models import Pack
from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def count_sheets_make(
    *, by: Person, case: Case, at: datetime, client_key: UUID | None = None
) -> tuple[CountSheet, ...]:
    """Make the case's count sheets from the pick list in force; earlier sheets are replaced.

    One for soft goods first, then one for each pack, by set and tray: the order of the sheets. Each has a
    number of its own and keeps the pack's round. One event "count_sheets.make". Raises Refusal
    "no-pick-list", "case-not-open"; NotAllowed "not-your-act".
    """
    require(by=by, act="print_count_sheets", site_id=case.site_id)

    def make() -> tuple[CountSheet, ...]:
        locked = locking.lock(cases=[case.pk])
        _refuse_ended(locked.cases[case.pk])
        packs = _packs(case)
        earlier = CountSheet.objects.filter(case=case, replaced_at__isnull=True)
        lines = [Line("count_sheet", pk, "made", "replaced") for pk in earlier.values_list("pk", flat=True)]
        earlier.update(replaced_at=at)
        made = _write(case, packs, by, at)
        record(
            chain=case.site.code,
            verb="count_sheets.make",
            by=by,
            at=at,
            lines=[*lines, *(Line("count_sheet", sheet.pk, "", "made") for sheet in made)],
            client_key=client_key,
            answer={"case": case.pk, "count_sheets": [sheet.pk for sheet in made]},
        )
        return made

    def replay(answer: Answer) -> tuple[CountSheet, ...]:
        if answer["case"] != case.pk:
            raise Refusal(
                "key-used-before",
                _("This form was already used for something else."),
                _("Open the page again and give it once more."),
            )
        return tuple(queries.sheets(case).filter(pk__in=answer["count_sheets"]))

    return act_once(verb="count_sheets.make", by=by, client_key=client_key, work=make, replay=replay)


def _packs(case: Case) -> list[Pack]:
    pick_list = in_force(case)
    if pick_list is None:
        raise Refusal(
            "no-pick-list",
            _("Case %(reference)s has no pick list yet, so it is not known which packs there will be.")
            % {"reference": case.reference},
            _("Make the pick list first."),
        )
    ids = pick_list.lines.filter(pack__isnull=False).values_list("pack_id", flat=True)
    return list(Pack.objects.filter(pk__in=ids).select_related("set").order_by("set__code", "tray"))


def _write(case: Case, packs: list[Pack], by: Person, at: datetime) -> tuple[CountSheet, ...]:
    kinds = CountSheet.Kind
    new = [CountSheet(kind=kinds.SOFT_GOODS)]
    new += [CountSheet(kind=kinds.PACK, pack=pack, pack_round=pack.round) for pack in packs]
    for sheet in new:
        sheet.number = uuid4().hex[:20]
        sheet.case, sheet.made_by, sheet.made_at = case, by, at
    made = CountSheet.objects.bulk_create(new)
    for sheet in made:
        # The key comes from the database's own sequence, so no two sheets ever share a number.
        sheet.number = number_of(COUNT_SHEET, sheet.pk)
    CountSheet.objects.bulk_update(made, ["number"])
    return tuple(made)


def _refuse_ended(case: Case) -> None:
    if case.status not in (Case.Status.BOOKED, Case.Status.OPENED):
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is %(status)s; there is nothing to count for it.")
            % {"reference": case.reference, "status": case.get_status_display().lower()},
            _("Book a new case if the operation takes place after all."),
        )
