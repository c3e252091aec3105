"""What readiness answers: frozen values with no behaviour beyond sums. Chances are pure numbers in 0..1."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum


class Word(StrEnum):
    """The verdict at one level."""

    COVERED = "covered"
    THIN = "thin"
    SHORT = "short"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Level:
    """How sure it is, at one level of assurance, that a case finds all it needs.

    `chance` counts outcomes with no fit rule on file as not covered; `unknown` is their chance. It is exact;
    or, with `about`, an estimate, beside which `surely` is what is proven: at least so much. With `at_most`
    only a bound is known: the chance of being short is at most 1 - `chance`.
    """

    word: Word
    chance: float
    at_most: bool
    wanted: float
    unknown: float
    about: bool = False
    surely: float | None = None


@dataclass(frozen=True, slots=True)
class OneMore:
    """The one more unit or set that would help most, and what the level would then be."""

    component_id: int | None
    design_id: int | None
    name: str
    level: Level
    sentence: str


@dataclass(frozen=True, slots=True)
class SlotForecast:
    """One slot of one side: each component that may be used, in order of family and size, with its chance."""

    slot_id: int
    label: str
    side: str
    chances: tuple[tuple[int, float], ...]


@dataclass(frozen=True, slots=True)
class PickSize:
    """One component to bring. `group` is likely, keep_sealed or contingency."""

    component_id: int
    chance: float
    group: str
    site_minimum: bool
    quantity: int = 1


@dataclass(frozen=True, slots=True)
class PickSlot:
    """What to bring for one slot of one side."""

    slot_id: int
    label: str
    side: str
    sizes: tuple[PickSize, ...]


@dataclass(frozen=True, slots=True)
class PickPlan:
    """What a pick list made now would bring, and how sure the room is with it.

    `set_ids` are physical sets; `contingency_set_ids` are those of them that only a contingency needs.
    """

    case_id: int
    slots: tuple[PickSlot, ...]
    set_ids: tuple[int, ...]
    contingency_set_ids: tuple[int, ...]
    consumables: tuple[tuple[int, int], ...]
    in_room: Level
    minimum_added: str
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CaseVerdict:
    """Both levels of one case with their reasons. `fault` says what is wrong with the data, "" for
    nothing."""

    case_id: int
    reference: str
    day: date
    starts_at: datetime
    on_site: Level
    in_room: Level
    picked: bool
    reasons: tuple[str, ...]
    room_reasons: tuple[str, ...]
    one_more: OneMore | None
    slots: tuple[SlotForecast, ...]
    run: tuple[PickSlot, ...]
    sizes_line: str
    competitors: tuple[int, ...]
    fault: str

    @property
    def worse(self) -> Word:
        """The worse of the two levels: what a list of cases counts."""
        return max(self.on_site.word, self.in_room.word, key=WORST_LAST.index)

    @property
    def needs_act(self) -> bool:
        return self.worse is not Word.COVERED


WORST_LAST = (Word.COVERED, Word.THIN, Word.UNKNOWN, Word.SHORT)


@dataclass(frozen=True, slots=True)
class Demand:
    """Chances that a case takes exactly one, and two or more, of a component on its day."""

    day: date
    case_id: int
    p_one: float
    p_two: float


@dataclass(frozen=True, slots=True)
class Horizon:
    """Every booked case of one site from its today on.

    `at_risk`: by component the first day by which the chance that some case misses it passes what the site
    lets pass as thin, at most; components for which it never does are left out.
    """

    site_id: int
    day: date
    cases: tuple[int, ...]
    verdicts: Mapping[int, CaseVerdict]
    demand: Mapping[int, tuple[Demand, ...]]
    at_risk: Mapping[int, date] = field(default_factory=dict)
