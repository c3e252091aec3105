"""What a case, one side of it and one slot of it are for the planner: its facts and its law together."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property

from cases.forecasts.sizes import Basis
from cases.planning import fit
from cases.planning.kinds import CaseDemand, SetNeed, SlotLaw
from cases.planning.parts import Floats
from cases.readiness.facts import CaseFacts, ComponentFacts, SlotFacts

Takes = tuple[tuple[int, float, float], ...]
"""By component the chances that exactly one, and two or more, of it are asked for."""


@dataclass(frozen=True)
class SlotPart:
    """One slot of one side, with its law over `components` (same order as the law's items).

    `planned` are the ranks of the prediction (None without one), `basis` says what the sizes rest on.
    """

    facts: SlotFacts
    side: str
    law: SlotLaw
    components: tuple[ComponentFacts, ...]
    contingency: tuple[bool, ...]
    planned: tuple[int, int] | None
    basis: Basis


@dataclass(frozen=True)
class ConstructLaw:
    """One side of a case, as a case of its own: sides are independent but for what they share on the
    shelf.

    `like` is a side of another case with the same law, of which what was worked out is used.
    """

    side: str
    slots: tuple[SlotPart, ...]
    demand: CaseDemand
    like: "ConstructLaw | None" = field(default=None, repr=False, compare=False)

    @cached_property
    def joint(self) -> fit.Joint:
        return fit.joint(self.demand) if self.like is None else fit.for_case(self.like.joint, self.demand)

    @cached_property
    def marginals(self) -> tuple[Floats, ...]:
        """Chance of each item of each slot, all rules met; empty for an impossible side."""
        return fit.marginals(self.joint) if self.like is None else self.like.marginals


@dataclass(frozen=True, eq=False)
class Shape:
    """The law that all cases of one plan, side and prediction share, worked out once for one of them.

    `whole` is all sides as one; `once` are the needs that a case of both sides has once, beside those of
    each side.
    """

    constructs: tuple[ConstructLaw, ...]
    whole: ConstructLaw
    once: tuple[SetNeed, ...]

    @cached_property
    def possible(self) -> bool:
        """Whether some combination meets the rules, which are within each side.

        Raises
        ------
        TooManyOutcomesError
            There are too many combinations to list.
        """
        sizes = [max((len(part.p) for part in one.joint.parts), default=1) for one in self.constructs]
        if math.prod(sizes) > fit.MOST_ROWS:
            raise fit.too_many(self.whole.demand)
        return not any(one.joint.impossible for one in self.constructs)

    @cached_property
    def components(self) -> tuple[int, ...]:
        """Every component of its slots, by id."""
        return tuple(sorted({row.id for slot in self.whole.slots for row in slot.components}))

    @cached_property
    def chances(self) -> tuple[tuple[tuple[int, float], ...], ...]:
        """Per slot of all sides each component with its chance; empty for an impossible law."""
        return tuple(
            tuple((row.id, float(p)) for row, p in zip(slot.components, chances, strict=True))
            for construct in self.constructs
            for slot, chances in zip(construct.slots, construct.marginals, strict=False)
        )

    @cached_property
    def takes(self) -> Takes:
        """What the case asks for of each component. Sides are independent."""
        found: dict[int, tuple[float, float]] = {}
        slots = [slot for construct in self.constructs for slot in construct.slots]
        for slot, chances in zip(slots, self.chances, strict=False):
            extra = slot.law.extra
            for component, chance in chances:
                one, two = chance * (1.0 - extra), chance * extra
                before_one, before_two = found.get(component, (0.0, 0.0))
                none, before_none = 1.0 - one - two, 1.0 - before_one - before_two
                found[component] = (
                    before_none * one + before_one * none,
                    before_two + before_one * (one + two) + before_none * two,
                )
        return tuple((component, one, two) for component, (one, two) in found.items() if one + two > 0)


@dataclass(frozen=True)
class CaseLaw:
    """A whole case for the planner.

    `start` is the minute that the order of its list leads to; `returns` gives the minute by which a set that
    leaves theatre at a minute is there again.
    """

    facts: CaseFacts
    shape: Shape
    start: int
    returns: Callable[[int], int] = field(compare=False, repr=False)

    @cached_property
    def constructs(self) -> tuple[ConstructLaw, ...]:
        """Each side, with its own slots of this case."""
        return tuple(
            _own(like, construct.slots, self._timed(like.demand))
            for like, construct in zip(self.shape.constructs, self.facts.constructs, strict=True)
        )

    @cached_property
    def whole(self) -> ConstructLaw:
        """All sides as one."""
        if len(self.constructs) == 1:
            return self.constructs[0]
        slots = [slot for one in self.facts.constructs for slot in one.slots]
        return _own(self.shape.whole, slots, self._timed(self.shape.whole.demand))

    @property
    def demand(self) -> CaseDemand:
        """The whole case's demand, with its start."""
        return self.whole.demand

    @property
    def joint(self) -> fit.Joint:
        return self.whole.joint

    @property
    def possible(self) -> bool:
        """See `Shape.possible`."""
        return self.shape.possible

    @property
    def slots(self) -> tuple[SlotPart, ...]:
        return self.whole.slots

    @property
    def end(self) -> int:
        """Last minute of the case."""
        return self.start + self.facts.minutes

    @property
    def back(self) -> int:
        """Minute from which the sets that it uses can be used again: the end for the planner."""
        return self.returns(self.end)

    def _timed(self, demand: CaseDemand) -> CaseDemand:
        facts = self.facts
        return replace(
            demand,
            ref=facts.id,
            start=self.start,
            end=self.back,
            day=facts.day.toordinal(),
            list_ref=facts.list_id,
        )


def _own(like: ConstructLaw, slots: Iterable[SlotFacts], demand: CaseDemand) -> ConstructLaw:
    """A side like another one, with the slots of its own case."""
    parts = tuple(replace(part, facts=facts) for part, facts in zip(like.slots, slots, strict=True))
    return ConstructLaw(like.side, parts, demand, like)
