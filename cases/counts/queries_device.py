"""Reading what a counting device needs beside the count: people, what came on, steps, who sent for whom."""

from __future__ import annotations

from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.models_counts import Added, AddedKind, TheatreCount
from cases.counts.models_sent import SentFor
from cases.counts.models_templates import StageKind, TemplateStep
from trays.staff.access import ACTS
from trays.staff.models import Person, Role
from trays.web.errors import NotThere


def counters_at(*, site_id: int) -> list[dict[str, Any]]:
    """Who may count at the site, by name, with the roles in which they do. One query."""
    rows = Role.objects.filter(site_id=site_id, kind__in=ACTS["count"], person__is_active=True)
    people: dict[int, dict[str, Any]] = {}
    for role in rows.select_related("person").order_by("person__name", "pk"):
        one = people.setdefault(role.person_id, {"pk": role.person_id, "name": role.person.name, "seats": []})
        one["seats"].append(role.kind)
    return list(people.values())


def counter_at(*, site_id: int, pk: int) -> Person:
    """One of them. Raises NotThere "no-such-counter"."""
    person = Person.objects.filter(
        pk=pk, is_active=True, roles__site_id=site_id, roles__kind__in=ACTS["count"]
    ).first()
    if person is None:
        raise NotThere(
            "no-such-counter",
            _("Nobody with this name counts at this site."),
            _("Choose the person from the list."),
        )
    return person


def sent_for_others(case: Case) -> list[dict[str, Any]]:
    """Whose entries were sent by whom, and how many. One query."""
    rows = SentFor.objects.filter(count__case=case).order_by("entered_by__name", "sent_by__name")
    counts = rows.values("entered_by__name", "sent_by__name").annotate(entries=Count("pk"))
    return [dict(row) for row in counts]


def came_on(case: Case) -> list[dict[str, Any]]:
    """What came onto the field, in order; what the first count found there is marked. One query."""
    rows = Added.objects.filter(line__count__case=case).exclude(kind=AddedKind.PACKED)
    found = list(rows.select_related("line", "by", "stage").order_by("pk"))
    back = {one.corrects_id for one in found if one.corrects_id}
    return [
        {
            "pk": one.pk,
            "line": one.line_id,
            "name": one.line.name,
            "quantity": one.quantity,
            "at": one.at.isoformat(),
            "by": one.by.name,
            "at_first": one.stage is None or one.stage.kind == StageKind.FIRST,
            "taken_back": one.pk in back or one.corrects_id is not None,
        }
        for one in found
    ]


def steps_of(case: Case) -> list[dict[str, Any]]:
    """The steps of a discrepancy as the case's template has them. One query."""
    own = TheatreCount.objects.filter(case=case).values("template")
    rows = TemplateStep.objects.filter(template__in=own).order_by("number")
    return [dict(row) for row in rows.values("number", "kind", "words", "when")]
