"""Which template is in force, and templates as plain values."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import QuerySet

from cases.counts.kinds_template import SEATS, ClassPlan, StagePlan, StepPlan, TemplatePlan, starts
from cases.counts.models_templates import CountTemplate, StageKind
from trays.parties.models import Site


def in_force(site: Site, procedure_id: int | None) -> CountTemplate | None:
    """The procedure's own template at the site, else the site's for all; None without any (one query)."""
    rows = CountTemplate.objects.filter(site=site, replaced_at__isnull=True)
    own = [row for row in rows if row.procedure_id == procedure_id and procedure_id is not None]
    return next(iter(own or [row for row in rows if row.procedure_id is None]), None)


def start_plan(site: Site) -> TemplatePlan:
    """What a site begins with: the first template of the program's file, with the site's own stage words
    where it has given some.
    """
    plan = starts()[0]
    if not site.count_stages:
        return plan
    seats = tuple(str(seat) for seat in SEATS[:2])
    stages = []
    last = max((n for n, one in enumerate(site.count_stages) if isinstance(one, str)), default=0)
    for number, one in enumerate(site.count_stages):
        mark, word = (one[0], one[1]) if isinstance(one, list | tuple) else (str(number + 1), one)
        stages.append(StagePlan(str(mark)[:3], str(word)[:40], _kind(number, last, one), "", seats))
    kinds = {stage.kind for stage in stages}
    stages += [
        stage for stage in plan.stages if stage.kind in ("hand_over", "extra") and stage.kind not in kinds
    ]
    return TemplatePlan(
        plan.code, plan.name, plan.direction, tuple(stages),
        tuple(ClassPlan(one.klass, one.word, one.keys) for one in plan.classes), plan.steps,
    )  # fmt: skip


def _kind(number: int, last: int, one: str | Sequence[str]) -> str:
    """A stage with a letter of its own is made when it is needed: at a hand-over."""
    if number == 0:
        return StageKind.FIRST
    if not isinstance(one, str):
        return StageKind.HAND_OVER
    return StageKind.FINAL if number == last else StageKind.CLOSING


def plan_for(site: Site, procedure_id: int | None) -> TemplatePlan:
    """How a case of this kind is counted: by the template in force, or by what a site begins with."""
    template = in_force(site, procedure_id)
    return start_plan(site) if template is None else plan_from(template)


def plan_from(template: CountTemplate) -> TemplatePlan:
    """A template as plain values (three queries, or none where its parts were fetched with it)."""
    return TemplatePlan(
        code=str(template.pk),
        name=template.name,
        direction=template.direction,
        stages=tuple(
            StagePlan(row.mark, row.word, row.kind, row.when, tuple(row.signers))
            for row in template.stages.all()
        ),
        classes=tuple(
            ClassPlan(row.klass, row.word, tuple(row.keys), tuple(row.stages))
            for row in template.classes.all()
        ),
        steps=tuple(StepPlan(row.kind, row.words, row.when) for row in template.steps.all()),
    )


def templates(site: Site) -> QuerySet[CountTemplate]:
    """Every template of a site with its history: those for all first, the newest version first."""
    rows = CountTemplate.objects.filter(site=site).select_related("procedure", "made_by")
    return rows.order_by("procedure__name", "-version")
