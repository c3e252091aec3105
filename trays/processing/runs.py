"""A run of a machine from the first pack put in to its end: washes and sterilizer loads alike.

What the run then comes to is decided in `deciding`.
"""

import hashlib
from collections.abc import Collection
from datetime import datetime, timedelta
from typing import BinaryIO
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _

from trays.instruments.models import ContentsLine, Pack, PackState
from trays.instruments.ready import state_word
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing import lethality
from trays.processing.logs import read_log
from trays.processing.machines import lock_machine
from trays.processing.models_machines import (
    Indicator,
    IndicatorKind,
    Machine,
    MachineKind,
    Programme,
    Run,
    RunLog,
    RunPack,
    RunState,
)
from trays.processing.moving import Step, lock_packs, move
from trays.processing.policies import policy_on, programmes_on, tests_owed
from trays.processing.run_acts import locked_run, run_once, write_run
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.queries import site_day
from trays.web.errors import Refusal

TAKES = {MachineKind.WASHER: PackState.RECEIVED, MachineKind.STERILIZER: PackState.PACKED}
"""The state from which a machine of each kind takes a pack."""


def run_open(
    *, by: Person, machine: Machine, programme: Programme, at: datetime, client_key: UUID | None = None
) -> Run:
    """Begin to fill a machine.

    Raises Refusal "machine-stopped", "tests-owed" (names them), "programme-not-in-force", "being-filled";
    NotAllowed "not-your-act".
    """
    require(by=by, act="process_packs", site_id=machine.site_id)

    def work() -> Run:
        row = lock_machine(machine)
        day = site_day(row.site, at)
        _check_fit_for_use(row, at)
        if programme.pk not in {p.pk for p in programmes_on(site=row.site, kind=row.kind, day=day)}:
            raise Refusal(
                "programme-not-in-force",
                _("%(machine)s does not run %(programme)s today.")
                % {"machine": row.name, "programme": programme.name},
                _("Choose one of the programmes in force."),
            )
        if Run.objects.filter(machine=row, state=RunState.FILLING).exists():
            raise Refusal(
                "being-filled",
                _("%(machine)s is being filled already.") % {"machine": row.name},
                _("Go on with the run that is open."),
            )
        newest = Run.objects.filter(machine=row).aggregate(newest=Max("number"))["newest"] or 0
        run = Run.objects.create(
            machine=row, number=newest + 1, programme=programme, opened_at=at, opened_by=by,
            immediate_use=programme.immediate_use,
        )  # fmt: skip
        write_run(run, "run.open", by, at, client_key, [Line("run", run.pk, "", RunState.FILLING)])
        return run

    return run_once("run.open", by, client_key, work)


def run_fill(
    *, by: Person, run: Run, packs: Collection[Pack], at: datetime, client_key: UUID | None = None
) -> Run:
    """Put packs into a run that is being filled.

    Raises Refusal "not-being-filled", "run-full", "in-another-run" (says which), "not-ready-for-it" (says
    what the pack is and what comes next for it), "implants-for-immediate-use", "elsewhere"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Run:
        machine = lock_machine(run.machine)
        row = _filling(run)
        locked = lock_packs(pack.pk for pack in packs)
        inside = RunPack.objects.filter(run=row).count()
        if inside + len(locked) > machine.packs:
            raise Refusal(
                "run-full",
                _("%(machine)s takes %(most)s packs; %(inside)s are in it.")
                % {"machine": machine.name, "most": machine.packs, "inside": inside},
                _("Start it, and put the rest into the next."),
            )
        for pack in locked:
            _check_takes(machine, pack)
        # A wash has no indicator to wait for, whatever lies in the racks.
        load = machine.kind == MachineKind.STERILIZER
        implants = row.implants or (load and _holds_implants(locked))
        if implants and row.immediate_use:
            raise Refusal(
                "implants-for-immediate-use",
                _("A pack with implants in it is not sterilized for immediate use."),
                _("Put it into a load with a full programme."),
            )
        RunPack.objects.bulk_create(
            [
                RunPack(run=row, pack=pack, round=pack.round, position=inside + number)
                for number, pack in enumerate(locked, start=1)
            ]
        )
        if implants != row.implants:
            row.implants = implants
            row.save(update_fields=["implants"])
        if load:
            name = f"{machine.code}-{row.number}"[:30]
            step = Step(by=by, at=at, place=machine.place, run=row)
            lines = move(locked, PackState.IN_LOAD, step, load=name)
        else:
            lines = [Line("pack", pack.pk, pack.state, pack.state) for pack in locked]
        write_run(row, "run.fill", by, at, client_key, [Line("run", row.pk, row.state, row.state), *lines])
        return row

    return run_once("run.fill", by, client_key, work)


def run_take_out(*, by: Person, run: Run, pack: Pack, at: datetime, client_key: UUID | None = None) -> Run:
    """Take a pack out of a run that has not begun. Raises Refusal "not-being-filled", "not-in-it"."""
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Run:
        machine = lock_machine(run.machine)
        row = _filling(run)
        locked = lock_packs([pack.pk])
        gone, _each = RunPack.objects.filter(run=row, pack=pack).delete()
        if not gone:
            raise Refusal(
                "not-in-it",
                _("Pack %(pack)s is not in this run.") % {"pack": pack.number},
                _("Load the page again."),
            )
        load = machine.kind == MachineKind.STERILIZER
        if load:
            lines = move(locked, PackState.PACKED, Step(by=by, at=at, run=row, reason="taken-out"), load="")
        else:
            lines = [Line("pack", pack.pk, pack.state, pack.state)]
        row.implants = load and _holds_implants([one.pack for one in row.packs.select_related("pack__set")])
        row.save(update_fields=["implants"])
        kept = Line("run", row.pk, row.state, row.state)
        write_run(row, "run.take-out", by, at, client_key, [kept, *lines])
        return row

    return run_once("run.take-out", by, client_key, work)


def run_start(
    *, by: Person, run: Run, at: datetime, indicator_lot: str = "", client_key: UUID | None = None
) -> Run:
    """Close the door. A load with implants goes with a biological indicator where the site asks for it.

    Raises Refusal "not-being-filled", "run-empty", "indicator-missing", "machine-stopped", "tests-owed",
    "machine-running"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Run:
        machine = lock_machine(run.machine)
        row = _filling(run)
        _check_fit_for_use(machine, at)
        if not row.packs.exists():
            raise Refusal("run-empty", _("Nothing is in it."), _("Scan what goes in, or give the run up."))
        if Run.objects.filter(machine=machine, state=RunState.RUNNING).exists():
            raise Refusal(
                "machine-running",
                _("%(machine)s is running.") % {"machine": machine.name},
                _("End that run first."),
            )
        policy = policy_on(site=machine.site, day=site_day(machine.site, at))
        lines = [Line("run", row.pk, row.state, RunState.RUNNING)]
        if row.implants and policy.biological_for_implants and not indicator_lot:
            raise Refusal(
                "indicator-missing",
                _("There are implants in this load, and no biological indicator is named."),
                _("Put one in, and give its lot."),
                field="indicator_lot",
            )
        if indicator_lot:
            placed = Indicator.objects.create(
                run=row, kind=IndicatorKind.BIOLOGICAL, lot=indicator_lot[:20], placed_at=at, placed_by=by,
                due_at=at + timedelta(minutes=row.programme.minutes) + INCUBATION,
            )  # fmt: skip
            lines.append(Line("indicator", placed.pk, "", placed.result))
        row.state, row.started_at = RunState.RUNNING, at
        row.save(update_fields=["state", "started_at"])
        write_run(row, "run.start", by, at, client_key, lines)
        return row

    return run_once("run.start", by, client_key, work)


INCUBATION = timedelta(hours=24)
"""When a biological indicator's result is looked for, unless it is read before: after this time."""


def run_end(
    *,
    by: Person,
    run: Run,
    verdict: str,
    at: datetime,
    happened_at: datetime | None = None,
    client_key: UUID | None = None,
) -> Run:
    """Open the door: what the machine says of the cycle, "passed" or "failed". Nothing is released by it.

    A load whose biological indicator is outstanding, where the site waits for it, is quarantined until it is
    known.

    Raises Refusal "not-running"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=run.machine.site_id)
    if verdict not in ("passed", "failed"):
        raise ValueError(f"a machine does not say {verdict!r}")

    def work() -> Run:
        machine = lock_machine(run.machine)
        row = Run.objects.select_for_update().get(pk=run.pk)
        if row.state != RunState.RUNNING:
            raise Refusal(
                "not-running",
                _("This run is not running: %(state)s.") % {"state": row.get_state_display()},
                _("Load the page again."),
            )
        row.state, row.verdict, row.ended_at = RunState.ENDED, verdict, happened_at or at
        row.save(update_fields=["state", "verdict", "ended_at"])
        lines = [Line("run", row.pk, RunState.RUNNING, RunState.ENDED)]
        if awaits_biological(row, at):
            inside = lock_packs(row.packs.values_list("pack_id", flat=True))
            step = Step(by=by, at=at, happened_at=happened_at, run=row, reason="indicator-outstanding")
            lines += move(
                [pack for pack in inside if pack.state == PackState.IN_LOAD], PackState.QUARANTINED, step
            )
        record(
            chain=machine.site.code, verb="run.end", by=by, at=at, happened_at=happened_at,
            place_id=machine.place_id, client_key=client_key, answer={"run": row.pk}, lines=lines,
        )  # fmt: skip
        return row

    return run_once("run.end", by, client_key, work)


def run_give_up(*, by: Person, run: Run, at: datetime, client_key: UUID | None = None) -> Run:
    """Give up a run that has not begun; what was in it goes back to where it came from."""
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Run:
        lock_machine(run.machine)
        row = _filling(run)
        locked = [
            p for p in lock_packs(row.packs.values_list("pack_id", flat=True)) if p.state == PackState.IN_LOAD
        ]
        lines = move(locked, PackState.PACKED, Step(by=by, at=at, run=row, reason="taken-out"), load="")
        row.packs.update(open=False)
        row.state = RunState.BROKEN_OFF
        row.save(update_fields=["state"])
        write_run(
            row, "run.give-up", by, at, client_key, [Line("run", row.pk, RunState.FILLING, row.state), *lines]
        )
        return row

    return run_once("run.give-up", by, client_key, work)


def run_log_import(
    *, by: Person, run: Run, file: BinaryIO, at: datetime, client_key: UUID | None = None
) -> RunLog:
    """Keep a run's temperature log, whole or not at all, with what it comes to. The latest one counts.

    Raises Unreadable "log-…" (see `logs.read_log`), Refusal "log-known", "run-not-begun"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=run.machine.site_id)
    if run.started_at is None:
        raise Refusal("run-not-begun", _("This run has not begun."), _("Give its log when it has ended."))
    site = run.machine.site
    raw = file.read()
    file.seek(0)
    log = read_log(file, zone=site.zone)
    digest = hashlib.sha256(raw).hexdigest()
    band = lethality.hold(log.readings, float(run.programme.low_celsius), float(run.programme.high_celsius))

    def work() -> RunLog:
        if RunLog.objects.filter(run=run, digest=digest).exists():
            raise Refusal("log-known", _("This log is on file already."), _("Nothing more to do."))
        kept = RunLog.objects.create(
            run=run, imported_at=at, imported_by=by, digest=digest, first_at=log.first_at,
            readings=[[row.seconds, row.coldest, row.hottest] for row in log.readings],
            lowest_in_hold=band.lowest, highest_in_hold=band.highest, hold_seconds=band.seconds,
            a0=lethality.a0(log.readings), f0=lethality.f0(log.readings),
        )  # fmt: skip
        record(
            chain=site.code, verb="run.log", by=by, at=at, place_id=run.machine.place_id,
            client_key=client_key, answer={"log": kept.pk}, lines=[Line("run_log", kept.pk)],
        )  # fmt: skip
        return kept

    return act_once(
        verb="run.log",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: RunLog.objects.get(pk=answer["log"]),
    )


def awaits_biological(run: Run, at: datetime) -> bool:
    """Whether the site's rules hold this load back until its biological indicator is known."""
    policy = policy_on(site=run.machine.site, day=site_day(run.machine.site, at))
    if not (run.implants and policy.biological_for_implants):
        return False
    results = run.indicators.filter(kind=IndicatorKind.BIOLOGICAL).values_list("result", flat=True)
    return Indicator.Result.PASSED not in results


def _filling(run: Run) -> Run:
    row = locked_run(run)
    if row.state != RunState.FILLING:
        raise Refusal(
            "not-being-filled",
            _("Run %(number)s is no longer being filled: %(state)s.")
            % {"number": row.number, "state": row.get_state_display()},
            _("Load the page again; put it into the next run."),
        )
    return row


def _check_fit_for_use(machine: Machine, at: datetime) -> None:
    if machine.out_since is not None:
        raise Refusal(
            "machine-stopped",
            _("%(machine)s is out of use: %(reason)s.")
            % {"machine": machine.name, "reason": machine.out_reason},
            _("Use another machine."),
        )
    owed = tests_owed(machines=[machine], day=site_day(machine.site, at))[machine.pk]
    if owed:
        raise Refusal(
            "tests-owed",
            _("%(machine)s has not passed today: %(tests)s.")
            % {"machine": machine.name, "tests": ", ".join(rule.name for rule in owed)},
            _("Do the test empty and record it, then begin."),
        )


def _check_takes(machine: Machine, pack: Pack) -> None:
    if pack.set.site_id != machine.site_id:
        raise Refusal(
            "elsewhere",
            _("Pack %(pack)s belongs to another site.") % {"pack": pack.number},
            _("Have it received here first."),
        )
    other = RunPack.objects.filter(pack=pack, open=True).select_related("run__machine").first()
    if other is not None:
        raise Refusal(
            "in-another-run",
            _("Pack %(pack)s is in run %(number)s of %(machine)s.")
            % {"pack": pack.number, "number": other.run.number, "machine": other.run.machine.name},
            _("Take it out there first."),
            pack_id=pack.pk,
        )
    wanted = TAKES[MachineKind(machine.kind)]
    if pack.state != wanted:
        raise Refusal(
            "not-ready-for-it",
            _("Pack %(pack)s of set %(set)s is %(state)s; %(machine)s takes what is %(wanted)s.")
            % {
                "pack": pack.number, "set": pack.set.code, "state": state_word(pack.state),
                "machine": machine.name, "wanted": state_word(wanted),
            },
            _("Do first what comes next for it."),
            pack_id=pack.pk,
        )  # fmt: skip


def _holds_implants(packs: Collection[Pack]) -> bool:
    """Whether any of them has rack stock on its contents list: such a load counts as one with implants."""
    wanted = {(pack.set.version_id, pack.tray) for pack in packs}
    lines = ContentsLine.objects.filter(version__in={version for version, _tray in wanted})
    racks = lines.filter(rack_stock__isnull=False).order_by().values_list("version_id", "tray").distinct()
    return any(pair in wanted for pair in racks)
