"""Counting: a stage begins, numbers are entered, packs accepted whole, a class counted again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from uuid import UUID

from django.db.models import Max
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once, line_of, must_be_open, open_stage, stage_of
from cases.counts.figures import called_again, newest_entries, should_be
from cases.counts.kinds_count import Key
from cases.counts.models_counts import (
    Basis,
    CountLine,
    Entry,
    PackIn,
    Recount,
    Stage,
    StageState,
    TheatreCount,
)
from trays.ledger.append import Line
from trays.staff.models import Person
from trays.web.errors import NotThere, Refusal

MOST = 9_999
"""More than this of one line is a slip of the finger."""


def stage_begin(
    *,
    by: Person,
    case: Case,
    stage: Key,
    at: datetime,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Stage:
    """Begin a stage. Stages before it that were not done stay open to view.

    Raises Refusal "stage-has-ended", "another-stage-open"; NotThere "no-such-stage".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Stage]:
        own = stage_of(count, stage)
        lines = begin_within(count, own, act)
        return Done(own, lines, {"stage": own.pk})

    return count_once(act, case, "stage.begin", work, lambda answer: Stage.objects.get(pk=answer["stage"]))


def begin_within(count: TheatreCount, stage: Stage, act: Act) -> list[Line]:
    """Begin a stage of a locked count; nothing where it is under way already."""
    if stage.state == StageState.OPEN:
        return [Line("stage", stage.pk, "open", "open")]
    if stage.ended:
        raise Refusal(
            "stage-has-ended",
            _("The stage %(stage)s has ended.") % {"stage": stage.word},
            _("Ask for an extra count if it is to be counted once more."),
        )
    other = open_stage(count)
    if other is not None:
        raise Refusal(
            "another-stage-open",
            _("The stage %(stage)s is under way.") % {"stage": other.word},
            _("Close it first, or end it as not done."),
        )
    stage.state, stage.begun_at, stage.begun_by = StageState.OPEN, act.at, act.by
    stage.save(update_fields=["state", "begun_at", "begun_by"])
    return [Line("stage", stage.pk, "waiting", "open")]


def count_enter(
    *,
    by: Person,
    case: Case,
    line: Key,
    stage: Key,
    counted: int,
    at: datetime,
    seen: int | None = None,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Entry:
    """Take down how many were counted of a line. Never refused for what the number is: it may differ, it
    may be in conflict with another device's, it may come when the stage has closed; each is marked.

    `seen` is the newest entry of this line and stage that the device knew. Raises Refusal "stage-not-open"
    (it has not begun), "not-a-count"; NotThere "no-such-line", "no-such-stage".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Entry]:
        own_stage, own_line = stage_of(count, stage), line_of(count, line)
        entry = enter_within(own_stage, own_line, counted, act, seen=seen)
        return Done(entry, [entry_line(entry)], {"entry": entry.pk})

    return count_once(act, case, "count.enter", work, lambda answer: Entry.objects.get(pk=answer["entry"]))


def enter_within(
    stage: Stage,
    line: CountLine,
    counted: int,
    act: Act,
    *,
    seen: int | None = None,
    basis: str = Basis.COUNTED,
    paper_at: datetime | None = None,
) -> Entry:
    """One entry of a line at a stage of a locked count."""
    if stage.state == StageState.WAITING:
        must_be_open(stage)
    if not 0 <= counted <= MOST:
        raise Refusal(
            "not-a-count",
            _("%(n)s is not a number that can be counted.") % {"n": counted},
            _("Enter a whole number from 0 on."),
        )
    expected = should_be([line.pk])[line.pk]
    return Entry.objects.create(
        line=line, stage=stage, counted=counted, expected=expected, basis=basis, by=act.by, at=act.at,
        device_at=act.device_at, paper_at=paper_at, device=act.device, client_key=act.client_key, seen=seen,
        conflict=_in_conflict(stage, line, counted, act, seen), after_close=stage.ended,
    )  # fmt: skip


def _in_conflict(stage: Stage, line: CountLine, counted: int, act: Act, seen: int | None) -> bool:
    """Whether another device has given another number that this one did not know of.

    The same number is no conflict, unless there was one already, or the class was called again since what
    the device knew: then only who knows the newest entry settles it.
    """
    earlier = list(Entry.objects.filter(stage=stage, line=line).order_by("pk"))
    if not earlier or earlier[-1].pk == seen:
        return False
    if earlier[-1].conflict:
        return True
    unknown = [one for one in earlier if one.pk > (seen or 0) and not _same_device(one, act)]
    again = called_again(stage).get(line.klass, 0)
    return any(one.counted != counted or one.pk <= again for one in unknown)


def _same_device(entry: Entry, act: Act) -> bool:
    if act.device is None:
        return entry.device is None and entry.by_id == act.by.pk
    return entry.device == act.device


def packs_accept(
    *,
    by: Person,
    case: Case,
    stage: Key,
    packs: Sequence[int],
    at: datetime,
    seen: int | None = None,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> list[Entry]:
    """Accept packs whole: each of their lines that nobody has entered yet was counted as it should be.

    `packs` are keys of `PackIn`. Lines entered already stay as they are, also those that differ; `seen` is
    the newest entry of the stage that the device knew: a number that another device gave since, and that is
    not what this one accepts, is a conflict. Raises Refusal "stage-not-open", "not-counted-here" (the stage
    counts nothing that is in them), "nothing-to-accept";
    NotThere "no-such-pack", "no-such-stage".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[list[Entry]]:
        own = stage_of(count, stage)
        must_be_open(own)
        found = list(PackIn.objects.filter(count=count, pk__in=packs).values_list("pk", flat=True))
        if not found or set(found) != set(packs):
            raise NotThere("no-such-pack", _("This case has no such pack."), _("Load the page again."))
        made = _accept(own, found, act, seen)
        return Done(made, [entry_line(entry) for entry in made], {"entries": [entry.pk for entry in made]})

    return count_once(
        act, case, "count.accept", work,
        lambda answer: list(Entry.objects.filter(pk__in=answer["entries"]).order_by("pk")),
    )  # fmt: skip


def _accept(stage: Stage, packs: Sequence[int], act: Act, seen: int | None) -> list[Entry]:
    klasses = list(stage.classes.values_list("klass", flat=True))
    lines = list(CountLine.objects.filter(pack_in__in=packs, klass__in=klasses).order_by("number"))
    if not lines:
        raise Refusal(
            "not-counted-here",
            _("The stage %(stage)s does not count what is in these packs.") % {"stage": stage.word},
            _("Go on with the next class."),
        )
    keys = [line.pk for line in lines]
    newest, again, expected = newest_entries(stage, keys), called_again(stage), should_be(keys)
    rivals = {
        pk for pk, one in newest.items()
        if seen is not None and one.pk > seen and one.counted != expected[pk] and not _same_device(one, act)
    }  # fmt: skip
    still = [
        line for line in lines
        if line.pk in rivals or line.pk not in newest or newest[line.pk].pk <= again.get(line.klass, 0)
    ]  # fmt: skip
    if not still:
        raise Refusal(
            "nothing-to-accept",
            _("Every line of this pack has been entered already."),
            _("Count a line again if it differs."),
        )
    return Entry.objects.bulk_create(
        Entry(
            line=line, stage=stage, counted=expected[line.pk], expected=expected[line.pk],
            basis=Basis.BY_PACK, by=act.by, at=act.at, device_at=act.device_at, device=act.device,
            client_key=act.client_key, conflict=line.pk in rivals,
            seen=newest[line.pk].pk if line.pk in newest and line.pk not in rivals else None,
        )
        for line in still
    )  # fmt: skip


def stage_recount(
    *,
    by: Person,
    case: Case,
    stage: Key,
    klass: str,
    at: datetime,
    reason: str = "",
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> Recount:
    """Count a class again at the stage under way. What was entered stays on file and no longer counts.

    Raises Refusal "stage-not-open", "not-counted-here".
    """
    act = Act(by, at, client_key, device, device_at)

    def work(count: TheatreCount) -> Done[Recount]:
        made = recount_within(stage_of(count, stage), klass, act, reason=reason)
        return Done(
            made, [Line("stage", made.stage_id, "open", "recount")], {"recount": made.pk}, reason[:60]
        )

    return count_once(
        act, case, "stage.recount", work, lambda answer: Recount.objects.get(pk=answer["recount"])
    )


def recount_within(stage: Stage, klass: str, act: Act, *, reason: str = "") -> Recount:
    """Call a class again at a stage of a locked count."""
    must_be_open(stage)
    if not stage.classes.filter(klass=klass).exists():
        raise Refusal(
            "not-counted-here",
            _("The stage %(stage)s does not count this class.") % {"stage": stage.word},
            _("Choose one that it counts."),
        )
    last = Entry.objects.filter(stage=stage, line__klass=klass).aggregate(n=Max("pk"))["n"] or 0
    return Recount.objects.create(
        stage=stage, klass=klass, after_entry=last, reason=reason[:40], by=act.by, at=act.at,
        device_at=act.device_at,
    )  # fmt: skip


def entry_line(entry: Entry) -> Line:
    """As the record says it: the line, and what its number came to."""
    if entry.conflict:
        after = "conflict"
    elif entry.counted == entry.expected:
        after = "equal"
    else:
        after = "more" if entry.counted > entry.expected else "fewer"
    return Line("count_entry", entry.pk, "", after)
