"""The choice of loans as an integer programme, solved by outer approximation.

Columns: x for each time an action may be done; w for "at least m units of item i come in time"; z for each
demand of a linked part, with z <= chance that each of its items is there. Every part's cover F_g is then
linear, and a case reaches its target tau where sum over g of log F_g >= log tau, which is concave: tangents
cut from outside. The tangent at F = 1 stands from the start, with F_g >= tau; where the rounded answer misses
a target by the exact sums of `loans_cover`, the tangent there is added, and that something else must be done
as well. Finite, because each round forbids one more choice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from cases.planning.asks import Ask
from cases.planning.loans_cover import Action, Wish, brought, parts_met
from cases.planning.milp import INFINITE, Programme, Row, Solution, minimise

TIE = 1e-9
"""Slack of the target in the programme: the solver's own arithmetic is no finer."""


@dataclass
class Line:
    """A linear expression: constant + sum of coefficient · column."""

    constant: float = 0.0
    terms: dict[int, float] = field(default_factory=dict)

    def add(self, other: Line, times: float = 1.0) -> None:
        """Add another expression, so many times."""
        self.constant += times * other.constant
        for column, value in other.terms.items():
            self.terms[column] = self.terms.get(column, 0.0) + times * value

    def in_parts(self) -> bool:
        """Whether it may lie between nought and one though every column is whole."""
        return any(0.0 < value < 1.0 for value in (self.constant, *self.terms.values()))

    def at_least(self, low: float) -> Row:
        """The row that says it is at least so much."""
        terms = [(c, v) for c, v in sorted(self.terms.items()) if v]
        return Row(tuple(c for c, _ in terms), tuple(v for _, v in terms), low=low - self.constant)


class Model:
    """The programme for some cases and actions.

    Attributes
    ----------
    charged : float
        The greatest chance of faint demands that was counted as lost in one case.
    """

    def __init__(
        self, wishes: Sequence[Wish], actions: Sequence[Action], target: float, faint: float
    ) -> None:
        self.actions, self.target = actions, target
        self.charged = 0.0
        self._faint = faint
        self._cost: list[float] = []
        self._whole: list[bool] = []
        self._rows: list[Row] = []
        self._comes: dict[tuple[str, tuple[int, ...], int], list[int]] = {}
        self._done = [self._times(action) for action in actions]
        self._covers = [self._cover(wish) for wish in wishes]
        for parts in self._covers:
            self._reach(parts)

    def solve(self, seconds: float) -> Solution:
        """The least cost that meets every row so far."""
        n = len(self._cost)
        return minimise(
            Programme(tuple(self._cost), (1.0,) * n, tuple(self._rows), integral=tuple(self._whole)),
            seconds=seconds,
        )

    def chosen(self, found: Solution) -> tuple[int, ...]:
        """How often each action is done in a solution."""
        return tuple(sum(round(found.values[column]) for column in own) for own in self._done)

    def forbid(self, chosen: Sequence[int]) -> None:
        """Something must be done beyond this: less never covers more."""
        more = {own[n]: 1.0 for own, n in zip(self._done, chosen, strict=True) if n < len(own)}
        self._rows.append(Line(terms=more).at_least(1.0))

    def cut(self, wish: int, met: Sequence[float]) -> None:
        """The tangent of one case's sum of logarithms at the covers found there, each above nought."""
        line, wanted = Line(), math.log(self.target - TIE)
        for part, cover in zip(self._covers[wish], met, strict=True):
            line.add(part, 1.0 / cover)
            wanted += 1.0 - math.log(cover)
        self._rows.append(line.at_least(wanted))

    def _column(self, *, cost: float = 0.0, whole: bool = False) -> int:
        self._cost.append(cost)
        self._whole.append(whole)
        return len(self._cost) - 1

    def _times(self, action: Action) -> list[int]:
        columns = [self._column(cost=action.cost, whole=True) for _ in range(action.most)]
        self._rows += [
            Row((first, second), (1.0, -1.0), low=0.0)
            for first, second in zip(columns, columns[1:], strict=False)
        ]
        return columns

    def _coming(self, wish: Wish, item: str, most: int) -> list[int]:
        """Columns "at least 1, 2, …, most units of the item come in time", shared by cases alike."""
        able = tuple(
            number
            for number, action in enumerate(self.actions)
            if item in action.brings and action.arrives <= wish.case.day
        )
        if not able:
            return []
        key = (item, able, most)
        if key not in self._comes:
            columns = [self._column(whole=most > 1) for _ in range(most)]
            line = Line(terms=dict.fromkeys(columns, -1.0))
            for number in able:
                for column in self._done[number]:
                    line.terms[column] = float(self.actions[number].brings[item])
            self._rows.append(line.at_least(0.0))
            for first, second in zip(columns, columns[1:], strict=False):
                self._rows.append(Row((first, second), (1.0, -1.0), low=0.0))
            self._comes[key] = columns
        return self._comes[key]

    def _there(self, wish: Wish, item: str, n: int, most: int) -> Line:
        """P(at least n of the item are there), as a line."""
        line = Line(wish.own(item, n))
        for m, column in enumerate(self._coming(wish, item, most)[:n], start=1):
            gain = wish.own(item, n - m) - wish.own(item, n - m + 1)
            if gain > 0.0:
                line.terms[column] = gain
        return line

    def _cover(self, wish: Wish) -> list[Line]:
        parts, lost = [], 0.0
        for part in wish.parts:
            kept = [ask for ask in part if ask.p >= self._faint]
            lost += sum(ask.p for ask in part if ask.p < self._faint)
            most = _most(kept)
            line = Line()
            for ask in kept:
                line.add(self._met(wish, ask, most), ask.p)
            parts.append(line)
        self.charged = max(self.charged, lost)
        return parts

    def _met(self, wish: Wish, ask: Ask, most: dict[str, int]) -> Line:
        """The chance that a demand is met: a line itself, or a column held under several."""
        lines = [self._there(wish, item, n, most[item]) for item, n in ask.units]
        lines += [self._a_set(wish, options, most) for options in ask.needs]
        open_lines = [line for line in lines if line.terms]
        closed = min((line.constant for line in lines if not line.terms), default=1.0)
        if closed <= 0.0:
            return Line()
        if not open_lines:
            return Line(max(0.0, 1.0 - sum(1.0 - line.constant for line in lines)))
        if len(open_lines) == 1 and closed == 1.0:
            return open_lines[0]
        column = self._column()
        for line in (*open_lines, Line(closed)):
            self._below(column, line)
        if sum(line.in_parts() for line in lines) > 1:
            self._below_together(column, lines)
        return Line(terms={column: 1.0})

    def _below(self, column: int, line: Line) -> None:
        """The row column <= line."""
        row = Line(terms={column: -1.0})
        row.add(line)
        self._rows.append(row.at_least(0.0))

    def _below_together(self, column: int, lines: Sequence[Line]) -> None:
        """column <= max(0, 1 - sum of what the lines lack); a switch where that sum may pass 1."""
        together = Line(1.0)
        for line in lines:
            together.add(line)
            together.constant -= 1.0
        if together.constant < 0.0:
            switch = self._column(whole=True)
            self._rows.append(Row((column, switch), (1.0, 1.0), high=1.0))
            together.terms[switch] = -together.constant
        self._below(column, together)

    def _a_set(self, wish: Wish, options: Sequence[str], most: dict[str, int]) -> Line:
        """The chance at most that one of these sets is there."""
        if not options:
            return Line()
        lines = [self._there(wish, item, 1, most[item]) for item in options]
        if len(lines) == 1 or not any(line.terms for line in lines):
            return max(lines, key=lambda line: line.constant)
        column = Line(terms={self._column(): 1.0})
        row = Line()
        for line in lines:
            row.add(line)
        row.add(column, -1.0)
        self._rows.append(row.at_least(0.0))
        return column

    def _reach(self, parts: Sequence[Line]) -> None:
        """Every part reaches the target, and their sum what the tangent at 1 asks for."""
        total = Line()
        for part in parts:
            self._rows.append(part.at_least(self.target - TIE))
            total.add(part)
        self._rows.append(total.at_least(len(parts) + math.log(self.target - TIE)))


def _most(part: Sequence[Ask]) -> dict[str, int]:
    found: dict[str, int] = {}
    for ask in part:
        for item, n in ask.units:
            found[item] = max(found.get(item, 0), n)
        for options in ask.needs:
            for item in options:
                found[item] = max(found.get(item, 0), 1)
    return found


@dataclass(frozen=True)
class Outcome:
    """Where the rounds ended: the choice (None if none was found), the proven least cost, and how."""

    chosen: tuple[int, ...] | None
    bound: float
    proven: bool
    rounds: int
    charged: float


def cheapest(
    wishes: Sequence[Wish],
    actions: Sequence[Action],
    target: float,
    *,
    faint: float,
    left: Callable[[], float],
    enough: Callable[[Sequence[int]], Sequence[int]],
) -> Outcome:
    """Solve, check exactly, cut, and again.

    Parameters
    ----------
    faint : float
        Demands less likely than this are counted as lost.
    left : callable
        Seconds that are left.
    enough : callable
        The wishes that a choice leaves short, by their number.
    """
    model = Model(wishes, actions, target, faint)
    rounds, bound = 0, 0.0
    while (seconds := left()) > 0.0:
        rounds += 1
        found = model.solve(seconds)
        bound = max(bound, found.bound if found.bound < INFINITE or found.proven else 0.0)
        if not found.feasible:
            return Outcome(None, bound, found.proven, rounds, model.charged)
        chosen = model.chosen(found)
        missed = enough(chosen)
        if not missed:
            return Outcome(chosen, bound, found.proven, rounds, model.charged)
        for wish in missed:
            met = [cover for cover, _ in parts_met(wishes[wish], brought(wishes[wish], actions, chosen))]
            if all(cover > 0.0 for cover in met):
                model.cut(wish, met)
        model.forbid(chosen)
    return Outcome(None, bound, False, rounds, model.charged)
