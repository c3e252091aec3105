"""The count of a case as one picture: read once, worked out once, for page, device and paper alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.kinds_count import (
    BoardRow,
    ClassState,
    Counted,
    CountState,
    HandOverPicture,
    LeftInPicture,
    LineState,
    PackState,
    PauseState,
    PersonName,
    Signed,
    StageState,
    WrongPacketPicture,
)
from cases.counts.models_counts import CountLine, Stage
from cases.counts.models_counts import StageState as S
from cases.counts.models_discrepancies import DiscrepancyState
from cases.counts.queries import caution
from cases.counts.rows import CountRows, count_rows
from cases.counts.said import mark_words
from cases.counts.state_differs import discrepancy_picture, person_name
from cases.counts.state_gaps import gaps_of
from cases.counts.state_verdicts import Verdicts
from cases.picks.reading import sides_of
from trays.staff.models import Person

DIFFERS = ("fewer", "more")


def count_state(case: Case) -> CountState | None:
    """The count of a case as it is now; None where it has not been opened. Nineteen queries, always."""
    rows = count_rows(case.pk)
    return _Picture(rows).whole() if rows is not None else None


class _Picture:
    """Works the picture out of the rows, with no further query but the one for the sides."""

    def __init__(self, rows: CountRows) -> None:
        self.rows = rows
        self.told = Verdicts(rows)
        self.open, self.ended = self.told.open, self.told.ended

    def whole(self) -> CountState:
        count = self.rows.count
        case = count.case
        order = {one.klass: one.number for one in self.rows.classes}
        lines = sorted(
            (self._line(line) for line in self.rows.lines),
            key=lambda line: (order.get(line.klass, len(order) + 1), line.number),
        )
        stages = tuple(self._stage(stage) for stage in self.rows.stages)
        discrepancies = tuple(discrepancy_picture(self.rows, one) for one in self.rows.discrepancies)
        rivals = self.told.rivals()
        return CountState(
            count=count.pk,
            case=case.pk,
            reference=case.reference,
            operation=case.procedure.name,
            side=sides_of(case),
            theatre=case.list.theatre.name,
            day=case.list.day,
            zone=case.site.zone,
            template=str(count.template),
            direction=count.template.direction,
            opened_at=count.opened_at,
            opened_by=count.opened_by.name,
            trolley_at=count.trolley_at,
            scrub=person_name(count.scrub),
            circulating=person_name(count.circulating),
            paused=self._pause(),
            current=self.open.pk if self.open else None,
            next=next((stage.pk for stage in stages if stage.state == S.WAITING), None),
            stages=stages,
            classes=self._classes(lines),
            lines=tuple(lines),
            board=self._board(lines),
            packs=self._packs(lines),
            discrepancies=discrepancies,
            conflicts=rivals,
            left_in=tuple(
                LeftInPicture(
                    one.line_id, one.line.name, one.quantity, one.plan, one.decided_by, one.at, one.by.name
                )
                for one in self.rows.left_in
            ),
            wrong_packets=tuple(
                WrongPacketPicture(
                    one.line_id, one.line.name, one.found, one.packed_in, one.lot, one.at, one.by.name
                )
                for one in self.rows.wrong_packets
            ),
            hand_overs=tuple(
                HandOverPicture(
                    one.seat, one.before.name if one.before else "", one.after.name, one.at, one.stage_id
                )
                for one in self.rows.hand_overs
            ),
            gaps=gaps_of(self.rows, stages, discrepancies, rivals),
            caution=caution(),
        )

    # Lines

    def _line(self, line: CountLine) -> LineState:
        entries, newest = {}, {}
        for stage in self.rows.stages:
            own = self.rows.entries.get((stage.pk, line.pk))
            if not own:
                continue
            newest[stage.pk] = own[-1].pk
            entry = self.told.valid(stage, line)
            if entry is not None:
                entries[stage.pk] = Counted(
                    entry.pk, entry.counted, self.told.verdict(stage, line, entry)[0], entry.basis, entry.by,
                    entry.at, entry.device_at, entry.paper_at, entry.device,
                )  # fmt: skip
        stage_now = self.told.stage_for(line)
        if self._changed_since(line, stage_now):
            verdict, difference = "open", 0
        elif stage_now is not None:
            verdict, difference = self.told.verdict(stage_now, line, self.told.valid(stage_now, line))
        else:
            verdict, difference = ("none" if self.open is not None else "open"), 0
        return LineState(
            pk=line.pk, number=line.number, klass=line.klass, name=line.name, section=line.section,
            note=line.note, critical=line.critical, parts=line.parts, multiple=line.multiple,
            listed=line.listed, pack=line.pack_in_id, should_be=self.told.expected(line.pk),
            left_in=sum(n for _pk, n in self.told.left.get(line.pk, ())),
            additions=tuple(one.quantity for one in self.rows.added.get(line.pk, ())),
            entries=entries, newest=newest, verdict=verdict, difference=difference, broken=line.broken_id,
        )  # fmt: skip

    def _changed_since(self, line: CountLine, stage: Stage | None) -> bool:
        """Whether so many more or fewer belong here since the last stage that it must be counted anew."""
        return (
            stage is not None
            and stage.ended
            and self.told.expected(line.pk) != self.told.expected(line.pk, stage)
        )

    # Stages

    def _stage(self, stage: Stage) -> StageState:
        klasses = self.rows.counts_what.get(stage.pk, set())
        names = {"scrub_nurse": stage.scrub, "circulating_nurse": stage.circulating}
        signed = tuple(
            Signed(
                one.seat, PersonName(one.person_id, one.signature.name), one.signature.signed_at,
                one.signature.get_meaning_display(),
            )
            for one in self.rows.signings.get(stage.pk, ())
        )  # fmt: skip
        settled = sum(
            one.stage_id == stage.pk and one.state == DiscrepancyState.SETTLED
            for one in self.rows.discrepancies
        )
        return StageState(
            pk=stage.pk, mark=stage.mark, word=stage.word, kind=stage.kind, when=stage.when,
            state=stage.state,
            classes=tuple(one.klass for one in self.rows.classes if one.klass in klasses),
            begun_at=stage.begun_at, begun_by=_name(stage.begun_by), ended_at=stage.ended_at,
            ended_by=_name(stage.ended_by), scrub=_agreed(names["scrub_nurse"], stage.scrub_name),
            circulating=_agreed(names["circulating_nurse"], stage.circulating_name),
            late=stage.paper_at is not None, paper_at=stage.paper_at, paper_sheet=stage.paper_sheet,
            reason=stage.reason, decided_by=stage.decided_by, follow_up=stage.follow_up,
            followed_at=stage.followed_at, followed_by=_name(stage.followed_by),
            followed_note=stage.followed_note, seats=tuple(stage.signers), signed=signed,
            balanced=self._balanced(stage, klasses), settled=settled,
        )  # fmt: skip

    def _balanced(self, stage: Stage, klasses: set[str]) -> bool:
        if stage.state == S.WAITING or stage.state == S.NOT_DONE:
            return False
        upto = stage.upto.get("line") if stage.ended else None
        return all(
            self.told.verdict(stage, line, self.told.valid(stage, line))[0] == "equal"
            for line in self.rows.lines
            if line.klass in klasses and (upto is None or line.pk <= upto)
        )

    def _pause(self) -> PauseState | None:
        pause = self.rows.pause
        if pause is None:
            return None
        return PauseState(pause.stage_id, pause.klass, pause.reason, pause.at, pause.by.name)

    # Classes, board, packs

    def _classes(self, lines: Sequence[LineState]) -> tuple[ClassState, ...]:
        return tuple(
            ClassState(
                one.klass,
                one.word,
                tuple(one.keys),
                tuple(line.pk for line in lines if line.klass == one.klass),
            )
            for one in self.rows.classes
        )

    def _board(self, lines: Sequence[LineState]) -> tuple[BoardRow, ...]:
        """The classes that the stage under way counts (between stages: all), in running order."""
        counted = self.rows.counts_what.get(self.open.pk) if self.open is not None else None
        last = self._last_class()
        made = []
        for one in self.rows.classes:
            if counted is None or one.klass in counted:
                own = [line for line in lines if line.klass == one.klass]
                made.append(_board_row(one.klass, one.word, own, self._stage_keys()))
        busy = next((row.klass for row in made if row.klass == last and row.verdict != "equal"), None)
        busy = busy or next(
            (row.klass for row in made if row.verdict not in ("equal", "settled", "none")), None
        )
        return tuple(
            replace(row, under_way=self.open is not None and row.klass == busy)
            for row in made
        )

    def _stage_keys(self) -> tuple[int, ...]:
        if self.open is not None:
            return (self.open.pk,)
        return tuple(stage.pk for stage in reversed(self.ended))

    def _last_class(self) -> str | None:
        if self.open is None:
            return None
        klass = {line.pk: line.klass for line in self.rows.lines}
        own = [rows[-1] for (stage, _line), rows in self.rows.entries.items() if stage == self.open.pk]
        return klass[max(own, key=lambda one: one.pk).line] if own else None

    def _packs(self, lines: Sequence[LineState]) -> tuple[PackState, ...]:
        made = []
        for one in self.rows.packs:
            own = [line for line in lines if line.pack == one.pk]
            lacking = sum(
                max(0, line.listed - self._packed(line.pk)) for line in own if line.listed is not None
            )
            pack = one.pack
            made.append(
                PackState(
                    pk=one.pk, pack=pack.pk, number=f"{pack.number}-{one.round}",
                    name=pack.set.version.design.name, items=sum(line.should_be for line in own),
                    lines=tuple(line.pk for line in own),
                    contents_list=_("v %(version)s") % {"version": pack.set.version.version},
                    short=_("short %(n)s") % {"n": lacking} if lacking else "", indicator=one.indicator,
                    marks=mark_words(one.marks), reason=one.reason, note=one.note, decided_by=one.decided_by,
                    at=one.at, by=one.by.name, verdict=_worst(own),
                    open=sum(line.verdict == "open" for line in own),
                )
            )  # fmt: skip
        return tuple(made)

    def _packed(self, line: int) -> int:
        return sum(one.quantity for one in self.rows.added.get(line, ()) if one.kind == "packed")


def _board_row(klass: str, word: str, lines: Sequence[LineState], stages: Sequence[int]) -> BoardRow:
    counted = 0
    for line in lines:
        entry = next((line.entries[stage] for stage in stages if stage in line.entries), None)
        counted += entry.counted if entry is not None else 0
    return BoardRow(
        klass=klass, word=word, should_be=sum(line.should_be for line in lines), counted=counted,
        lines=len(lines), open=sum(line.verdict == "open" for line in lines),
        fewer=sum(-line.difference for line in lines if line.verdict == "fewer"),
        more=sum(line.difference for line in lines if line.verdict == "more"),
        conflict=sum(line.verdict == "conflict" for line in lines), verdict=_worst(lines), under_way=False,
    )  # fmt: skip


def _worst(lines: Sequence[LineState]) -> str:
    """What is said of several lines together: what differs is never hidden by what is equal."""
    said = {line.verdict for line in lines}
    if not lines or said == {"none"}:
        return "none"
    if "conflict" in said:
        return "conflict"
    if {"fewer", "more"} <= said:
        return "both"
    for verdict in ("fewer", "more", "open", "settled"):
        if verdict in said:
            return verdict
    return "equal"


def _agreed(person: Person | None, name: str) -> PersonName | None:
    return PersonName(person.pk if person is not None else None, name) if name else None


def _name(person: Person | None) -> str:
    return person.name if person is not None else ""
