"""Count sheets filled from the record: lines, numbers, times and names of a count, in its running order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from cases.bookings.models import Case
from cases.counts.kinds import (
    CountRow,
    CountSection,
    CountSheetView,
    SheetNotes,
    SoftRow,
    SoftSection,
    StageFilled,
    StageHead,
)
from cases.counts.kinds_count import CountState, LineState, PackState, PersonName, StageState
from cases.counts.models_discrepancies import Outcome
from cases.counts.queries import caution, class_title, in_packs
from cases.counts.running_order import loose_first
from cases.counts.state import count_state
from cases.picks.reading import position_words, short_date, short_moment
from trays.staff.models import RoleKind
from trays.web.errors import NotThere

BEGUN = ("open", "closed", "not_done")


def filled_views(case: Case, *, at: datetime) -> tuple[CountSheetView, ...]:
    """The sheets of a case that was opened: soft goods, sharps and other loose things, then each pack as it
    was brought in; or the other way round where the template has it so.

    Raises NotThere "count-not-opened".
    """
    state = count_state(case)
    if state is None:
        raise NotThere(
            "count-not-opened",
            _("Case %(reference)s has not been opened in theatre, so nothing was counted yet.")
            % {"reference": case.reference},
            _("Print the blank sheets instead."),
        )
    return _Sheets(case, state, at).all()


class _Sheets:
    """What all sheets of one record have in common."""

    def __init__(self, case: Case, state: CountState, at: datetime) -> None:
        self.case, self.state, self.site = case, state, case.site
        # Stages made when they were needed stand among the others, as they came.
        self.stages = state.stages
        self.heads = tuple(StageHead(one.mark, one.word) for one in self.stages)
        self.position = position_words(case)
        self.printed = short_moment(at, case.site)

    def all(self) -> tuple[CountSheetView, ...]:
        loose = [line for line in self.state.lines if line.pack is None]
        sheets: list[PackState | None] = [*self.state.packs]
        sheets.insert(0 if loose_first(one.klass for one in self.state.classes) else len(sheets), None)
        return tuple(
            self._view(pack, loose, _("%(n)s of %(all)s") % {"n": number, "all": len(sheets)})
            for number, pack in enumerate(sheets, start=1)
        )

    def _view(self, pack: PackState | None, loose: Sequence[LineState], place: str) -> CountSheetView:
        lines = [self.state.line(pk) for pk in pack.lines] if pack is not None else list(loose)
        return CountSheetView(
            kind="pack" if pack is not None else "soft_goods",
            number="",
            code="",
            subject=pack.name if pack is not None else _("Soft goods, sharps, small items"),
            side=self.state.side,
            operation=self.state.operation,
            reference=self.state.reference,
            day=short_date(self.state.day),
            theatre=self.state.theatre,
            position=self.position,
            sheet_of_case=place,
            pack=pack.number if pack is not None else "",
            pack_code="",
            contents_list=pack.contents_list if pack is not None else "",
            short=_pack_words(pack) if pack is not None else "",
            stages=self.heads,
            sections=tuple(self._sections(lines)) if pack is not None else (),
            soft=() if pack is not None else tuple(self._soft(lines)),
            added_rows=0,
            blank_kinds=0,
            caution=caution(),
            printed=self.printed,
            language=get_language() or "en-gb",
            direction=self.state.direction,
            filled=tuple(self._ended(one) for one in self.stages),
            notes=self._notes({line.pk for line in lines}, loose=pack is None),
        )

    # Lines

    def _sections(self, lines: Sequence[LineState]) -> Iterator[CountSection]:
        titles: dict[str, list[CountRow]] = {}
        for number, line in enumerate(lines, start=1):
            figures = tuple(self._figure(line, stage) for stage in self.stages)
            row = CountRow(number, line.name, line.note, line.should_be, line.critical, figures)
            titles.setdefault(line.section, []).append(row)
        for title, rows in titles.items():
            yield CountSection(title, tuple(rows))

    def _soft(self, lines: Sequence[LineState]) -> Iterator[SoftSection]:
        for one in self.state.classes:
            own = [line for line in lines if line.klass == one.klass]
            if own:
                title = class_title(one.word, [line.multiple for line in own])
                yield SoftSection(title, tuple(self._soft_row(line) for line in own))

    def _soft_row(self, line: LineState) -> SoftRow:
        first = self.stages[0] if self.stages else None
        entry = line.entries.get(first.pk) if first is not None else None
        # What the first count counted came on before or with it; the boxes hold what came since.
        since = self._since(line, entry.counted if entry is not None else 0)
        return SoftRow(
            name=line.name,
            in_packs=in_packs(line.multiple),
            first=self._figure(line, first) if first is not None else "",
            added=since,
            total=str(line.should_be),
            figures=tuple(self._figure(line, stage) for stage in self.stages[1:]),
        )

    @staticmethod
    def _since(line: LineState, counted_first: int) -> tuple[str, ...]:
        came, since = 0, []
        for quantity in line.additions:
            if came >= counted_first:
                since.append(f"{quantity:+d}")
            came += quantity
        return tuple(since)

    @staticmethod
    def _figure(line: LineState, stage: StageState) -> str:
        entry = line.entries.get(stage.pk)
        if entry is None:
            return "–" if stage.state in ("closed", "not_done") else ""
        return str(entry.counted)

    # Stages and what ends the sheet

    def _ended(self, stage: StageState) -> StageFilled:
        ended = stage.paper_at or stage.ended_at
        tick = {"closed": "correct" if stage.balanced else "not_correct", "not_done": "not_done"}
        signed = {one.seat: self._moment(one.at) for one in stage.signed}
        return StageFilled(
            time=self._moment(ended) if ended is not None else "",
            tick=tick.get(stage.state, ""),
            scrub=_name(stage.scrub),
            scrub_signed=signed.get(RoleKind.SCRUB_NURSE, ""),
            circulating=_name(stage.circulating),
            circulating_signed=signed.get(RoleKind.CIRCULATING_NURSE, ""),
        )

    def _moment(self, at: datetime) -> str:
        return short_moment(at, self.site)

    def _notes(self, lines: set[int], *, loose: bool) -> SheetNotes:
        words = {stage.pk: stage.word for stage in self.stages}
        differ = [
            _("%(stage)s: %(what)s, %(counted)s of %(expected)s. %(outcome)s. %(note)s %(who)s")
            % {
                "stage": words[one.stage], "what": one.name, "counted": one.counted, "expected": one.expected,
                "outcome": Outcome(one.outcome).label if one.outcome else _("not settled"), "note": one.note,
                "who": ", ".join(_name(person) for person in (one.first, one.second) if person is not None),
            }
            for one in self.state.discrepancies if one.line in lines
        ]  # fmt: skip
        not_done = [
            _("%(stage)s: %(reason)s. Decided by %(who)s. Follows: %(follow)s. %(done)s")
            % {
                "stage": stage.word, "reason": _bare(stage.reason), "who": _bare(stage.decided_by),
                "follow": _bare(stage.follow_up), "done": stage.followed_note,
            }
            for stage in self.stages if stage.state == "not_done"
        ]  # fmt: skip
        left = [
            _("%(n)s × %(what)s: %(plan)s. Decided by %(who)s.")
            % {"n": one.quantity, "what": one.name, "plan": _bare(one.plan), "who": _bare(one.decided_by)}
            for one in self.state.left_in if one.line in lines
        ]  # fmt: skip
        wrong = [
            _("%(what)s: %(found)s in a packet of %(multiple)s %(lot)s")
            % {"what": one.name, "found": one.found, "multiple": one.packed_in, "lot": one.lot}
            for one in self.state.wrong_packets if one.line in lines
        ]  # fmt: skip
        return SheetNotes(tuple(differ), tuple(not_done), tuple(left), tuple(wrong) if loose else ())


def _pack_words(pack: PackState) -> str:
    """What the pack lacked, and what was not as it should be when it was opened."""
    return "; ".join(word for word in (pack.short, *pack.marks) if word)


def _name(person: PersonName | None) -> str:
    return person.name if person is not None else ""


def _bare(words: str) -> str:
    """Words that a sentence goes on after."""
    return words.rstrip(". ")
