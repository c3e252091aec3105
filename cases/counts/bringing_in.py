"""A pack is opened at the table: is it what it should be, and what it really holds becomes lines to count."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Max, QuerySet
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.acting import Act, Done, count_once
from cases.counts.models_counts import (
    Added,
    AddedKind,
    CountLine,
    IndicatorSeen,
    PackIn,
    TheatreCount,
)
from cases.counts.models_templates import CountClass
from cases.counts.running_order import in_order, line_note, section_of
from cases.counts.said import OPENED_REASONS
from cases.picks.leaving import open_for_within
from cases.picks.models import PackFor, PickLine
from cases.reservations import locking
from trays.instruments.models import ContentsLine, Pack, PackLine, PackState
from trays.instruments.ready import state_word
from trays.ledger.append import Line
from trays.parties.queries import site_day
from trays.processing.models import Assembly
from trays.processing.moving import lock_packs
from trays.processing.ways import way
from trays.staff.models import Person
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class PackCheck:
    """One thing looked at before a pack is opened: `code`, whether it is right, in words, what to do if not.

    `mark` is what the pack keeps if it was opened all the same.
    """

    code: str
    ok: bool
    said: str
    next_step: str
    mark: str


@dataclass(frozen=True, slots=True)
class Opened:
    """A pack was opened although something spoke against it: why (a code and words), and who decided it."""

    reason: str
    decided_by: str
    note: str = ""


def pack_checks(*, case: Case, pack: Pack, at: datetime) -> tuple[PackCheck, ...]:
    """Released? In date? For this case? Complete in what is critical? Each with its answer (six queries)."""
    day = site_day(case.site, at)
    fit = pack.sterile_until is None or pack.sterile_until >= day
    until = pack.sterile_until.isoformat() if pack.sterile_until else ""
    mine = _is_for(case, pack)
    lacks = _lacks_critical(pack)
    own = pack.state == PackState.OPENED and _opened_for(pack).filter(case=case).exists()
    return (
        PackCheck(
            "pack-not-released", pack.state in Pack.READY or own,
            _("Released") if pack.state in Pack.READY or own
            else _("Pack %(pack)s is %(state)s; it is not released.")
            % {"pack": pack.number, "state": state_word(pack.state)},
            _("Do not open it. Take another, and tell sterile services."), "not_released",
        ),
        PackCheck(
            "pack-out-of-date", fit,
            _date_words(until) if fit
            else _("Pack %(pack)s was in date until %(day)s.") % {"pack": pack.number, "day": until},
            _("Do not open it. Take another."), "out_of_date",
        ),
        PackCheck(
            "pack-not-for-this-case", mine,
            _("For this case") if mine
            else _("Pack %(pack)s of set %(set)s was not picked for this case.")
            % {"pack": pack.number, "set": pack.set.code},
            _("Look whether it is the right one before it is opened."), "not_for_this_case",
        ),
        PackCheck(
            "pack-lacks-critical", not lacks,
            _("Complete in all that is critical") if not lacks
            else _("Pack %(pack)s lacks %(what)s, which is critical.")
            % {"pack": pack.number, "what": ", ".join(lacks)},
            _("Have another set at hand before it is opened."), "lacks_critical",
        ),
    )  # fmt: skip


def _date_words(until: str) -> str:
    return _("In date until %(day)s") % {"day": until} if until else _("No date: it keeps until it is opened")


def _is_for(case: Case, pack: Pack) -> bool:
    had = PackFor.objects.filter(case=case, pack=pack, round=pack.round, returned_at__isnull=True)
    wanted = PickLine.objects.filter(pack=pack, pick_list__case=case, pick_list__replaced_at__isnull=True)
    return had.exists() or wanted.exists()


def _opened_for(pack: Pack) -> QuerySet[PackFor]:
    """For which case it was opened in this round."""
    return PackFor.objects.filter(
        pack=pack, round=pack.round, opened_at__isnull=False, returned_at__isnull=True
    )


def _lacks_critical(pack: Pack) -> list[str]:
    """Critical lines that lack something and that nobody has let go as they are."""
    if Assembly.objects.filter(pack=pack, round=pack.round, short_by__isnull=False).exists():
        return []
    present = dict(PackLine.objects.filter(pack=pack).values_list("line_id", "present"))
    lines = ContentsLine.objects.filter(version_id=pack.set.version_id, tray=pack.tray, critical=True)
    return [
        str(line.instrument or line.rack_stock)
        for line in lines.select_related("instrument", "rack_stock")
        if present.get(line.pk, 0) < line.quantity
    ]


def pack_bring_in(
    *,
    by: Person,
    case: Case,
    pack: Pack,
    indicator: str,
    at: datetime,
    opened_already: Opened | None = None,
    client_key: UUID | None = None,
    device: UUID | None = None,
    device_at: datetime | None = None,
) -> PackIn:
    """A pack is opened for the case: what it really holds becomes the lines to count.

    `indicator` is what the scrub nurse saw: "seen", "not_seen", "failed". Something that speaks against the
    pack is refused while it can still be left closed; with `opened_already` it is taken down and marked.
    Raises Refusal "pack-in-already", and the codes of `pack_checks` (`facts["codes"]` are all of them,
    `facts["pack_id"]` the pack); "opened-unsaid" where the reason or the person is missing; NotAllowed.
    """
    act = Act(by, at, client_key, device, device_at)
    held: list[Pack] = []

    def before() -> None:
        locking.lock(cases=[case.pk])
        held.extend(lock_packs([pack.pk]))

    def work(count: TheatreCount) -> Done[PackIn]:
        own = held[-1]
        if count.packs_in.filter(pack=own, round=own.round).exists():
            raise _in_already(own)
        marks = _marks(case, own, indicator, act, opened_already)
        moved, more = _opened_now(case, own, act)
        made = _pack_in(count, own, indicator, [*marks, *more], act, opened_already)
        lines = lines_from_pack(count, made, own, act)
        after = "marked" if made.marks else "brought_in"
        return Done(
            made,
            [
                Line("pack_in", made.pk, "", after),
                *moved,
                *(Line("count_line", pk, "", "to_count") for pk in lines),
            ],
            {"pack_in": made.pk},
            made.reason,
        )

    return count_once(
        act,
        case,
        "pack.bring_in",
        work,
        lambda answer: PackIn.objects.get(pk=answer["pack_in"]),
        before=before,
    )


def _in_already(pack: Pack) -> Refusal:
    return Refusal(
        "pack-in-already",
        _("Pack %(pack)s has been brought in for this case already.") % {"pack": pack.number},
        _("Nothing to do; its lines are on the count page."),
        pack_id=pack.pk,
    )


def _marks(case: Case, pack: Pack, indicator: str, act: Act, opened: Opened | None) -> list[str]:
    """What is not as it should be; refused where the pack can still be left closed."""
    if indicator not in IndicatorSeen.values:
        raise Refusal(
            "indicator-unsaid",
            _("It is not said whether the indicator was seen."),
            _("Look at it together, and say it."),
        )
    wrong = [check for check in pack_checks(case=case, pack=pack, at=act.at) if not check.ok]
    if wrong and opened is None:
        first = wrong[0]
        raise Refusal(
            first.code,
            first.said,
            _("%(step)s If it is open already, say so, with the reason and who decided.")
            % {"step": first.next_step},
            pack_id=pack.pk,
            codes=[check.code for check in wrong],
        )
    if (
        wrong
        and opened is not None
        and (opened.reason not in OPENED_REASONS or not opened.decided_by.strip())
    ):
        raise Refusal(
            "opened-unsaid",
            _("Why it was opened, and who decided it, is not said."),
            _("Choose the reason and name the person."),
            pack_id=pack.pk,
            codes=[check.code for check in wrong],
        )
    marks = [check.mark for check in wrong]
    if indicator == IndicatorSeen.NOT_SEEN:
        marks.append("indicator_not_seen")
    if indicator == IndicatorSeen.FAILED:
        marks.append("indicator_failed")
    return marks


def _opened_now(case: Case, pack: Pack, act: Act) -> tuple[list[Line], list[str]]:
    """The pack is opened in its round too, as far as a way leads there; else the mark that says it is not."""
    same = _opened_for(pack)
    if pack.state == PackState.OPENED and same.filter(case=case).exists():
        return [], []
    if way(pack.state, PackState.OPENED) is None or same.exists():
        return [], ["not_in_round"]
    _rows, moved = open_for_within(by=act.by, case=case, locked=[pack], at=act.at)
    return moved, []


def _pack_in(
    count: TheatreCount, pack: Pack, indicator: str, marks: list[str], act: Act, opened: Opened | None
) -> PackIn:
    last = count.packs_in.aggregate(n=Max("number"))["n"] or 0
    said = opened if marks and opened is not None else None
    return PackIn.objects.create(
        count=count, pack=pack, round=pack.round, number=last + 1, at=act.at, device_at=act.device_at,
        by=act.by, indicator=indicator, marks=marks,
        reason=said.reason if said else "", note=said.note.strip()[:200] if said else "",
        decided_by=said.decided_by.strip()[:120] if said else "",
    )  # fmt: skip


def lines_from_pack(count: TheatreCount, pack_in: PackIn, pack: Pack, act: Act) -> list[int]:
    """A line for each line of the contents list, with what the pack really held: expected is what is in it.

    From the top of the tray down, rack stock last and by size: as on paper.
    """
    present = dict(PackLine.objects.filter(pack=pack).values_list("line_id", "present"))
    contents = list(
        ContentsLine.objects.filter(version_id=pack.set.version_id, tray=pack.tray)
        .select_related("instrument", "rack_stock").order_by("number")
    )  # fmt: skip
    last = count.lines.aggregate(n=Max("number"))["n"] or 0
    made = CountLine.objects.bulk_create(
        _line(count, pack_in, line, present.get(line.pk), number, act)
        for number, line in enumerate(in_order(contents), start=last + 1)
    )
    Added.objects.bulk_create(
        Added(
            line=row, quantity=present[row.contents_line_id], kind=AddedKind.PACKED, by=act.by, at=act.at,
            device_at=act.device_at, device=act.device, client_key=act.client_key,
        )
        for row in made if row.contents_line_id is not None and present.get(row.contents_line_id)
    )  # fmt: skip
    return [row.pk for row in made]


def _line(
    count: TheatreCount, pack_in: PackIn, line: ContentsLine, present: int | None, number: int, act: Act
) -> CountLine:
    parts = line.instrument.parts if line.instrument else 1
    return CountLine(
        count=count, klass=CountClass.INSTRUMENT if line.instrument else CountClass.RACK, number=number,
        name=str(line.instrument or line.rack_stock)[:160], component=line.rack_stock, pack_in=pack_in,
        contents_line=line, section=section_of(line)[:80],
        parts=parts, critical=line.critical, listed=line.quantity if present != line.quantity else None,
        note=line_note(parts, line.quantity, present)[:200], made_at=act.at, made_by=act.by,
    )  # fmt: skip
