"""A case is opened in theatre: its stages and kinds of soft goods stand; its trolley is taken over."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.bookings.once import Answer, act_once
from cases.counts.acting import Act, Done, count_once
from cases.counts.ending import same_person
from cases.counts.kinds_template import MADE_WHEN_NEEDED
from cases.counts.models_counts import CountLine, Stage, StageClass, TheatreCount
from cases.counts.models_templates import CountTemplate
from cases.counts.running_order import loose_kinds
from cases.counts.templating import template_for
from cases.picks.leaving import issue_for_within
from cases.picks.models import PackFor, PickList
from cases.picks.ticking import check_in_force
from cases.reservations import locking
from trays.ledger.append import Line, record
from trays.processing.moving import lock_packs
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal


def case_open(
    *,
    by: Person,
    case: Case,
    at: datetime,
    scrub: Person | None = None,
    circulating: Person | None = None,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> TheatreCount:
    """Open a case in theatre: it has its stages by the template in force, and a line for each kind of soft
    goods, sharp and small item of its plan, with none of them yet. One that is open already stays as it is.

    Raises Refusal "case-not-open" (it is closed or cancelled), "same-person"; NotAllowed.
    """
    require(by=by, act="count", site_id=case.site_id)
    if scrub is not None and circulating is not None and scrub.pk == circulating.pk:
        raise same_person()

    def work() -> TheatreCount:
        now = locking.lock(cases=[case.pk]).cases[case.pk]
        opened = TheatreCount.objects.filter(case=now).first()
        if opened is not None:
            # Nothing to add to the record: the first opening stands.
            return opened
        _refuse_ended(now)
        count, lines = _open(now, by, at, scrub, circulating)
        Case.objects.filter(pk=now.pk).update(status=Case.Status.OPENED)
        record(
            chain=case.site.code, verb="case.open", by=by, at=at, device_at=device_at,
            place_id=case.list.theatre_id, client_key=client_key, answer={"count": count.pk},
            lines=[Line("case", now.pk, now.status, Case.Status.OPENED), *lines],
        )  # fmt: skip
        return count

    def replay(answer: Answer) -> TheatreCount:
        return TheatreCount.objects.get(pk=answer["count"])

    return act_once(verb="case.open", by=by, client_key=client_key, work=work, replay=replay)


def _open(
    case: Case, by: Person, at: datetime, scrub: Person | None, circulating: Person | None
) -> tuple[TheatreCount, list[Line]]:
    template, lines = template_for(case.site, case.procedure, at)
    count = TheatreCount.objects.create(
        case=case, template=template, opened_at=at, opened_by=by, scrub=scrub, circulating=circulating
    )
    _stages(count, template)
    _kinds(count, by, at)
    return count, [*lines, Line("theatre_count", count.pk, "", "open")]


def _stages(count: TheatreCount, template: CountTemplate) -> None:
    planned = list(template.stages.all())
    stages = Stage.objects.bulk_create(
        Stage(
            count=count, number=one.number, mark=one.mark, word=one.word, kind=one.kind, when=one.when,
            signers=one.signers,
        )
        for one in planned if one.kind not in MADE_WHEN_NEEDED
    )  # fmt: skip
    classes = list(template.classes.all())
    StageClass.objects.bulk_create(
        StageClass(stage=stage, klass=one.klass)
        for stage in stages
        for one in classes
        if not one.stages or stage.number in one.stages
    )


def _kinds(count: TheatreCount, by: Person, at: datetime) -> None:
    """A line for each kind that counts, in the template's order of classes."""
    order = [one.klass for one in count.template.classes.all()]
    CountLine.objects.bulk_create(
        CountLine(
            count=count, klass=one.count_class, number=number, name=one.name, component=one,
            multiple=one.count_multiple, made_at=at, made_by=by,
        )
        for number, one in enumerate(loose_kinds(count.case.plan_id, order), start=1)
    )  # fmt: skip


def counters_name(
    *,
    by: Person,
    case: Case,
    at: datetime,
    scrub: Person,
    circulating: Person,
    client_key: UUID | None = None,
) -> TheatreCount:
    """Say who counts, before the first stage begins; a change after that is a hand-over.

    Raises Refusal "same-person", "count-has-begun".
    """
    act = Act(by, at, client_key)

    def work(count: TheatreCount) -> Done[TheatreCount]:
        if scrub.pk == circulating.pk:
            raise same_person()
        if count.scrub_id and count.circulating_id and count.stages.exclude(state="waiting").exists():
            raise Refusal(
                "count-has-begun",
                _("The count has begun with other counters."),
                _("Hand over, and do the hand-over count."),
            )
        count.scrub, count.circulating = scrub, circulating
        count.save(update_fields=["scrub", "circulating"])
        return Done(count, [Line("theatre_count", count.pk, "open", "counters")])

    return count_once(
        act, case, "count.counters", work, lambda answer: TheatreCount.objects.get(pk=answer["count"])
    )


def trolley_take_over(
    *,
    by: Person,
    case: Case,
    pick_list: PickList,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> TheatreCount:
    """Take over what picking checked, by one scan of the list: its picked packs are in the theatre now.

    Picked units stay picked until they are opened. A pack that may not leave (out of date, say) is left out:
    it is refused when it is scanned. Raises Refusal "another-case" (the list is not this
    case's), "list-replaced", "case-not-opened", "taken-over-already".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[TheatreCount]:
        if count.trolley_at is not None:
            raise Refusal(
                "taken-over-already",
                _("The trolley of this case was taken over already."),
                _("Scan what is opened from it."),
            )
        check_in_force(pick_list)
        rows, moved = _issued(by, pick_list, at)
        count.trolley_at, count.trolley_by = at, by
        count.save(update_fields=["trolley_at", "trolley_by"])
        line = Line("theatre_count", count.pk, "open", "trolley_taken_over")
        return Done(count, [line, *moved], {"packs_for": [row.pk for row in rows]})

    if pick_list.case_id != case.pk:
        raise Refusal(
            "another-case",
            _("This is the list of case %(other)s, not of %(case)s.")
            % {"other": pick_list.case.reference, "case": case.reference},
            _("Take the trolley to the other case, or open that one."),
        )
    return count_once(
        act, case, "trolley.take_over", work, lambda answer: TheatreCount.objects.get(pk=answer["count"]),
        before=lambda: _locks(case, pick_list),
    )  # fmt: skip


def _issued(by: Person, pick_list: PickList, at: datetime) -> tuple[list[PackFor], list[Line]]:
    """Every picked pack that may leave; nothing is written before all of them may."""
    left: set[int] = set()
    while True:
        try:
            return issue_for_within(by=by, pick_list=pick_list, at=at, but=left)
        except Refusal as refusal:
            pack = refusal.facts.get("pack_id")
            if not isinstance(pack, int) or pack in left:
                raise
            left.add(pack)


def _locks(case: Case, pick_list: PickList) -> None:
    """The case before its packs, the packs before the count."""
    locking.lock(cases=[case.pk])
    ticked = pick_list.lines.filter(pack__isnull=False, picked_at__isnull=False)
    lock_packs(ticked.values_list("pack_id", flat=True))


def _refuse_ended(case: Case) -> None:
    if case.status not in (Case.Status.BOOKED, Case.Status.OPENED):
        raise Refusal(
            "case-not-open",
            _("Case %(reference)s is %(status)s.")
            % {"reference": case.reference, "status": case.get_status_display().lower()},
            _("Book a new case if the operation takes place after all."),
        )
