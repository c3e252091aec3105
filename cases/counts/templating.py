"""Which template is in force, and putting a later version in its place."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _

from cases.bookings.models import Procedure
from cases.counts.kinds_template import TemplatePlan, faults_of
from cases.counts.models_templates import CountTemplate, TemplateClass, TemplateStage, TemplateStep
from cases.counts.said import fault_words
from cases.counts.templates_read import in_force, start_plan
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.parties.models import Site
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def template_write(
    plan: TemplatePlan, *, site: Site, procedure: Procedure | None, by: Person | None, at: datetime
) -> tuple[CountTemplate, list[Line]]:
    """Write a template in place of the one in force, inside the caller's transaction; the event's lines."""
    earlier = CountTemplate.objects.filter(site=site, procedure=procedure)
    # The lock alone: two who edit at once write one after the other.
    list(earlier.select_for_update().values_list("pk"))
    version = (earlier.aggregate(n=Max("version"))["n"] or 0) + 1
    lines = []
    for pk in earlier.filter(replaced_at__isnull=True).values_list("pk", flat=True):
        lines.append(Line("count_template", pk, "in_force", "replaced"))
    earlier.filter(replaced_at__isnull=True).update(replaced_at=at)
    made = CountTemplate.objects.create(
        site=site, procedure=procedure, name=plan.name, version=version, direction=plan.direction,
        made_at=at, made_by=by,
    )  # fmt: skip
    TemplateStage.objects.bulk_create(
        TemplateStage(
            template=made, number=number, mark=one.mark, word=one.word, kind=one.kind, when=one.when,
            signers=list(one.signers),
        )
        for number, one in enumerate(plan.stages, start=1)
    )  # fmt: skip
    TemplateClass.objects.bulk_create(
        TemplateClass(
            template=made, number=number, klass=one.klass, word=one.word, keys=list(one.keys),
            stages=list(one.stages),
        )
        for number, one in enumerate(plan.classes, start=1)
    )  # fmt: skip
    TemplateStep.objects.bulk_create(
        TemplateStep(template=made, number=number, kind=one.kind, words=one.words, when=one.when)
        for number, one in enumerate(plan.steps, start=1)
    )
    return made, [*lines, Line("count_template", made.pk, "", "in_force")]


def template_put(
    *,
    by: Person,
    site: Site,
    procedure: Procedure | None,
    plan: TemplatePlan,
    at: datetime,
    client_key: UUID | None = None,
) -> CountTemplate:
    """Put a template in force for a procedure, or for all; the one before stays on file.

    Cases that are open already end with the template they began with. One event "count_template.put".
    Raises Refusal "template-faulty" (`facts["faults"]` as of `faults_of`); NotAllowed.
    """
    require(by=by, act="set_count_policy", site_id=site.pk)
    faults = faults_of(plan)
    if faults:
        part, number, code = faults[0]
        raise Refusal(
            "template-faulty",
            fault_words(part, number, code),
            _("Put it right; nothing has been changed."),
            faults=faults,
        )

    def work() -> CountTemplate:
        made, lines = template_write(plan, site=site, procedure=procedure, by=by, at=at)
        record(
            chain=site.code, verb="count_template.put", by=by, at=at, client_key=client_key,
            answer={"count_template": made.pk}, lines=lines,
        )  # fmt: skip
        return made

    return act_once(
        verb="count_template.put",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: CountTemplate.objects.get(pk=answer["count_template"]),
    )


def template_for(site: Site, procedure: Procedure, at: datetime) -> tuple[CountTemplate, list[Line]]:
    """The template in force, inside the caller's transaction; a site without any begins with the start."""
    found = in_force(site, procedure.pk)
    if found is not None:
        return found, []
    return template_write(start_plan(site), site=site, procedure=None, by=None, at=at)
