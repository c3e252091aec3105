"""What is to be done next with a pack of the round, and the page on which it is done."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from django.db.models import Count, F, Q
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from trays.instruments.models import Pack, PackState
from trays.processing.models import Assembly, LineState, Move
from trays.processing.models_machines import Indicator, IndicatorResult, Run, RunPack, RunState
from trays.processing.models_recall import RecallOutcome, RecallPack

S = PackState


@dataclass(frozen=True, slots=True)
class NextAct:
    """The act in the trade's words and where it is done; `waits`: nothing can be done before something else
    is known.
    """

    label: str
    url: str
    waits: bool = False


@dataclass(frozen=True, slots=True)
class Around:
    """What is read beside the packs: runs they are in, lists begun, results owed, recalls that seek them.

    By pack: `runs`, `begun` (with `lacking`, the lines that lack something), `recalls` (the key of the
    recall), `held` (the short reason of its quarantine, and the run). By run: `owed`, the indicator.
    """

    runs: Mapping[int, Run] = field(default_factory=dict)
    begun: Mapping[int, Assembly] = field(default_factory=dict)
    held: Mapping[int, tuple[str, int | None]] = field(default_factory=dict)
    owed: Mapping[int, int] = field(default_factory=dict)
    recalls: Mapping[int, int] = field(default_factory=dict)

    def run_of(self, pack: Pack) -> Run | None:
        """The run that the pack is in."""
        return self.runs.get(pack.pk)


def around(packs: Iterable[Pack]) -> Around:
    """Read what the next acts of these packs depend on (five queries)."""
    rows = list(packs)
    ids = [pack.pk for pack in rows]
    inside = RunPack.objects.filter(pack__in=ids, open=True).select_related("run__machine", "run__programme")
    lacking = Count("lines", filter=Q(lines__state__in=[LineState.MISSING, LineState.BROKEN]))
    lists = Assembly.objects.filter(pack__in=ids, round=F("pack__round"), closed_at__isnull=True)
    quarantined = [pack.pk for pack in rows if pack.state == S.QUARANTINED]
    held = Move.objects.filter(pack__in=quarantined, after=S.QUARANTINED).order_by("pack", "sequence")
    sought = RecallPack.objects.filter(
        pack__in=quarantined, outcome=RecallOutcome.OPEN, recall__closed_at__isnull=True
    )
    reasons = {pack: (reason, run) for pack, reason, run in held.values_list("pack_id", "reason", "run_id")}
    runs = {one.pack_id: one.run for one in inside}
    waited = {run.pk for run in runs.values()} | {run for _reason, run in reasons.values() if run}
    owed = Indicator.objects.filter(run__in=waited, result=IndicatorResult.OUTSTANDING)
    return Around(
        runs=runs,
        begun={one.pack_id: one for one in lists.annotate(lacking=lacking)},
        held=reasons,
        owed=dict(owed.values_list("run_id", "pk")),
        recalls=dict(sought.values_list("pack_id", "recall_id")),
    )


def next_act(pack: Pack, beside: Around) -> NextAct:
    """The next act of one pack."""
    run = beside.run_of(pack)
    if pack.state in Pack.IN_USE:
        return NextAct(_("Receive"), reverse("receive"))
    if pack.state == S.RECEIVED:
        return _in_run(run, _("Start the washer")) if run else NextAct(_("Wash"), reverse("machines"))
    if pack.state == S.CLEANED:
        return _on_the_bench(pack, beside.begun.get(pack.pk))
    if pack.state == S.ASSEMBLED:
        return NextAct(_("Pack"), reverse("bench", args=[pack.pk]))
    if pack.state == S.PACKED:
        return NextAct(_("Load"), reverse("machines"))
    if pack.state == S.IN_LOAD and run is not None:
        return _in_run(run, _("Start the sterilizer"))
    if pack.state == S.QUARANTINED:
        return _quarantined(pack, beside)
    if pack.state == S.RELEASED:
        return NextAct(_("Store"), reverse("store"))
    return NextAct(_("Look at it"), reverse("pack", args=[pack.pk]))


def _in_run(run: Run, start: str) -> NextAct:
    url = reverse("run", args=[run.pk])
    if run.state == RunState.FILLING:
        return NextAct(start, url)
    if run.machine.kind == "washer":
        return NextAct(_("Take out"), url)
    return NextAct(_("Release with indicator") if run.implants else _("Release"), url)


def _on_the_bench(pack: Pack, begun: Assembly | None) -> NextAct:
    url = reverse("bench", args=[pack.pk])
    if begun is None:
        return NextAct(_("Assemble"), url)
    lacking = getattr(begun, "lacking", 0)
    if not lacking:
        return NextAct(_("Go on assembling"), url)
    words = ngettext("Close: %(n)d line short", "Close: %(n)d lines short", lacking)
    return NextAct(words % {"n": lacking}, url)


def _quarantined(pack: Pack, beside: Around) -> NextAct:
    reason, run = beside.held.get(pack.pk, ("", None))
    if pack.pk in beside.recalls:
        return NextAct(_("Account for it"), reverse("recall", args=[beside.recalls[pack.pk]]), waits=True)
    if run is not None and run in beside.owed:
        return NextAct(_("Wait for the indicator"), reverse("indicator", args=[beside.owed[run]]), waits=True)
    if reason == "indicator-outstanding" and run is not None:
        return NextAct(_("Release with indicator"), reverse("run", args=[run]))
    if reason == "load-failed":
        return NextAct(_("Pack anew, or back to the start"), reverse("pack", args=[pack.pk]), waits=True)
    return NextAct(_("Clear it up"), reverse("pack", args=[pack.pk]), waits=True)
