"""How a stage ends: with what it needs for it, and what then belongs to it for good."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Max
from django.utils.translation import gettext as _

from cases.counts.acting import Act
from cases.counts.figures import Figure, figures_of
from cases.counts.models_counts import Added, CountLine, Entry, LeftIn, PackIn, Pause, Stage, StageState
from cases.counts.models_discrepancies import DiscrepancyState
from trays.staff.models import Person
from trays.web.errors import Refusal


def close_within(
    stage: Stage,
    act: Act,
    *,
    scrub: tuple[Person | None, str],
    circulating: tuple[Person | None, str],
    paper_at: datetime | None = None,
    paper_sheet: str = "",
) -> None:
    """Close a stage of a locked count, as it is or not at all."""
    two_people(scrub, circulating)
    if Pause.objects.filter(count_id=stage.count_id, resumed_at__isnull=True).exists():
        raise Refusal(
            "count-paused", _("The count was interrupted and has not gone on yet."), _("Go on with it first.")
        )
    refuse_open(stage, figures_of(stage))
    end_within(stage, StageState.CLOSED, act, scrub=scrub, circulating=circulating, paper_at=paper_at,
         paper_sheet=paper_sheet)  # fmt: skip


def end_within(
    stage: Stage,
    state: str,
    act: Act,
    *,
    scrub: tuple[Person | None, str],
    circulating: tuple[Person | None, str],
    paper_at: datetime | None = None,
    paper_sheet: str = "",
) -> None:
    stage.state, stage.ended_at, stage.ended_by, stage.device_at = state, act.at, act.by, act.device_at
    stage.scrub, stage.scrub_name = scrub[0], scrub[1][:120]
    stage.circulating, stage.circulating_name = circulating[0], circulating[1][:120]
    stage.paper_at, stage.paper_sheet = paper_at, paper_sheet[:20]
    stage.upto = _upto(stage)
    stage.save()


def _upto(stage: Stage) -> dict[str, int]:
    """The last row of each kind that belongs to what was agreed."""

    def last(model: Any, **where: Any) -> int:
        return model.objects.filter(**where).aggregate(n=Max("pk"))["n"] or 0

    count = stage.count_id
    return {
        "line": last(CountLine, count=count),
        "added": last(Added, line__count=count),
        "left_in": last(LeftIn, line__count=count),
        "pack_in": last(PackIn, count=count),
        "entry": last(Entry, stage=stage),
    }


def refuse_open(stage: Stage, figures: list[Figure]) -> None:
    if stage.discrepancies.filter(state=DiscrepancyState.OPEN).exists():
        raise Refusal(
            "discrepancy-open",
            _("A discrepancy of this stage has not been settled."),
            _("Settle it, two people together."),
        )
    wrong = [one for one in figures if not one.may_close]
    if not wrong:
        return
    not_counted = [one.line for one in wrong if one.counted is None]
    conflicts = [one.line for one in wrong if one.conflict]
    differ = [one.line for one in wrong if one.counted is not None and not one.conflict]
    raise Refusal(
        "not-balanced",
        _("%(stage)s cannot be closed: %(why)s.")
        % {"stage": stage.word, "why": _why(differ, not_counted, conflicts)},
        _("Count what is left; where a number differs, count it again or open a discrepancy."),
        lines=differ,
        open=not_counted,
        conflicts=conflicts,
    )  # fmt: skip


def _why(differ: list[int], not_counted: list[int], conflicts: list[int]) -> str:
    names = dict(CountLine.objects.filter(pk__in=[*differ[:3], *conflicts[:3]]).values_list("pk", "name"))
    said = []
    if differ:
        said.append(_("%(n)s differ (%(names)s)") % {
            "n": len(differ), "names": ", ".join(names[pk] for pk in differ[:3])})  # fmt: skip
    if conflicts:
        said.append(_("%(n)s have two numbers (%(names)s)") % {
            "n": len(conflicts), "names": ", ".join(names[pk] for pk in conflicts[:3])})  # fmt: skip
    if not_counted:
        said.append(_("%(n)s not counted") % {"n": len(not_counted)})
    return "; ".join(said)


def same_person() -> Refusal:
    """What is said when one person stands in two places."""
    return Refusal(
        "same-person",
        _("The two who count are two different people."),
        _("Name the other person."),
    )


def two_people(scrub: tuple[Person | None, str], circulating: tuple[Person | None, str]) -> None:
    first, second = scrub[0], circulating[0]
    alike = scrub[1].strip().casefold() == circulating[1].strip().casefold()
    if (first is not None and second is not None and first.pk == second.pk) or (
        alike and (first is None or second is None)
    ):
        raise same_person()
    if not scrub[1].strip() or not circulating[1].strip():
        raise Refusal("nobody-named", _("Who counted is not said."), _("Name both."))


def named(person: Person | None) -> tuple[Person | None, str]:
    return person, person.name if person is not None else ""
