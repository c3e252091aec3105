"""The signatures that end a count sheet: two people for each stage, and what was not as it should be."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from cases.counts.kinds import SheetNotes, StageFilled, StageHead
from trays.symbols import lettering
from trays.symbols.a4 import LEFT, RIGHT
from trays.symbols.lettering import Face
from trays.symbols.pages import Block
from trays.symbols.paper import COLUMN_RULE, ROW_RULE, Paper, Stroke
from trays.symbols.parts import free_lines, together

# Columns: stage 30, time 18, three ticks 36, scrub 47, circulating 47.
_TIME_X, _TICKS_X, _SCRUB_X, _CIRCULATING_X = LEFT + 30, LEFT + 48, LEFT + 84, LEFT + 131
_STAGE_HIGH = 18.0
_TICK = 4.8
# So many stages fit on one page with the free lines; more are parted.
_STAGES_TOGETHER = 6
NO_NOTES = SheetNotes()


def signatures(
    stages: Sequence[StageHead],
    *,
    soft: bool,
    filled: Sequence[StageFilled] = (),
    notes: SheetNotes = NO_NOTES,
) -> tuple[Block, ...]:
    """The blocks for signing: one page for up to six stages, never parted then. Filled from the record they
    say who agreed and when they signed.
    """
    heads = [_title(), _heads()]
    ends: Sequence[StageFilled | None] = filled or [None] * len(stages)
    signed = [_stage(stage, end) for stage, end in zip(stages, ends, strict=True)]
    free = _said(notes, soft=soft) if filled else _to_write(soft=soft)
    if len(stages) <= _STAGES_TOGETHER:
        return (together(*heads, *signed, *free, gap=2.0),)
    return (together(*heads, *signed[:2], gap=2.0), *signed[2:], together(*free))


def _to_write(*, soft: bool) -> list[Block]:
    """Lines to be written on."""
    free = [
        free_lines(
            _("Not correct"), _("what is missing or extra; where searched; surgeon told at; x-ray; report"), 2
        ),
        free_lines(_("Not done: emergency"), _("reason; who decided; what follows, when and by whom"), 2),
        free_lines(_("Left in on purpose"), _("what, how many, plan for removal"), 1),
    ]
    if soft:
        free.append(
            free_lines(_("Packet with a wrong number"), _("kind, number found; taken out whole, not used"), 1)
        )
    return free


def _said(notes: SheetNotes, *, soft: bool) -> list[Block]:
    """The same from the record: sentences, or that there is none."""
    free = [
        _sentences(_("Not correct"), notes.not_correct),
        _sentences(_("Not done: emergency"), notes.not_done),
        _sentences(_("Left in on purpose"), notes.left_in),
    ]
    return [*free, _sentences(_("Packet with a wrong number"), notes.wrong_packets)] if soft else free


def _sentences(title: str, said: Sequence[str]) -> Block:
    lines = [line for one in said for line in lettering.wrap(one, RIGHT - LEFT - 2, 9)] or [_("none")]

    def draw(paper: Paper, top: float) -> None:
        paper.text(LEFT, top + 6, title, 10, Face.BOLD)
        for number, line in enumerate(lines):
            paper.text(LEFT + 2, top + 11 + number * 4.4, line, 9)

    return Block(11.0 + len(lines) * 4.4, draw)


def _title() -> Block:
    def draw(paper: Paper, top: float) -> None:
        wide = paper.text(LEFT, top + 7, _("Signatures"), 12, Face.BOLD)
        hint = _("two different people for every stage; a blank stage is an open stage")
        paper.fitted(LEFT + wide + 4, top + 7, hint, 8.5, width=RIGHT - LEFT - wide - 4, least=7)

    return Block(9.0, draw)


def _heads() -> Block:
    columns = (
        (LEFT + 1, _("Stage"), 28.0),
        (_TIME_X + 1, _("Time"), 16.0),
        (_TICKS_X + 1, _("Tick one"), 34.0),
        (_SCRUB_X + 1, _("Scrub"), 45.0),
        (_CIRCULATING_X + 1, _("Circulating"), 45.0),
    )

    def draw(paper: Paper, top: float) -> None:
        for x, word, room in columns:
            paper.fitted(x, top + 4, word, 8.5, width=room, least=7, face=Face.BOLD)
        paper.rule(LEFT, RIGHT, top + 6 - COLUMN_RULE, COLUMN_RULE)

    return Block(6.0, draw)


def _stage(stage: StageHead, end: StageFilled | None) -> Block:
    def draw(paper: Paper, top: float) -> None:
        _stage_word(paper, top, stage)
        for number, word in enumerate((_("correct"), _("not correct"), _("not done: emergency"))):
            y = top + 0.9 + number * 5.6
            paper.tick(_TICKS_X + 1, y, _TICK)
            if end is not None and end.tick == ("correct", "not_correct", "not_done")[number]:
                _crossed(paper, _TICKS_X + 1, y)
            paper.fitted(_TICKS_X + 7, y + 3.6, word, 8, width=28, least=7)
        for left, right in ((_SCRUB_X, _CIRCULATING_X), (_CIRCULATING_X, RIGHT)):
            paper.text(left + 1, top + 2.9, _("name"), 7)
            paper.rule(left, right, top + 8.5, ROW_RULE)
            paper.text(left + 1, top + 11.5, _("signature"), 7)
        if end is not None:
            _ended(paper, top, end)
        for x in (_TIME_X, _TICKS_X, _SCRUB_X, _CIRCULATING_X):
            paper.upright(x, top, top + _STAGE_HIGH)
        paper.rule(LEFT, RIGHT, top + _STAGE_HIGH - ROW_RULE, ROW_RULE)

    return Block(_STAGE_HIGH, draw)


def _crossed(paper: Paper, x: float, y: float) -> None:
    """A cross through the box that the record ticks."""
    for ends in (((x, y), (x + _TICK, y + _TICK)), ((x, y + _TICK), (x + _TICK, y))):
        paper.line(list(ends), Stroke(0.5))


def _ended(paper: Paper, top: float, end: StageFilled) -> None:
    """When it ended, who agreed aloud, and when each signed with their own PIN."""
    for number, line in enumerate(lettering.wrap(end.time, 16, 8)[:3]):
        paper.text(_TIME_X + 1, top + 5 + number * 3.6, line, 8)
    places = (
        (_SCRUB_X, end.scrub, end.scrub_signed),
        (_CIRCULATING_X, end.circulating, end.circulating_signed),
    )
    for x, name, at in places:
        paper.fitted(x + 1, top + 7.4, name, 10, width=44, least=7)
        waits = _("not signed yet") if end.tick == "not_done" else _("agreed aloud, not signed yet")
        signed = _("signed by PIN, %(at)s") % {"at": at} if at else waits
        if name:
            paper.fitted(x + 1, top + 16.2, signed, 8, width=44, least=6.5)


def _stage_word(paper: Paper, top: float, stage: StageHead) -> None:
    """The word beside its number; below it when it is long."""
    wide = lettering.width(stage.mark, 18, Face.BOLD)
    x = LEFT + 1 + max(8.0, wide + 2)
    if lettering.width(stage.word, 10) <= _TIME_X - x - 1:
        paper.text(LEFT + 1, top + 11, stage.mark, 18, Face.BOLD)
        paper.text(x, top + 10.6, stage.word, 10)
    else:
        paper.exact(LEFT + 1, top + 8, stage.mark, 18, width=28, least=8, face=Face.BOLD)
        paper.fitted(LEFT + 1, top + 13, stage.word, 10, width=28, least=7.5, lines=2, pitch=3.6)
