"""The signatures that end a count sheet: two people for each stage, and what was not as it should be."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from cases.counts.kinds import StageHead
from trays.symbols import lettering
from trays.symbols.a4 import LEFT, RIGHT
from trays.symbols.lettering import Face
from trays.symbols.pages import Block
from trays.symbols.paper import COLUMN_RULE, ROW_RULE, Paper
from trays.symbols.parts import free_lines, together

# Columns: stage 30, time 18, three ticks 36, scrub 47, circulating 47.
_TIME_X, _TICKS_X, _SCRUB_X, _CIRCULATING_X = LEFT + 30, LEFT + 48, LEFT + 84, LEFT + 131
_STAGE_HIGH = 18.0
_TICK = 4.8
# So many stages fit on one page with the free lines; more are parted.
_STAGES_TOGETHER = 6


def signatures(stages: Sequence[StageHead], *, soft: bool) -> tuple[Block, ...]:
    """The blocks for signing: one page for up to six stages, never parted then."""
    heads = [_title(), _heads()]
    signed = [_stage(stage) for stage in stages]
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
    if len(stages) <= _STAGES_TOGETHER:
        return (together(*heads, *signed, *free, gap=2.0),)
    return (together(*heads, *signed[:2], gap=2.0), *signed[2:], together(*free))


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


def _stage(stage: StageHead) -> Block:
    def draw(paper: Paper, top: float) -> None:
        _stage_word(paper, top, stage)
        for number, word in enumerate((_("correct"), _("not correct"), _("not done: emergency"))):
            y = top + 0.9 + number * 5.6
            paper.tick(_TICKS_X + 1, y, _TICK)
            paper.fitted(_TICKS_X + 7, y + 3.6, word, 8, width=28, least=7)
        for left, right in ((_SCRUB_X, _CIRCULATING_X), (_CIRCULATING_X, RIGHT)):
            paper.text(left + 1, top + 2.9, _("name"), 7)
            paper.rule(left, right, top + 8.5, ROW_RULE)
            paper.text(left + 1, top + 11.5, _("signature"), 7)
        for x in (_TIME_X, _TICKS_X, _SCRUB_X, _CIRCULATING_X):
            paper.upright(x, top, top + _STAGE_HIGH)
        paper.rule(LEFT, RIGHT, top + _STAGE_HIGH - ROW_RULE, ROW_RULE)

    return Block(_STAGE_HIGH, draw)


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
