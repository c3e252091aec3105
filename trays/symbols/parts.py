"""Parts that several sheets share: heads of sections and columns, signatures, lines for free text."""

from dataclasses import dataclass

from trays.symbols import lettering
from trays.symbols.a4 import LEFT, RIGHT
from trays.symbols.lettering import Face
from trays.symbols.pages import Band, Block, SectionHead
from trays.symbols.paper import COLUMN_RULE, ROW_RULE, Align, Paper


@dataclass(frozen=True)
class Column:
    """Word over a column; ``x`` is where its text is aligned. ``over`` is the big number of a stage."""

    x: float
    word: str
    align: Align = Align.LEFT
    over: str = ""
    width: float = 0.0


def column_heads(columns: tuple[Column, ...], height: float = 9.0) -> Band:
    """Heads of columns with the .5 rule under them; 10 mm high when stages stand over their words."""

    def draw(paper: Paper, top: float) -> None:
        for column in columns:
            y = top + height - 1.6
            if column.over:
                paper.text(column.x, y - 4.2, column.over, 12, Face.BOLD, column.align)
            if column.width:
                paper.fitted(column.x, y, column.word, 7.5, width=column.width, least=7, align=column.align)
            else:
                paper.text(column.x, y, column.word, 7.5, align=column.align)
        paper.rule(LEFT, RIGHT, top + height - COLUMN_RULE, COLUMN_RULE)

    return Band(height, draw)


def section_head(
    title: str,
    *,
    number: str = "",
    hint: str = "",
    right: str = "",
    continued: str = "(continued)",
    height: float = 9.0,
) -> SectionHead:
    """A section's head: number 15, title 11 bold, hint 8.5 beside it, a count at the right."""

    def draw(paper: Paper, top: float, goes_on: bool) -> None:
        y = top + height - 3.1
        x = LEFT + 0.5
        if number:
            x += max(8.5, paper.exact(x, y, number, 15, width=20, face=Face.BOLD) + 3)
        wide = paper.text(RIGHT, y, right, 7.5, align=Align.RIGHT) if right else 0.0
        tail = f" {continued}" if goes_on else ""
        room = RIGHT - x - wide - 3 - lettering.width(tail, 8.5)
        made = paper.fitted(x, y, title, 11, width=room, least=9, face=Face.BOLD)
        x += lettering.width(made.lines[0], made.size, Face.BOLD)
        if goes_on:
            x += 1.0 + paper.text(x + 1.0, y, continued, 8.5)
        if hint and RIGHT - x - wide - 5 > 12:
            paper.fitted(x + 2.5, y, hint, 8.5, width=RIGHT - x - wide - 5, least=7.5)

    return SectionHead(height, draw)


def free_lines(title: str, hint: str, lines: int) -> Block:
    """A heading and ``lines`` empty lines of 9 mm to be written on."""

    def draw(paper: Paper, top: float) -> None:
        wide = paper.text(LEFT, top + 6, title, 10, Face.BOLD)
        paper.fitted(LEFT + wide + 2.5, top + 6, hint, 8, width=RIGHT - LEFT - wide - 2.5, least=7)
        for line in range(lines):
            paper.rule(LEFT, RIGHT, top + 9 + (line + 1) * 9, ROW_RULE)

    return Block(10 + lines * 9, draw)


def signed(word: str, name: str = "name", signature: str = "signature", time: str = "time") -> Block:
    """One act with its lines for name 48, signature 56 and time 30 mm wide."""

    def draw(paper: Paper, top: float) -> None:
        paper.fitted(LEFT, top + 8, word, 10, width=34, least=8, face=Face.BOLD)
        for label, left, right in ((name, 56.0, 104.0), (signature, 108.0, 164.0), (time, 168.0, RIGHT)):
            paper.text(left, top + 4, label, 7)
            paper.rule(left, right, top + 11, ROW_RULE)

    return Block(12.0, draw)


def together(*blocks: Block, new_page: bool = False, gap: float = 0.0) -> Block:
    """Several blocks as one, so that no page break falls between them."""

    def draw(paper: Paper, top: float) -> None:
        for block in blocks:
            block.draw(paper, top)
            top += block.height

    return Block(sum(block.height for block in blocks), draw, new_page, gap)
