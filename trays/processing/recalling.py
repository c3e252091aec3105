"""Getting back what may be unsafe: at once, everywhere, until every pack is accounted for."""

from collections.abc import Callable, Collection
from datetime import datetime
from uuid import UUID

from django.db.models import F, Max
from django.utils.translation import gettext as _

from trays.instruments.models import Pack, PackState
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.processing.machines import lock_machine
from trays.processing.models import Move
from trays.processing.models_machines import (
    Indicator,
    IndicatorKind,
    IndicatorResult,
    Machine,
    Run,
    RunPack,
    RunState,
)
from trays.processing.models_recall import (
    Recall,
    RecallCause,
    RecallOutcome,
    RecallPack,
    RecallScope,
)
from trays.processing.moving import Step, lock_packs, move
from trays.staff.access import require
from trays.staff.models import Person, Signature
from trays.staff.signing import Signer, sign
from trays.web.errors import Refusal

STERILE = (PackState.RELEASED, PackState.STORED, PackState.ISSUED, PackState.IN_LOAD)
"""States in which a pack still is in the sterility that is in doubt, and can be kept from use."""


def recall_open(
    *,
    by: Person,
    machine: Machine,
    cause: str,
    scope: str,
    reason: str,
    at: datetime,
    run: Run | None = None,
    client_key: UUID | None = None,
) -> Recall:
    """Recall one load, or every load of a machine since its last negative biological indicator.

    Every affected pack that is still in that round and not opened is quarantined in the same act. Packs
    opened or back at the start since are listed with where they are.

    Raises Refusal "reason-missing", "no-load" (nothing in the scope), "load-of-another-machine"; NotAllowed.
    """
    require(by=by, act="recall_packs", site_id=machine.site_id)
    if not reason.strip():
        raise Refusal("reason-missing", _("No reason is given."), _("Say in a few words what is wrong."))
    if run is not None and run.machine_id != machine.pk:
        raise Refusal(
            "load-of-another-machine", _("This load is another machine's."), _("Choose one of its own loads.")
        )

    def work() -> Recall:
        made, lines = open_within(
            by=by, machine=machine, cause=cause, scope=scope, reason=reason, at=at, run=run
        )
        record(
            chain=machine.site.code, verb="recall.open", by=by, at=at, place_id=machine.place_id,
            client_key=client_key, answer={"recall": made.pk}, lines=lines,
        )  # fmt: skip
        return made

    return _once("recall.open", by, client_key, work)


def open_within(
    *, by: Person, machine: Machine, cause: str, scope: str, reason: str, at: datetime, run: Run | None
) -> tuple[Recall, list[Line]]:
    """The same within a larger act, with no event written."""
    row = lock_machine(machine)
    since = last_negative(row, run) if scope == RecallScope.SINCE_NEGATIVE else None
    loads = _loads(row, scope, run, since)
    # A pack that was packed anew may stand in two loads of one round: its latest counts.
    found = RunPack.objects.filter(run__in=loads).order_by("pack_id", "run_id")
    inside = list({(one.pack_id, one.round): one for one in found}.values())
    if not inside:
        raise Refusal("no-load", _("There is no load to recall."), _("Choose the load, or a wider scope."))
    newest = Recall.objects.aggregate(newest=Max("pk"))["newest"] or 0
    made = Recall.objects.create(
        site_id=row.site_id, number=f"RC{newest + 1:05d}", machine=row, run=run, cause=cause, scope=scope,
        since=since, opened_at=at, opened_by=by, reason=reason.strip()[:200],
    )  # fmt: skip
    locked = {pack.pk: pack for pack in lock_packs(one.pack_id for one in inside)}
    RecallPack.objects.bulk_create(
        [
            RecallPack(
                recall=made, pack_id=one.pack_id, round=one.round, run_id=one.run_id,
                state_then=locked[one.pack_id].state, **_outcome_then(locked[one.pack_id], one, by, at),
            )
            for one in inside
        ],
        batch_size=500,
    )  # fmt: skip
    seize = [
        locked[one.pack_id]
        for one in inside
        if locked[one.pack_id].round == one.round and locked[one.pack_id].state in STERILE
    ]
    lines = [Line("recall", made.pk, "", "open", len(inside))]
    lines += move(
        list({pack.pk: pack for pack in seize}.values()),
        PackState.QUARANTINED,
        Step(by=by, at=at, reason="recall"),
    )
    return made, lines


def indicator_read(
    *,
    by: Person,
    indicator: Indicator,
    grew: bool,
    at: datetime,
    scope: str = RecallScope.THIS_LOAD,
    client_key: UUID | None = None,
) -> Indicator:
    """Take down an outstanding biological result. If it grew in a load that was released, that load is
    recalled at once, or every load since the last negative one.

    Raises Refusal "read-already"; NotAllowed.
    """
    run = indicator.run
    require(by=by, act="process_packs", site_id=run.machine.site_id)

    def work() -> Indicator:
        lock_machine(run.machine)
        row = Indicator.objects.select_for_update().get(pk=indicator.pk)
        if row.result != IndicatorResult.OUTSTANDING:
            raise Refusal(
                "read-already",
                _("This indicator has been read already: %(result)s.") % {"result": row.get_result_display()},
                _("Load the page again."),
            )
        row.result = IndicatorResult.FAILED if grew else IndicatorResult.PASSED
        row.read_at, row.read_by = at, by
        row.save(update_fields=["result", "read_at", "read_by"])
        lines = [Line("indicator", row.pk, IndicatorResult.OUTSTANDING, row.result)]
        if grew and Run.objects.get(pk=run.pk).state == RunState.PASSED:
            _made, more = open_within(
                by=by, machine=run.machine, cause=RecallCause.LATE_POSITIVE, scope=scope, at=at, run=run,
                reason=_("The biological indicator of load %(number)s grew.") % {"number": run.number},
            )  # fmt: skip
            lines += more
        record(
            chain=run.machine.site.code, verb="indicator.read", by=by, at=at, place_id=run.machine.place_id,
            client_key=client_key, answer={"indicator": row.pk}, lines=lines,
        )  # fmt: skip
        return row

    return act_once(
        verb="indicator.read",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Indicator.objects.get(pk=answer["indicator"]),
    )


def pack_account(
    *,
    by: Person,
    sought: RecallPack,
    outcome: str,
    note: str = "",
    at: datetime,
    client_key: UUID | None = None,
) -> RecallPack:
    """Account for one pack: it is secured; or, by the quality lead only, used, or untraceable.

    Raises Refusal "accounted-already", "recall-closed", "not-in-hand" (secured, but not in quarantine);
    NotAllowed.
    """
    site = sought.recall.site
    act = "recall_packs" if outcome == RecallOutcome.SECURED else "close_recall"
    require(by=by, act=act, site_id=site.pk)

    def work() -> RecallPack:
        # Packs are locked before what is kept of them, as everywhere.
        (pack,) = lock_packs([sought.pack_id])
        recall = Recall.objects.select_for_update().get(pk=sought.recall_id)
        row = RecallPack.objects.select_for_update().get(pk=sought.pk)
        if recall.closed_at is not None:
            raise Refusal("recall-closed", _("This recall is closed."), _("Open a new one if need be."))
        if row.outcome != RecallOutcome.OPEN:
            raise Refusal(
                "accounted-already",
                _("This pack is accounted for: %(how)s.") % {"how": row.get_outcome_display()},
                _("Load the page again."),
            )
        if outcome == RecallOutcome.SECURED and (
            pack.state != PackState.QUARANTINED or pack.round != row.round
        ):
            raise Refusal(
                "not-in-hand",
                _("Pack %(pack)s is not in quarantine.") % {"pack": pack.number},
                _("Find it, quarantine it, then say that it is secured."),
            )
        row.outcome, row.outcome_at, row.outcome_by, row.note = outcome, at, by, note[:200]
        row.save(update_fields=["outcome", "outcome_at", "outcome_by", "note"])
        record(
            chain=site.code, verb="recall.account", by=by, at=at, client_key=client_key,
            answer={"recall_pack": row.pk}, lines=[Line("recall_pack", row.pk, RecallOutcome.OPEN, outcome)],
        )  # fmt: skip
        return row

    return act_once(
        verb="recall.account",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: RecallPack.objects.get(pk=answer["recall_pack"]),
    )


def recall_close(*, by: Signer, recall: Recall, at: datetime, client_key: UUID | None = None) -> Recall:
    """Close a recall, signed by the quality lead.

    Raises Refusal "packs-open" (says how many are not accounted for), "recall-closed"; NotAllowed.
    """
    person = by.person
    require(by=person, act="close_recall", site_id=recall.site_id)

    def work() -> Recall:
        row = Recall.objects.select_for_update().get(pk=recall.pk)
        if row.closed_at is not None:
            raise Refusal("recall-closed", _("This recall is closed."), _("Load the page again."))
        still = row.packs.filter(outcome=RecallOutcome.OPEN).count()
        if still:
            raise Refusal(
                "packs-open",
                _("%(count)s packs are not accounted for.") % {"count": still},
                _("Secure each, or declare it untraceable, then close."),
            )
        row.closed_at, row.closed_by = at, person
        row.signature = sign(
            by=by, meaning=Signature.Meaning.CLOSED, subject="recall", subject_id=row.pk,
            content=content_of(row), at=at,
        )  # fmt: skip
        row.save(update_fields=["closed_at", "closed_by", "signature"])
        record(
            chain=row.site.code, verb="recall.close", by=person, at=at, client_key=client_key,
            answer={"recall": row.pk}, lines=[Line("recall", row.pk, "open", "closed")],
        )  # fmt: skip
        return row

    return _once("recall.close", person, client_key, work)


def quarantine_lift(
    *, by: Signer, packs: Collection[Pack], at: datetime, client_key: UUID | None = None
) -> list[Pack]:
    """Give packs free again whose load turned out to be good: the quality lead's act, signed.

    Raises Refusal "load-not-released" (nothing released it since it was last packed), "indicator-failed" (one
    of that load did), "recall-open" (a recall still seeks it); NotAllowed.
    """
    person = by.person
    site = next(iter(packs)).set.site
    require(by=person, act="lift_quarantine", site_id=site.pk)

    def work() -> list[Pack]:
        locked = lock_packs(pack.pk for pack in packs)
        _check_good(locked)
        lines = move(
            locked, PackState.RELEASED, Step(by=person, at=at, reason="lifted"),
            expected=(PackState.QUARANTINED,),
        )  # fmt: skip
        for pack in locked:
            sign(
                by=by, meaning=Signature.Meaning.RELEASED, subject="pack", subject_id=pack.pk,
                content={"pack": pack.number, "round": pack.round}, at=at,
            )  # fmt: skip
        record(
            chain=site.code, verb="quarantine.lift", by=person, at=at, client_key=client_key,
            answer={"packs": [pack.pk for pack in locked]}, lines=lines,
        )  # fmt: skip
        return locked

    return act_once(
        verb="quarantine.lift",
        by=person,
        client_key=client_key,
        work=work,
        replay=lambda answer: list(Pack.objects.filter(pk__in=answer["packs"]).order_by("pk")),
    )


def _check_good(packs: Collection[Pack]) -> None:
    """That each was released by a load since it was last packed, and nothing speaks against that load."""
    released: dict[int, int] = {}
    steps = Move.objects.filter(pack__in=packs, round=F("pack__round")).order_by("pack", "sequence")
    for pack_id, after, run_id in steps.values_list("pack", "after", "run"):
        if after == PackState.RELEASED and run_id is not None:
            released[pack_id] = run_id
        elif after in (PackState.CLEANED, PackState.ASSEMBLED, PackState.PACKED):
            released.pop(pack_id, None)
    failed = set(
        Indicator.objects.filter(run__in=released.values(), result=IndicatorResult.FAILED).values_list(
            "run", flat=True
        )
    )
    sought = set(
        RecallPack.objects.filter(
            pack__in=packs, round=F("pack__round"), recall__closed_at__isnull=True
        ).values_list("pack", flat=True)
    )
    for pack in packs:
        if pack.pk not in released:
            raise Refusal(
                "load-not-released",
                _("No load has released pack %(pack)s since it was packed.") % {"pack": pack.number},
                _("Pack it anew, or put it back to the start."),
            )
        if released[pack.pk] in failed:
            raise Refusal(
                "indicator-failed",
                _("An indicator of the load of pack %(pack)s failed.") % {"pack": pack.number},
                _("Put it back to the start."),
            )
        if pack.pk in sought:
            raise Refusal(
                "recall-open",
                _("A recall that is not closed seeks pack %(pack)s.") % {"pack": pack.number},
                _("Account for it there and close the recall first."),
            )


def last_negative(machine: Machine, run: Run | None) -> datetime | None:
    """When the machine last began a load whose biological indicator did not grow, before this one."""
    loads = Run.objects.filter(
        machine=machine,
        indicators__kind=IndicatorKind.BIOLOGICAL,
        indicators__result=IndicatorResult.PASSED,
        started_at__isnull=False,
    )
    if run is not None and run.started_at is not None:
        loads = loads.filter(started_at__lt=run.started_at)
    return loads.aggregate(newest=Max("started_at"))["newest"]


def content_of(recall: Recall) -> dict[str, object]:
    """What a signature under a recall is bound to: its scope and how each pack was accounted for."""
    return {
        "recall": recall.number,
        "cause": recall.cause,
        "scope": recall.scope,
        "packs": sorted(
            [one.pack.number, one.round, one.outcome] for one in recall.packs.select_related("pack")
        ),
    }


def _loads(machine: Machine, scope: str, run: Run | None, since: datetime | None) -> list[int]:
    if scope == RecallScope.THIS_LOAD:
        return [run.pk] if run is not None else []
    loads = Run.objects.filter(machine=machine, started_at__isnull=False)
    if since is not None:
        loads = loads.filter(started_at__gt=since)
    return list(loads.values_list("pk", flat=True))


def _outcome_then(pack: Pack, one: RunPack, by: Person, at: datetime) -> dict[str, object]:
    """A pack that has gone round since was processed anew: the quality lead still looks at where it was
    used.
    """
    if pack.round == one.round and pack.state in Pack.IN_USE:
        return {"outcome": RecallOutcome.OPEN}
    if pack.round > one.round and pack.state not in Pack.IN_USE:
        return {"outcome": RecallOutcome.REPROCESSED, "outcome_at": at, "outcome_by": by}
    return {"outcome": RecallOutcome.OPEN}


def _once(verb: str, by: Person, client_key: UUID | None, work: Callable[[], Recall]) -> Recall:
    return act_once(
        verb=verb,
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Recall.objects.get(pk=answer["recall"]),
    )
