"""What a run came to: a wash that passed or failed, a load that a person releases or refuses, its
indicators.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from trays.instruments.models import Pack, PackState
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing.models import Assembly, Move
from trays.processing.models_machines import (
    Indicator,
    IndicatorKind,
    IndicatorResult,
    MachineKind,
    Run,
    RunLog,
    RunState,
)
from trays.processing.models_recall import RecallCause, RecallScope
from trays.processing.moving import Step, lock_packs, move
from trays.processing.policies import policy_on
from trays.processing.recalling import open_within
from trays.processing.run_acts import locked_run, run_once, write_run
from trays.processing.runs import INCUBATION, awaits_biological
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, second_may, sign
from trays.stock.queries import site_day
from trays.web.errors import NotAllowed, Refusal


@dataclass(frozen=True, slots=True)
class Early:
    """A release before the biological indicator is known: why, and the second person who stands for it."""

    reason: str
    second: Signer


@dataclass(frozen=True, slots=True)
class Finding:
    """One value of a run beside what its programme asks for. `met` is None where nothing was recorded."""

    what: str
    value: float | None
    wanted: float | None
    met: bool | None


def findings(run: Run, log: RunLog | None) -> tuple[Finding, ...]:
    """The run's own figures beside the programme's least values: hold in seconds, A0 in seconds, F0 in
    minutes.
    """
    asked = run.programme
    wanted: list[tuple[str, float | None, float | None]] = [
        ("hold", log.hold_seconds if log else None, float(asked.hold_seconds)),
    ]
    if asked.least_a0 is not None:
        wanted.append(("a0", log.a0 if log else None, float(asked.least_a0)))
    if asked.least_f0 is not None:
        wanted.append(("f0", log.f0 if log else None, float(asked.least_f0)))
    return tuple(
        Finding(what, value, least, None if value is None or least is None else value >= least)
        for what, value, least in wanted
    )


def wash_decide(
    *, by: Person, run: Run, passed: bool, at: datetime, reason: str = "", client_key: UUID | None = None
) -> Run:
    """Say that a wash was good, and its packs are cleaned; or that it was not, and they wait to be washed
    again.

    Raises Refusal "not-ended", "not-a-wash", "against-the-machine" (the machine, or the log beside the
    programme's least values, says failed), "reason-missing"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Run:
        row = _ended(run, MachineKind.WASHER)
        _check_reason(passed, reason)
        if passed:
            _check_with_machine(row)
        inside = lock_packs(row.packs.filter(open=True).values_list("pack_id", flat=True))
        lines = [Line("run", row.pk, row.state, RunState.PASSED if passed else RunState.FAILED)]
        if passed:
            step = Step(by=by, at=at, happened_at=row.ended_at, place=row.machine.place, run=row)
            here = [pack for pack in _of_this_round(row, inside) if pack.state == PackState.RECEIVED]
            lines += move(here, PackState.CLEANED, step)
        else:
            lines += [Line("pack", pack.pk, pack.state, pack.state) for pack in inside]
        _decide(row, passed=passed, by=by, at=at, reason=reason)
        write_run(row, "wash.decide", by, at, client_key, lines)
        return row

    return run_once("wash.decide", by, client_key, work)


def load_release(
    *, by: Signer, run: Run, at: datetime, early: Early | None = None, client_key: UUID | None = None
) -> Run:
    """Release a load: a signed act of a permitted person. Its packs are sterile from then on.

    Raises Refusal "not-ended", "not-a-load", "against-the-machine", "no-log", "indicator-failed",
    "indicator-outstanding" (release early, with a second person and a reason, or wait), "packed-it-alone"
    where the site wants another person, "same-person", "reason-missing"; NotAllowed "not-your-act".
    """
    person = by.person
    require(by=person, act="release_load", site_id=run.machine.site_id)

    def work() -> Run:
        row = _ended(run, MachineKind.STERILIZER)
        _check_with_machine(row)
        outstanding = _check_indicators(row, at, early)
        policy = policy_on(site=row.machine.site, day=site_day(row.machine.site, at))
        inside = lock_packs(row.packs.filter(open=True).values_list("pack_id", flat=True))
        if policy.another_releases:
            _check_another(person, inside)
        if early is not None and outstanding:
            _check_second(early, by, row)
        until = _sterile_until(row, policy.shelf_life_days)
        meaning = Signature.Meaning.RELEASED_EARLY if outstanding else Signature.Meaning.RELEASED
        row.signature = sign(
            by=by, meaning=meaning, subject="run", subject_id=row.pk, content=content_of(row), at=at
        )
        if outstanding and early is not None:
            row.early_reason, row.early_with = early.reason.strip()[:200], early.second.person
            sign(
                by=early.second, meaning=Signature.Meaning.WITNESSED, subject="run", subject_id=row.pk,
                content=content_of(row), at=at,
            )  # fmt: skip
        step = Step(by=person, at=at, place=row.machine.place, run=row)
        here = _waiting(row, inside)
        lines = [Line("run", row.pk, row.state, RunState.PASSED)]
        lines += move(here, PackState.RELEASED, step, sterile_until=until, immediate_use=row.immediate_use)
        _decide(row, passed=True, by=person, at=at, reason="")
        write_run(row, "load.release", person, at, client_key, lines)
        return row

    return run_once("load.release", person, client_key, work)


def load_fail(*, by: Signer, run: Run, reason: str, at: datetime, client_key: UUID | None = None) -> Run:
    """Refuse a load: every pack of it is quarantined, to be packed anew or put back to the start.

    Raises Refusal "not-ended", "not-a-load", "reason-missing"; NotAllowed.
    """
    person = by.person
    require(by=person, act="release_load", site_id=run.machine.site_id)

    def work() -> Run:
        row = _ended(run, MachineKind.STERILIZER)
        _check_reason(False, reason)
        inside = lock_packs(row.packs.filter(open=True).values_list("pack_id", flat=True))
        row.signature = sign(
            by=by, meaning=Signature.Meaning.FAILED, subject="run", subject_id=row.pk,
            content=content_of(row), at=at,
        )  # fmt: skip
        step = Step(by=person, at=at, run=row, reason="load-failed")
        lines = [Line("run", row.pk, row.state, RunState.FAILED)]
        lines += move(
            [pack for pack in _of_this_round(row, inside) if pack.state == PackState.IN_LOAD],
            PackState.QUARANTINED,
            step,
        )
        _decide(row, passed=False, by=person, at=at, reason=reason)
        write_run(row, "load.fail", person, at, client_key, lines)
        return row

    return run_once("load.fail", person, client_key, work)


def indicator_add(
    *, by: Person, run: Run, kind: str, lot: str, result: str, at: datetime, client_key: UUID | None = None
) -> Indicator:
    """Take down an indicator of a run with its result, or as outstanding.

    One that failed in a load released already recalls that load in the same act.

    Raises Refusal "run-not-begun"; NotAllowed.
    """
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Indicator:
        row = locked_run(run)
        if row.started_at is None:
            raise Refusal("run-not-begun", _("This run has not begun."), _("Read it when it has ended."))
        known = result != IndicatorResult.OUTSTANDING
        made = Indicator.objects.create(
            run=row, kind=kind, lot=lot[:20], placed_at=row.started_at, placed_by=by, result=result,
            read_at=at if known else None, read_by=by if known else None,
            due_at=None if known else at + INCUBATION,
        )  # fmt: skip
        lines = [Line("indicator", made.pk, "", result)]
        released = row.machine.kind == MachineKind.STERILIZER and row.state == RunState.PASSED
        if result == IndicatorResult.FAILED and released:
            grew = kind == IndicatorKind.BIOLOGICAL
            _made, more = open_within(
                by=by, machine=row.machine, scope=RecallScope.THIS_LOAD, at=at, run=row,
                cause=RecallCause.LATE_POSITIVE if grew else RecallCause.FAILED_CYCLE,
                reason=_("An indicator of load %(number)s failed.") % {"number": row.number},
            )  # fmt: skip
            lines += more
        record(
            chain=row.machine.site.code, verb="indicator.add", by=by, at=at, place_id=row.machine.place_id,
            client_key=client_key, answer={"indicator": made.pk}, lines=lines,
        )  # fmt: skip
        return made

    return act_once(
        verb="indicator.add",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Indicator.objects.get(pk=answer["indicator"]),
    )


def content_of(run: Run) -> dict[str, Any]:
    """What a signature under a run is bound to: its packs and rounds, programme, figures and indicators.

    A biological result that comes later is not part of it: it is a fact of its own.
    """
    log = latest_log(run)
    return {
        "machine": run.machine.code,
        "run": run.number,
        "programme": [run.programme.code, run.programme.valid_from.isoformat()],
        "started": run.started_at.isoformat() if run.started_at else None,
        "ended": run.ended_at.isoformat() if run.ended_at else None,
        "machine_says": run.verdict,
        "packs": sorted([one.pack.number, one.round] for one in run.packs.select_related("pack")),
        "log": log.digest if log else None,
        "indicators": sorted(
            [one.kind, one.lot, one.result] for one in run.indicators.exclude(kind=IndicatorKind.BIOLOGICAL)
        ),
    }


def latest_log(run: Run) -> RunLog | None:
    """The log that counts."""
    return run.logs.order_by("-imported_at", "-pk").first()


def _ended(run: Run, kind: str) -> Run:
    row = locked_run(run)
    if row.machine.kind != kind:
        code = "not-a-load" if kind == MachineKind.STERILIZER else "not-a-wash"
        raise Refusal(code, _("This run is of another kind of machine."), _("Open it from its own machine."))
    if row.state != RunState.ENDED:
        raise Refusal(
            "not-ended",
            _("Run %(number)s is not waiting for a decision: %(state)s.")
            % {"number": row.number, "state": row.get_state_display()},
            _("Load the page again."),
        )
    return row


def _of_this_round(run: Run, inside: Sequence[Pack]) -> list[Pack]:
    """Those of a run's packs that have not gone round again since: an older run says nothing of these."""
    rounds = dict(run.packs.values_list("pack_id", "round"))
    return [pack for pack in inside if rounds[pack.pk] == pack.round]


def _waiting(run: Run, inside: Sequence[Pack]) -> list[Pack]:
    """Packs that wait for this load alone: still in it, or held back for its indicator only."""
    newest: dict[int, tuple[int | None, str]] = {}
    steps = Move.objects.filter(pack__in=inside, round=F("pack__round")).order_by("pack", "sequence")
    for pack_id, run_id, reason in steps.values_list("pack", "run", "reason"):
        newest[pack_id] = (run_id, reason)
    held = (run.pk, "indicator-outstanding")
    return [
        pack
        for pack in _of_this_round(run, inside)
        if pack.state == PackState.IN_LOAD
        or (pack.state == PackState.QUARANTINED and newest.get(pack.pk) == held)
    ]


def _check_with_machine(run: Run) -> None:
    missed = [one for one in findings(run, latest_log(run)) if one.met is False]
    if run.verdict != "passed" or missed:
        raise Refusal(
            "against-the-machine",
            _("The machine says that this cycle failed.")
            if run.verdict != "passed"
            else _("The log does not reach what the programme asks for."),
            _("Fail the run; what was in it is done again."),
        )


def _check_indicators(run: Run, at: datetime, early: Early | None) -> bool:
    """Whether the release is before a biological result that the site waits for."""
    results = list(run.indicators.values_list("kind", "result"))
    if any(result == IndicatorResult.FAILED for _kind, result in results):
        raise Refusal(
            "indicator-failed",
            _("An indicator of this load failed."),
            _("Fail the load; what was in it is done again."),
        )
    if not awaits_biological(run, at):
        return False
    if early is None:
        raise Refusal(
            "indicator-outstanding",
            _("There are implants in this load, and its biological indicator is not known yet."),
            _("Wait for it; or release early by exception, with a second person and a reason."),
        )
    return True


def _check_another(person: Person, inside: Sequence[Pack]) -> None:
    packers = set(
        Assembly.objects.filter(pack__in=inside, packed_by__isnull=False).values_list(
            "pack_id", "round", "packed_by"
        )
    )
    now = {(pack.pk, pack.round) for pack in inside}
    own = {by for pack, round_, by in packers if (pack, round_) in now}
    if own == {person.pk}:
        raise NotAllowed(
            "packed-it-alone",
            _("You packed all of this load yourself; here another person releases it."),
            _("Ask a colleague who may release to sign."),
        )


def _check_second(early: Early, first: Signer, run: Run) -> None:
    if not early.reason.strip():
        raise Refusal(
            "reason-missing", _("No reason is given."), _("Say why it cannot wait."), field="reason"
        )
    if early.second.person.pk == first.person.pk:
        raise Refusal(
            "same-person",
            _("An early release is signed by two different people."),
            _("Let the second person enter their own PIN."),
        )
    second_may(early.second, act="release_early", site_id=run.machine.site_id)


def _check_reason(passed: bool, reason: str) -> None:
    if not passed and not reason.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words what failed."))


def _sterile_until(run: Run, days: int | None) -> date | None:
    if days is None or run.ended_at is None:
        return None
    return site_day(run.machine.site, run.ended_at) + timedelta(days=days)


def _decide(run: Run, *, passed: bool, by: Person, at: datetime, reason: str) -> None:
    run.state = RunState.PASSED if passed else RunState.FAILED
    run.decided_at, run.decided_by, run.reason = at, by, reason.strip()[:200]
    # A run is decided only when nothing is open in it: the database asks for this order.
    run.packs.update(open=False)
    run.save()
