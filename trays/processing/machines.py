"""Machines: the day's tests, and taking one out of use and back."""

from datetime import date, datetime
from uuid import UUID

from django.utils.translation import gettext as _

from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing.models_machines import DayTest, DayTestRule, Machine, Run, RunState
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.queries import site_day
from trays.web.errors import Refusal


def day_test_record(
    *,
    by: Person,
    machine: Machine,
    rule: DayTestRule,
    passed: bool,
    at: datetime,
    note: str = "",
    client_key: UUID | None = None,
) -> DayTest:
    """Take down the result of one of the day's tests. A test may be repeated; the latest counts.

    Raises Refusal "not-its-test" when the site asks it of another kind of machine, "machine-running";
    NotAllowed "not-your-act".
    """
    require(by=by, act="process_packs", site_id=machine.site_id)
    day = site_day(machine.site, at)
    if rule.kind != machine.kind or rule.site_id != machine.site_id or not _in_force(rule, day):
        raise Refusal(
            "not-its-test",
            _("%(test)s is not asked of %(machine)s today.") % {"test": rule.name, "machine": machine.name},
            _("Choose one of the tests that it owes."),
        )

    def work() -> DayTest:
        lock_machine(machine)
        if Run.objects.filter(machine=machine, state=RunState.RUNNING).exists():
            raise Refusal(
                "machine-running",
                _("%(machine)s is running; its tests are done empty.") % {"machine": machine.name},
                _("Wait until the run has ended."),
            )
        made = DayTest.objects.create(
            machine=machine, rule=rule, day=day, passed=passed, note=note[:160], at=at, by=by
        )
        record(
            chain=machine.site.code, verb="machine.test", by=by, at=at, place_id=machine.place_id,
            client_key=client_key, answer={"day_test": made.pk},
            lines=[Line("day_test", made.pk, rule.code, "passed" if passed else "failed")],
        )  # fmt: skip
        return made

    return act_once(
        verb="machine.test",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: DayTest.objects.get(pk=answer["day_test"]),
    )


def machine_stop(
    *, by: Person, machine: Machine, reason: str, at: datetime, client_key: UUID | None = None
) -> Machine:
    """Take a machine out of use. A run under way goes on; nothing new is begun.

    Raises Refusal "reason-missing", "stopped-already"; NotAllowed.
    """
    if not reason.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words what is wrong."))
    return _switch(by=by, machine=machine, since=at, reason=reason.strip(), at=at, client_key=client_key)


def machine_start(*, by: Person, machine: Machine, at: datetime, client_key: UUID | None = None) -> Machine:
    """Put a machine back into use; its day's tests are owed as ever. Raises Refusal "in-use-already"."""
    return _switch(by=by, machine=machine, since=None, reason="", at=at, client_key=client_key)


def _switch(
    *,
    by: Person,
    machine: Machine,
    since: datetime | None,
    reason: str,
    at: datetime,
    client_key: UUID | None,
) -> Machine:
    require(by=by, act="keep_machines", site_id=machine.site_id)
    verb = "machine.stop" if since else "machine.start"

    def work() -> Machine:
        row = lock_machine(machine)
        if (row.out_since is None) == (since is None):
            raise Refusal(
                "stopped-already" if since else "in-use-already",
                _("%(machine)s is out of use already.") % {"machine": row.name}
                if since
                else _("%(machine)s is in use already.") % {"machine": row.name},
                _("Load the page again."),
            )
        row.out_since, row.out_reason = since, reason[:160]
        row.save(update_fields=["out_since", "out_reason"])
        change = ("in use", "out of use") if since else ("out of use", "in use")
        record(
            chain=row.site.code, verb=verb, by=by, at=at, place_id=row.place_id, client_key=client_key,
            answer={"machine": row.pk}, lines=[Line("machine", row.pk, *change)],
        )  # fmt: skip
        return row

    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Machine.objects.get(pk=answer["machine"]),
    )


def lock_machine(machine: Machine) -> Machine:
    """The machine's row, locked: before its packs, after nothing."""
    return Machine.objects.select_for_update(of=("self",)).select_related("site").get(pk=machine.pk)


def _in_force(rule: DayTestRule, day: date) -> bool:
    return rule.valid_from <= day and (rule.valid_until is None or day <= rule.valid_until)
