"""Making a pick list: the promise that what it names is kept for the case."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any
from uuid import UUID, uuid4

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.bookings.once import Answer, act_once
from cases.picks import queries
from cases.picks.gather import Absent, Gathered, gather, units_in_question, wanted_components
from cases.picks.models import PickLine, PickList
from cases.picks.papers import PICK_LIST, number_of
from cases.picks.said import said_of
from cases.readiness.assess import horizon, pick_plan
from cases.readiness.kinds import CaseVerdict, PickPlan
from cases.reservations import hold, locking, sets
from cases.reservations.queries import holds_of, kept_for, open_holds, set_holds_of
from trays.instruments.models import InstrumentSet
from trays.ledger.append import Line, record
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.web.errors import Refusal

# A plan is made before the lock. If the case changes in between, or others take what it counts on, it is
# made anew, so many times in all.
TRIES = 4


def pick_list_make(
    *, by: Person, case: Case, at: datetime, client_key: UUID | None = None
) -> PickList:
    """Make the case's pick list and hold what is on it; an older list of the case is replaced.

    Sizes and sets are those of the plan; the units are the site's owner order's first, first expired first,
    in date on the day of the operation. What cannot be had is told on the list, and where the plan counted
    on it the level in the room is told as not known. What only the older list named is released. One event
    "pick_list.make". Raises Refusal "case-not-open", "changed-meanwhile", and what the plan refuses;
    NotAllowed "not-your-act".
    """
    require(by=by, act="make_pick_list", site_id=case.site_id)

    for number in range(1, TRIES + 1):
        _refuse_ended(case)
        before = queries.standing(case.pk)
        plan = pick_plan(case=case, at=at)
        verdict = horizon(site=case.site, at=at).verdicts.get(case.pk)
        work = _Making(
            by=by,
            case=case,
            at=at,
            plan=plan,
            verdict=verdict,
            before=before,
            key=client_key,
            last=number == TRIES,
        )
        try:
            return act_once(
                verb="pick_list.make", by=by, client_key=client_key, work=work.make, replay=work.replay
            )
        except _ChangedMeanwhile:
            case = Case.objects.select_related("site", "list").get(pk=case.pk)
    raise Refusal(
        "changed-meanwhile",
        _("The case was changed while its list was made."),
        _("Look at the case as it is now and make the list again."),
    )


class _ChangedMeanwhile(Exception):
    """The plan no longer stands for the case; nothing was written."""


class _Making:
    """One try at one list, within its transaction."""

    def __init__(
        self,
        *,
        by: Person,
        case: Case,
        at: datetime,
        plan: PickPlan,
        verdict: CaseVerdict | None,
        before: queries.Standing,
        key: UUID | None,
        last: bool,
    ) -> None:
        self.by, self.case, self.at, self.plan, self.verdict = by, case, at, plan, verdict
        self.before, self.key, self.last = before, key, last
        self.lines: list[Line] = []

    def replay(self, answer: Answer) -> PickList:
        """The list that an earlier request with the same key made for the case."""
        made = PickList.objects.filter(pk=answer["pick_list"], case=self.case).first()
        if made is None:
            raise Refusal(
                "key-used-before",
                _("This form was already used for something else."),
                _("Open the page again and give it once more."),
            )
        return made

    def make(self) -> PickList:
        units, got_sets = self._lock()
        set_ids, absent = self._hold_sets(got_sets)
        found = gather(case=self.case, plan=self.plan, units=units, set_ids=set_ids)
        found.absent += absent
        found.short_of_plan += len(absent)
        if found.short_of_plan and not self.last:
            raise _ChangedMeanwhile
        self._hold_units(found, units)
        made = self._write(found)
        self._release(found.unit_ids, set_ids)
        record(
            chain=self.case.site.code,
            verb="pick_list.make",
            by=self.by,
            at=self.at,
            lines=self.lines,
            client_key=self.key,
            answer={"pick_list": made.pk},
        )
        return made

    def _lock(self) -> tuple[dict[int, Unit], dict[int, InstrumentSet]]:
        in_question = units_in_question(self.case, wanted_components(self.plan))
        locked = locking.lock(
            cases=[self.case.pk],
            units=[*in_question, *self.before.unit_ids],
            sets=[*self.plan.set_ids, *self.before.set_ids],
        )
        if queries.standing(self.case.pk) != self.before:
            raise _ChangedMeanwhile
        _refuse_ended(locked.cases[self.case.pk])
        wanted = set(in_question)
        return {key: unit for key, unit in locked.units.items() if key in wanted}, locked.sets

    def _hold_sets(self, locked: dict[int, InstrumentSet]) -> tuple[list[int], list[Absent]]:
        held_before = {row.set_id for row in set_holds_of(self.case)}
        got, absent = [], []
        for set_id in self.plan.set_ids:
            try:
                sets.place_set_hold(
                    instrument_set=locked[set_id], keeper=self.case, by=self.by, at=self.at
                )
            except Refusal as refusal:
                absent.append(_absent_set(locked[set_id], refusal))
                continue
            got.append(set_id)
            if set_id not in held_before:
                self.lines.append(Line("set", set_id, "free", "held"))
        return got, absent

    def _hold_units(self, found: Gathered, units: dict[int, Unit]) -> None:
        held = open_holds(found.unit_ids)
        # What is kept for the whole list stays so: unopened, it passes to the list's next case.
        free = {key: units[key] for key in found.unit_ids if not _kept(held, key, self.case)}
        made = hold.place_holds(units=free, keeper=self.case, by=self.by, at=self.at)
        self.lines += hold.held_lines(made)

    def _write(self, found: Gathered) -> PickList:
        older = PickList.objects.filter(case=self.case, replaced_at__isnull=True)
        if self.before.pick_list_id is not None:
            if older.update(replaced_at=self.at) != 1:
                raise _ChangedMeanwhile
            self.lines.append(Line("pick_list", self.before.pick_list_id, "made", "replaced"))
        said = said_of(
            plan=self.plan,
            verdict=self.verdict,
            absent=found.absent,
            position=self.before.position,
            holds_good=not found.short_of_plan,
        )
        made = PickList.objects.create(
            number=uuid4().hex[:20],
            case=self.case,
            made_at=self.at,
            made_by=self.by,
            in_room=said.in_room.chance,
            wanted=said.in_room.wanted,
            said=said.as_json(),
        )
        # The key comes from the database's own sequence, so no two lists ever share a number.
        made.number = number_of(PICK_LIST, made.pk)
        made.save(update_fields=["number"])
        for number, line in enumerate(found.lines, start=1):
            line.pick_list, line.number = made, number
        PickLine.objects.bulk_create(found.lines)
        self.lines.insert(0, Line("pick_list", made.pk, "", "made"))
        return made

    def _release(self, unit_ids: Iterable[int], set_ids: Iterable[int]) -> None:
        no_units = set(self.before.unit_ids) - set(unit_ids)
        no_sets = set(self.before.set_ids) - set(set_ids)
        self.lines += hold.end_holds(
            holds=holds_of(self.case).filter(unit_id__in=no_units), at=self.at, reason="replaced"
        )
        self.lines += sets.end_set_holds(
            holds=set_holds_of(self.case).filter(set_id__in=no_sets), at=self.at, reason="replaced"
        )


def _kept(held: dict[int, Any], unit_id: int, case: Case) -> bool:
    return unit_id in held and kept_for(held[unit_id], case)


def _absent_set(instrument_set: InstrumentSet, refusal: Refusal) -> Absent:
    return Absent(
        name=instrument_set.version.design.name,
        size=instrument_set.code,
        group=PickLine.Group.SET,
        why=f"{refusal.sentence} {refusal.next_step}",
    )


def _refuse_ended(case: Case) -> None:
    if case.status not in (Case.Status.BOOKED, Case.Status.OPENED):
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is %(status)s; there is nothing to pick for it.")
            % {"reference": case.reference, "status": case.get_status_display().lower()},
            _("Book a new case if the operation takes place after all."),
        )
