"""The acts of a count in theatre, each with what must have been done before it."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

from cases.counts import (
    adding,
    bringing_in,
    counting,
    opening,
    sending,
    settling,
    signing,
    staging,
    templating,
)
from cases.counts.kinds_template import starts
from cases.counts.models_counts import Added, CountLine, PackIn, Stage
from cases.counts.models_discrepancies import Discrepancy
from cases.counts.paper_entry import PaperName, paper_entered
from tests.world import NOW
from trays.staff.signing import Signer


def _by(s: Any, **more: Any) -> dict[str, Any]:
    return {"by": s.world.cast.circulating, "case": s.case, "at": NOW, **more}


def _two(s: Any) -> dict[str, Any]:
    return {"scrub": s.world.cast.scrub, "circulating": s.world.cast.circulating}


def _line(name: str = "Swabs") -> int:
    return CountLine.objects.get(name__startswith=name).pk


def _stage(kind: str = "first") -> int:
    return Stage.objects.get(kind=kind).pk


def _count_all(s: Any) -> None:
    for line in CountLine.objects.all():
        counted = sum(Added.objects.filter(line=line).values_list("quantity", flat=True))
        counting.count_enter(**_by(s, line=line.pk, stage=_stage(), counted=counted))


def _closed(s: Any) -> Any:
    _count_all(s)
    return staging.stage_close(**_by(s, stage=_stage(), **_two(s)))


def _not_done(s: Any) -> Any:
    facts = {"reason": "Bleeding", "follow_up": "X-ray", "decided_by": s.world.cast.surgeon.name}
    return staging.stage_not_done(**_by(s, stage=_stage(), **facts))


def _differs(s: Any) -> Any:
    return settling.discrepancy_open(**_by(s, stage=_stage(), line=_line()))


def _all_steps(s: Any) -> None:
    for number in range(1, 6):
        settling.step_done(**_by(s, discrepancy=Discrepancy.objects.get().pk, number=number))


Act = Callable[[Any], Any]
# What is prepared without being an act on trial.
READY: dict[str, tuple[Act, tuple[str, ...]]] = {
    "counted": (_count_all, ("stage_begin",)),
    "closed": (_closed, ("stage_begin",)),
    "one_short": (
        lambda s: counting.count_enter(**_by(s, line=_line(), stage=_stage(), counted=4)), ("added_record",)
    ),
    "all_steps": (_all_steps, ("discrepancy_open",)),
}  # fmt: skip
THEATRE_ACTS: dict[str, tuple[Act, tuple[str, ...]]] = {
    "case_open": (lambda s: opening.case_open(**_by(s)), ()),
    "counters_name": (lambda s: opening.counters_name(**_by(s, **_two(s))), ("case_open",)),
    "trolley_take_over": (
        lambda s: opening.trolley_take_over(**_by(s, pick_list=s.pick_list())), ("packs_pick", "case_open")
    ),
    "pack_bring_in": (
        lambda s: bringing_in.pack_bring_in(**_by(s, pack=s.pack(), indicator="seen")), ("trolley_take_over",)
    ),
    "stage_begin": (lambda s: counting.stage_begin(**_by(s, stage=_stage())), ("counters_name",)),
    "added_record": (
        lambda s: adding.added_record(**_by(s, line=_line(), quantity=5)), ("stage_begin",)
    ),
    "added_correct": (
        lambda s: adding.added_correct(**_by(s, added=Added.objects.get().pk, reason="slip")),
        ("added_record",),
    ),
    "line_add": (
        lambda s: adding.line_add(**_by(s, klass="small", name=s.world.cast.surgeon.name, quantity=1)),
        ("stage_begin",),
    ),
    "fragment_add": (
        lambda s: adding.fragment_add(**_by(s, broken=_line("Saw"), pieces=2)), ("stage_begin",)
    ),
    "left_in": (
        lambda s: adding.left_in(
            **_by(s, line=_line(), quantity=1, plan="Out", decided_by=s.world.cast.surgeon.name)
        ),
        ("added_record",),
    ),
    "packet_wrong": (
        lambda s: adding.packet_wrong(**_by(s, line=_line(), found=4)), ("case_open",)
    ),
    "count_enter": (
        lambda s: counting.count_enter(**_by(s, line=_line(), stage=_stage(), counted=0)), ("stage_begin",)
    ),
    "packs_accept": (
        lambda s: counting.packs_accept(**_by(s, stage=_stage(), packs=[PackIn.objects.get().pk])),
        ("pack_bring_in", "stage_begin"),
    ),
    "entry_send_for": (
        lambda s: sending.entry_send_for(**_by(s, entered_by=s.world.cast.scrub, entry_key=uuid4())),
        ("case_open",),
    ),
    "stage_recount": (
        lambda s: counting.stage_recount(**_by(s, stage=_stage(), klass="soft")), ("count_enter",)
    ),
    "stage_close": (lambda s: staging.stage_close(**_by(s, stage=_stage(), **_two(s))), ("counted",)),
    "stage_not_done": (_not_done, ("stage_begin",)),
    "follow_up_done": (
        lambda s: staging.follow_up_done(**_by(s, stage=_stage(), note="Nothing seen")), ("stage_not_done",)
    ),
    "count_ask": (lambda s: staging.count_ask(**_by(s)), ("case_open",)),
    "hand_over": (
        lambda s: staging.hand_over(**_by(s, seat="scrub_nurse", to=s.world.cast.surgeon)), ("count_enter",)
    ),
    "count_pause": (lambda s: staging.count_pause(**_by(s, klass="soft")), ("count_enter",)),
    "count_resume": (lambda s: staging.count_resume(**_by(s)), ("count_pause",)),
    "discrepancy_open": (_differs, ("one_short",)),
    "step_done": (
        lambda s: settling.step_done(**_by(s, discrepancy=Discrepancy.objects.get().pk, number=1)),
        ("discrepancy_open",),
    ),
    "discrepancy_settle": (
        lambda s: settling.discrepancy_settle(
            **_by(
                s, discrepancy=Discrepancy.objects.get().pk, outcome="not_found", second=s.world.cast.scrub,
                note=s.world.cast.surgeon.name, signed=[Signer(s.world.cast.scrub)],
            )
        ),
        ("all_steps",),
    ),
    "stages_sign": (
        lambda s: signing.stages_sign(**_by(s, signer=Signer(s.world.cast.scrub), seat="scrub_nurse")),
        ("closed",),
    ),
    "paper_entered": (
        lambda s: paper_entered(
            **_by(
                s, stage=_stage(), figures={_line(): 0}, rest_right=True, paper_at=NOW - timedelta(hours=1),
                scrub=PaperName(s.world.cast.scrub.name), circulating=PaperName("Agency"),
            )
        ),
        ("case_open",),
    ),
    "template_put": (
        lambda s: templating.template_put(
            by=s.world.cast.quality, site=s.world.site, procedure=None, plan=starts()[1], at=NOW
        ),
        (),
    ),
}  # fmt: skip
# Halves that run inside another act.
THEATRE_HALVES = {"issue_for_within", "open_for_within", "template_write"}
