"""Entering from paper afterwards: marked late, with the paper's own time and the people who signed it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once, line_of, stage_of
from cases.counts.adding import add_within
from cases.counts.counting import begin_within, enter_within, entry_line
from cases.counts.ending import close_within
from cases.counts.figures import figures_of, newest_entries
from cases.counts.kinds_count import Key
from cases.counts.models_counts import Basis, CountLine, Stage, StageState, TheatreCount
from cases.counts.models_discrepancies import DiscrepancyState
from trays.ledger.append import Line
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class PaperName:
    """Who signed on paper: the name as it stands there, and the person where they are on file."""

    name: str
    person: Person | None = None


def paper_entered(
    *,
    by: Person,
    case: Case,
    stage: Key,
    figures: Mapping[int, int],
    paper_at: datetime,
    scrub: PaperName,
    circulating: PaperName,
    at: datetime,
    came_on: Mapping[int, int] | None = None,
    rest_right: bool = False,
    sheet: str = "",
    client_key: UUID | None = None,
) -> Stage:
    """Take down a stage that was counted on paper. It is marked late and closes with the paper's own signers.

    `figures` are the numbers counted by line, `came_on` what paper says came on since the stage before;
    `rest_right`: every other line was ticked as right. Where a line differs the stage stays open, to be
    settled; given once more after that it closes. Raises Refusal "paper-in-future", "stage-has-ended",
    "another-stage-open", "same-person", "nobody-named", "not-a-count"; NotThere; NotAllowed.
    """
    act = Act(by, at, client_key)
    if paper_at > at:
        raise Refusal(
            "paper-in-future",
            _("The time on the paper lies ahead of now."),
            _("Look at the time again."),
        )

    def work(count: TheatreCount) -> Done[Stage]:
        own = stage_of(count, stage)
        before = own.state
        lines = begin_within(count, own, act)
        for key, quantity in (came_on or {}).items():
            _added, more = add_within(
                count, line_of(count, key), quantity, act, as_found=True, paper_at=paper_at
            )
            lines += more
        lines += _entries(count, own, figures, act, paper_at)
        if rest_right:
            lines += _rest(own, act, paper_at)
        if _may_close(own):
            close_within(
                own, act, scrub=(scrub.person, scrub.name),
                circulating=(circulating.person, circulating.name), paper_at=paper_at,
                paper_sheet=sheet.strip(),
            )  # fmt: skip
            lines.append(Line("stage", own.pk, before, "closed"))
        return Done(own, lines, {"stage": own.pk}, "from_paper")

    return count_once(
        act, case, "stage.from_paper", work, lambda answer: Stage.objects.get(pk=answer["stage"]),
        role="enter_from_paper", happened_at=paper_at,
    )  # fmt: skip


def _entries(
    count: TheatreCount, stage: Stage, figures: Mapping[int, int], act: Act, paper_at: datetime
) -> list[Line]:
    newest = newest_entries(stage, figures)
    made = []
    for key, counted in figures.items():
        seen = newest[key].pk if key in newest else None
        # The key of the act is on the first number of a line only: what came on may have had its own.
        one = Act(act.by, act.at) if seen is not None and newest[key].client_key == act.client_key else act
        entry = enter_within(
            stage, line_of(count, key), counted, one, seen=seen, basis=Basis.PAPER, paper_at=paper_at
        )
        made.append(entry_line(entry))
    return made


def _rest(stage: Stage, act: Act, paper_at: datetime) -> list[Line]:
    """Every line that has no number yet was ticked as right."""
    left = [one for one in figures_of(stage) if one.counted is None]
    lines = CountLine.objects.in_bulk([one.line for one in left])
    return [
        entry_line(
            enter_within(
                stage,
                lines[one.line],
                one.should_be,
                act,
                seen=one.newest,
                basis=Basis.PAPER,
                paper_at=paper_at,
            )
        )
        for one in left
    ]


def _may_close(stage: Stage) -> bool:
    open_ = stage.discrepancies.filter(state=DiscrepancyState.OPEN).exists()
    return stage.state == StageState.OPEN and not open_ and all(one.may_close for one in figures_of(stage))
