"""What every act of the count has in common: the count locked, one event, done once by its key."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Generic, TypeVar
from uuid import UUID

from django.db.models import Model
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.kinds_count import Key
from cases.counts.models_counts import CountLine, Stage, StageState, TheatreCount
from cases.counts.models_discrepancies import Discrepancy
from trays.ledger.append import Line, answered, record
from trays.ledger.once import Answer, act_once
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import NotThere, Refusal

T = TypeVar("T")
M = TypeVar("M", bound=Model)


@dataclass(frozen=True, slots=True)
class Act:
    """Who does it, when, by which key; `device` and `device_at` where a device kept it for a while."""

    by: Person
    at: datetime
    client_key: UUID | None = None
    device: UUID | None = None
    device_at: datetime | None = None


@dataclass(frozen=True, slots=True)
class Done(Generic[T]):
    """What came of it: the result, the lines of the event, and the keys of rows for a repeat."""

    result: T
    lines: Iterable[Line]
    answer: dict[str, Any] = field(default_factory=dict)
    reason: str = ""


def count_once(
    act: Act,
    case: Case,
    verb: str,
    work: Callable[[TheatreCount], Done[T]],
    again: Callable[[Answer], T],
    *,
    role: str = "count",
    before: Callable[[], object] | None = None,
    happened_at: datetime | None = None,
) -> T:
    """Do an act on the count of a case: one transaction, one event, its chain locked last.

    `before` takes locks that come before the count's own. Raises Refusal "case-not-opened",
    "key-used-before"; NotAllowed "not-your-act".
    """
    require(by=act.by, act=role, site_id=case.site_id)

    def inside() -> T:
        if before is not None:
            before()
        count = count_locked(case)
        done = work(count)
        record(
            chain=case.site.code, verb=verb, by=act.by, at=act.at, happened_at=happened_at,
            device_at=act.device_at, place_id=case.list.theatre_id, reason=done.reason,
            client_key=act.client_key, answer={"count": count.pk, **done.answer}, lines=done.lines,
        )  # fmt: skip
        return done.result

    def replay(answer: Answer) -> T:
        if not TheatreCount.objects.filter(pk=answer["count"], case_id=case.pk).exists():
            raise Refusal(
                "key-used-before",
                _("This form was already used for something else."),
                _("Open the page again and give it once more."),
            )
        return again(answer)

    return act_once(verb=verb, by=act.by, client_key=act.client_key, work=inside, replay=replay)


def count_locked(case: Case) -> TheatreCount:
    """The case's count, locked until the transaction ends: whoever counts or closes does so in turn.

    Raises Refusal "case-not-opened".
    """
    # The lock alone, then the reading: what PostgreSQL waited for is read as it is now.
    own = TheatreCount.objects.filter(case_id=case.pk)
    list(own.select_for_update().values_list("pk"))
    count = own.select_related("template", "scrub", "circulating").first()
    if count is None:
        raise Refusal(
            "case-not-opened",
            _("Case %(reference)s has not been opened in theatre yet.") % {"reference": case.reference},
            _("Open it first."),
        )
    return count


def row_named(rows: Any, key: Key, name: str) -> Any:
    """The row of a key; or that which the act with this client key made. None where there is none."""
    if isinstance(key, UUID):
        event = answered(key)
        found = (event.answer or {}).get(name) if event is not None else None
        return rows.filter(pk=found).first() if isinstance(found, int) else None
    return rows.filter(pk=key).first()


def line_of(count: TheatreCount, key: Key) -> CountLine:
    """Raises NotThere "no-such-line"."""
    line = row_named(CountLine.objects.filter(count=count), key, "line")
    if line is None:
        raise NotThere(
            "no-such-line",
            _("This case has no such line."),
            _("Load the page again and look at what is there now."),
        )
    return line


def stage_of(count: TheatreCount, key: Key) -> Stage:
    """Raises NotThere "no-such-stage"."""
    stage = row_named(Stage.objects.filter(count=count), key, "stage")
    if stage is None:
        raise NotThere(
            "no-such-stage",
            _("This case has no such stage."),
            _("Load the page again and look at what is there now."),
        )
    stage.count = count
    return stage


def discrepancy_of(count: TheatreCount, key: Key) -> Discrepancy:
    """Raises NotThere "no-such-discrepancy"."""
    rows = Discrepancy.objects.filter(stage__count=count).select_related("stage", "line")
    found = row_named(rows, key, "discrepancy")
    if found is None:
        raise NotThere(
            "no-such-discrepancy",
            _("This case has no such discrepancy."),
            _("Load the page again and look at what is there now."),
        )
    return found


def open_stage(count: TheatreCount) -> Stage | None:
    """The stage under way."""
    return Stage.objects.filter(count=count, state=StageState.OPEN).first()


def must_be_open(stage: Stage) -> None:
    """Raises Refusal "stage-not-open"."""
    if stage.state != StageState.OPEN:
        raise Refusal(
            "stage-not-open",
            _("The stage %(stage)s is %(state)s.")
            % {"stage": stage.word, "state": stage.get_state_display().lower()},
            _("Begin it first.") if stage.state == StageState.WAITING else _("Begin the next one."),
        )
