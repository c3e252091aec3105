"""The rows that readiness reads, as frozen values: what the database says, nothing concluded yet."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import NamedTuple

from cases.forecasts.learnt import ErrorLaws
from cases.readiness.on_the_way import Coming
from cases.readiness.way import Estimate, Way
from trays.instruments.models import PackState
from trays.instruments.ready import READY_STATES, SetFacts


@dataclass(frozen=True, slots=True)
class Policy:
    """What the site wants. Chances are pure numbers, turnaround is in minutes."""

    site_id: int
    site_name: str
    zone: str
    wanted_in_room: float
    wanted_on_site: float
    margin: float
    each_way: int
    owner_order: tuple[str, ...]
    turnaround: int


@dataclass(frozen=True, slots=True)
class PredictionFacts:
    """The newest prediction of a slot, as ranks of the family's sizes."""

    low: int
    high: int
    confidence: float | None
    method: str
    method_words: str
    made_at: datetime
    planner: str
    planner_id: int | None


@dataclass(frozen=True, slots=True)
class SlotFacts:
    """One slot of one construct, and what its plan says of it."""

    id: int
    plan_slot_id: int
    code: str
    name: str
    use: float
    waste: float
    predicted: bool
    bring_all: bool
    family_id: int
    occurrence: int
    prediction: PredictionFacts | None
    predictions: int


@dataclass(frozen=True, slots=True)
class ConstructFacts:
    """One side of a case."""

    number: int
    side: str
    slots: tuple[SlotFacts, ...]


@dataclass(frozen=True, slots=True)
class CaseFacts:
    """One case as booked."""

    id: int
    reference: str
    list_id: int
    position: int
    day: date
    starts_at: datetime
    minutes: int
    procedure: str
    detail: str
    surgeon_id: int | None
    surgeon: str
    theatre: str
    urgency: str
    plan_id: int
    constructs: tuple[ConstructFacts, ...]


@dataclass(frozen=True, slots=True)
class NeedFacts:
    """A set the operation needs, and the designs that may meet it, in order."""

    number: int
    name: str
    contingency: bool
    designs: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class PlanFacts:
    """A procedure plan: (family, contingency, chance) per plan slot, linked slots, sets, consumables."""

    families: Mapping[int, tuple[tuple[int, bool, float], ...]]
    links: tuple[tuple[int, int], ...]
    needs: tuple[NeedFacts, ...]
    consumables: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class FamilyFacts:
    """A family's name and whether its second measure is a thickness."""

    id: int
    code: str
    name: str
    slot: str
    second_measure: str


@dataclass(frozen=True, slots=True)
class ComponentFacts:
    """A component's place in its family."""

    id: int
    family_id: int
    size: str
    size_rank: int
    second: str
    second_rank: int
    side: str


class UnitFacts(NamedTuple):
    """A unit on hand at the site, and whom an open hold keeps it for."""

    id: int
    component_id: int
    expires: date | None
    tenure: str
    case_id: int | None
    list_id: int | None

    def in_date(self, day: date) -> bool:
        """Usable on its expiry day, not after it."""
        return self.expires is None or self.expires >= day


@dataclass(frozen=True, slots=True)
class SetHoldFacts:
    """A set kept for a case or a list over an interval; the end includes its turnaround."""

    set_id: int
    case_id: int | None
    list_id: int | None
    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True, slots=True)
class DesignFacts:
    """A design and the runs of ranks that it serves, by family; none for any size."""

    id: int
    code: str
    name: str
    serves: Mapping[int, tuple[int, int]]


@dataclass(frozen=True, slots=True)
class FitFacts:
    """A fit rule as filed; the families may stand in either order."""

    family_a: int
    rank_a: int
    family_b: int
    rank_b: int
    verdict: str
    valid_from: date


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that readiness knows of one site at one moment.

    `arrivals`: by component the days on which one more unit each is expected. Nothing on file promises a
    unit, so a snapshot read from it has none; a what-if may add some. `sets_due`: likewise, by design the
    minutes at which one more set each is ready. `coming` and `lent`: by component and by design what is on
    its way and so not on site; only reasons and pictures name it. `way`: how sets come back, where the
    site's sterile services are on file. `later`: by case the minutes that its sets are back later than that;
    a what-if alone says so.
    """

    at: datetime
    day: date
    policy: Policy
    cases: tuple[CaseFacts, ...]
    plans: Mapping[int, PlanFacts]
    families: Mapping[int, FamilyFacts]
    components: Mapping[int, ComponentFacts]
    by_family: Mapping[int, tuple[ComponentFacts, ...]]
    fits: tuple[FitFacts, ...]
    units: Mapping[int, tuple[UnitFacts, ...]]
    sets: tuple[SetFacts, ...]
    set_holds: tuple[SetHoldFacts, ...]
    designs: Mapping[int, DesignFacts]
    errors: ErrorLaws
    used: Mapping[str, Mapping[int, int]]
    references: Mapping[int, str]
    arrivals: Mapping[int, tuple[date, ...]] = field(default_factory=dict)
    way: Way | None = None
    later: Mapping[int, int] = field(default_factory=dict)
    sets_due: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    coming: Mapping[int, tuple[Coming, ...]] = field(default_factory=dict)
    lent: Mapping[int, tuple[Coming, ...]] = field(default_factory=dict)

    def back(self, end: int, case_id: int | None = None) -> int:
        """The minute by which a set that a case has used until `end` can be used again.

        By the site's own figure only while it has no machines on file.
        """
        found = self.way.back(end) if self.way is not None else end + self.policy.turnaround
        return found if case_id is None else found + self.later.get(case_id, 0)

    def estimate(self, row: SetFacts) -> Estimate | None:
        """When a set of the round is there, as its sterile services are now; None where nothing says so."""
        if self.way is None:
            return None
        ends = [one.ends_at for one in self.set_holds if one.set_id == row.pk and one.starts_at <= self.at]
        # A hold ends with the way back, by the site's figure, behind the end of its case.
        leaves = int(min(ends).timestamp() // 60) - self.policy.turnaround if ends else None
        going = [(pack.pk, pack.state) for pack in row.packs if pack.state not in READY_STATES]
        return self.way.estimate(going, leaves)

    def due(self, row: SetFacts) -> int | None:
        """The minute by which a set that is being processed is there; None where nobody can say."""
        if self.way is None:
            return int(self.at.timestamp() // 60) + self.policy.turnaround
        found = self.estimate(row)
        return found.at if found is not None else None

    def case(self, case_id: int) -> CaseFacts:
        return next(case for case in self.cases if case.id == case_id)


_IN_THE_ROUND = (
    *READY_STATES,
    PackState.USED,
    PackState.RECEIVED,
    PackState.CLEANED,
    PackState.ASSEMBLED,
    PackState.PACKED,
    PackState.IN_LOAD,
    PackState.OPENED,
)


def lacks_critical(one: SetFacts) -> bool:
    """Whether one of its packs lacks anything of a critical contents line."""
    return any(pack.lacks_critical for pack in one.packs)


def comes_back(one: SetFacts) -> bool:
    """Whether the set is being processed: all of it is here, and what is not ready is on its way round."""
    return (
        bool(one.packs)
        and not one.missing_trays
        and all(pack.state in _IN_THE_ROUND and not pack.elsewhere for pack in one.packs)
        and any(pack.state not in READY_STATES for pack in one.packs)
    )
