"""Which loan, order, transfer or order of the list: the cheapest that lifts its cases to their target.

What is on its way to the site is taken as coming, so that nothing is asked for a second time. The chances
that an item is there for a case, after the cases before it, are those of the horizon: first its estimate, and
where the plan found with it does not hold, its proven bound. `planning.loans` chooses, taking what comes to
be free for each case; what is chosen is then put into the snapshot and judged as any verdict is. Where cases
of the list compete for it, more is added, what helps most for its cost first, and what is then not needed is
taken away again. Only a plan that holds by the verdicts' own arithmetic is said to.

A case that no plan can lift is named with the chance that it reaches, and the plan is made for the others.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from zoneinfo import ZoneInfo

import numpy as np
from django.utils import timezone

from cases.bookings.models import Case
from cases.bookings.queries import ListRow
from cases.planning.kinds import PlanningError
from cases.planning.loans import propose
from cases.planning.loans_cover import Present
from cases.planning.parts import Floats
from cases.readiness.altered import Standing, plan_of, tried
from cases.readiness.assess import Judgement, estimates
from cases.readiness.facts import CaseFacts, Snapshot
from cases.readiness.kinds import Level, Word
from cases.readiness.shelf import NOTHING
from cases.readiness.tries import Kind, Try
from cases.readiness.verdicts import on_site_level
from cases.reorders.doings import Doing, Doings
from cases.reorders.mending import Mending
from cases.reorders.planned import Base, base_of
from trays.web.errors import Refusal

SECONDS = 2.0
"""Wall time for the programme of one variant."""
MOST_ORDERS = 2
"""Other orders of the list that are worked out; all exchanges of neighbours are weighed by the estimate."""
GAIN = 0.005
TRACE = 1e-3
"""An item that is missed with less than this chance is not bought for a plan."""
VARIANTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("any", ("loan", "order", "transfer")),
    ("no-loan", ("order", "transfer")),
    ("no-order", ("loan", "transfer")),
)
"""Plans that are offered beside each other, by what they may hold."""


@dataclass(frozen=True, slots=True)
class Act:
    """One thing of a plan, so many times; `without`: the case that misses it most, and its level then."""

    doing: Doing
    times: int
    case_id: int | None = None
    without: Level | None = None

    @property
    def cost(self) -> Decimal:
        return self.doing.cost * self.times


@dataclass(frozen=True, slots=True)
class Order:
    """Another order of the list: case ids as they would stand, and the two cases that change places."""

    ids: tuple[int, ...]
    seen: tuple[int, ...]
    up: str
    down: str


@dataclass(frozen=True, slots=True)
class Plan:
    """What to do, and what each case of the list comes to; `proven`: nothing cheaper of these kinds holds.

    `holds`: every case that can be lifted reaches its target by the verdicts' own arithmetic. `others`: how
    many further cases of the site fare worse than before.
    """

    kinds: tuple[str, ...]
    acts: tuple[Act, ...]
    order: Order | None
    cost: Decimal
    least: float
    proven: bool
    after: Mapping[int, Level]
    holds: bool
    hopeless: tuple[int, ...]
    others: int
    mended: bool

    @property
    def refs(self) -> str:
        """The plan as its button sends it."""
        parts = [f"{act.doing.ref}*{act.times}" for act in self.acts]
        if self.order is not None:
            parts.append("list." + ".".join(map(str, self.order.ids)))
        return " ".join(parts)


@dataclass(frozen=True)
class Offered:
    """All that the page shows: the list's cases now, with what is on its way, and after each plan."""

    cases: tuple[CaseFacts, ...]
    now: Mapping[int, Level]
    coming: Mapping[int, Level]
    plans: tuple[Plan, ...]
    doings: Doings
    fault: str = ""

    def low(self, levels: Mapping[int, Level]) -> list[int]:
        """The cases that are not covered, in order."""
        return [one.id for one in self.cases if one.id in levels and levels[one.id].word is not Word.COVERED]


def plans_for(
    *,
    case: Case,
    now: Judgement,
    coming: Snapshot,
    rows: Sequence[ListRow],
    doings: Doings,
    may_reorder: bool,
) -> Offered:
    """The plans for a case and the others of its list.

    Parameters
    ----------
    now : Judgement
        Of the site as it is.
    coming : Snapshot
        The same with what is on its way.
    rows
        The lists of the horizon, for another order of this one.
    """
    with timezone.override(ZoneInfo(case.site.zone)):
        base = base_of(coming, case.list_id, now)
        all_levels = base.levels(base.known)
        levels = {pk: all_levels[pk] for pk in base.own}
        present = {law.facts.id: now.findings.get(law.facts.id) for law in base.laws}
        policy = coming.policy
        before = {pk: on_site_level(one, policy) for pk, one in present.items() if one is not None}
        cases = tuple(law.facts for law in base.laws)
        offered = Offered(cases, before, levels, (), doings)
        low = [law for law in base.laws if levels[law.facts.id].word is not Word.COVERED]
        if not low:
            return offered
        try:
            plans = _plans(case, base, now, rows, doings, may_reorder)
        except PlanningError as error:
            return replace(offered, fault=str(error))
        return replace(offered, plans=plans)


def _plans(
    case: Case, base: Base, now: Judgement, rows: Sequence[ListRow], doings: Doings, may_reorder: bool
) -> tuple[Plan, ...]:
    orders: list[tuple[Order | None, Base]] = [(None, base)]
    if may_reorder:
        orders += _orders(case, base, rows)
    found: list[Plan] = []
    for _name, kinds in VARIANTS:
        own = [doing for doing in doings.all if doing.kind in kinds]
        each = [_best(one, own, kinds, order) for order, one in orders]
        holding = [plan for plan in each if plan is not None]
        if holding:
            # As few cases left as can be, then the cheapest; the list as it is where that is as good.
            best = min(
                holding,
                key=lambda plan: (len(plan.hopeless), not plan.holds, plan.cost, plan.order is not None),
            )
            if best.refs and not any(_as_good(plan, best, kinds) for plan in found):
                found.append(best)
    return tuple(sorted(found, key=lambda plan: (len(plan.hopeless), not plan.holds, plan.cost)))


def _orders(case: Case, base: Base, rows: Sequence[ListRow]) -> list[tuple[Order, Base]]:
    """The exchanges of neighbours that help most, by the estimate."""
    plan = plan_of(base.snapshot, rows)
    stands = plan.order.get(case.list_id, ())
    mine = {law.facts.id for law in base.laws}
    about = dict(
        zip(base.known.outlook.arrays.ref.tolist(), base.known.outlook.about.high.tolist(), strict=True)
    )
    weighed = []
    for upper, lower in zip(stands, stands[1:], strict=False):
        if not (upper.open and lower.open):
            continue
        try:
            after = tried(plan, Try(Kind.UP, lower.pk))
        except Refusal:
            continue
        new = estimates(after.snapshot, base.known)
        gain = sum(about[pk] - new[pk] for pk in mine if pk in new and pk in about)
        if gain >= GAIN:
            weighed.append((gain, upper, lower, after))
    weighed.sort(key=lambda one: -one[0])
    return [
        (
            _order(stands, after.order[case.list_id], upper, lower),
            base_of(after.snapshot, case.list_id, base.known),
        )
        for _gain, upper, lower, after in weighed[:MOST_ORDERS]
    ]


def _order(stands: Sequence[Standing], after: Sequence[Standing], upper: Standing, lower: Standing) -> Order:
    return Order(
        tuple(one.pk for one in after), tuple(one.pk for one in stands), lower.reference, upper.reference
    )


def _best(base: Base, doings: Sequence[Doing], kinds: tuple[str, ...], order: Order | None) -> Plan | None:
    """The cheapest plan with these doings; by the bound where that by the estimate does not hold."""
    plan = _plan(base, doings, kinds, order, base.known.outlook.second.lacks.now)
    if plan is not None and (plan.holds or plan.mended):
        return plan
    sure = _plan(base, doings, kinds, order, base.known.outlook.first.lacks.now)
    return sure if sure is not None and (sure.holds or plan is None) else plan


def _plan(
    base: Base, doings: Sequence[Doing], kinds: tuple[str, ...], order: Order | None, lacks: Floats
) -> Plan | None:
    wanted = base.snapshot.policy.wanted_on_site
    failing = set(base.failing(base.known, ()))
    # What comes never lets a case find less: those that are covered need not be solved for.
    low = [(law, n) for law, n in zip(base.laws, base.numbers, strict=True) if law.facts.id in failing]
    lacking = {item for _law, n in low for item in _lacking(base, n)}
    doings = [doing for doing in doings if lacking & set(doing.brings)]
    if not doings and order is None:
        return None
    found = propose(
        [law.demand for law, _n in low],
        [_present(base, n, lacks) for _law, n in low],
        [doing.action for doing in doings],
        wanted,
        seconds=SECONDS,
    )
    by_ref = {doing.ref: doing for doing in doings}
    hopeless = tuple(one.ref for one in found.hopeless)
    first = {by_ref[ref]: times for ref, times in found.chosen}
    chosen = Mending(base, doings, hopeless).mended(first)
    if not chosen and order is None:
        return None
    after = base.levels(base.after(chosen))
    own = {pk: after[pk] for pk in base.own if pk in after}
    holds = all(level.word is Word.COVERED for pk, level in own.items() if pk not in hopeless)
    acts = tuple(_act(base, chosen, doing, after) for doing in chosen)
    cost = sum((act.cost for act in acts), Decimal(0))
    proven = found.proven and chosen == first
    mended = not base.failing(base.after(chosen), hopeless)
    return Plan(
        kinds, acts, order, cost, found.bound, proven, own, holds, hopeless, _worse(base, after), mended
    )


def _as_good(plan: Plan, other: Plan, kinds: Sequence[str]) -> bool:
    """Whether a plan that holds could stand in another's place: of its kinds, and no dearer."""
    able = all(act.doing.kind in kinds for act in plan.acts)
    return plan.refs == other.refs or (able and plan.holds >= other.holds and plan.cost <= other.cost)


def _lacking(base: Base, n: int) -> set[str]:
    """The items that a case may ask for and not find, at most, with a chance that matters."""
    arrays, items = base.known.outlook.arrays, base.known.layout.items
    low, high = np.searchsorted(arrays.pair_case, [n, n + 1]).tolist()
    chances = base.known.outlook.missing_at_most
    return {items[int(arrays.pair_item[pair])] for pair in range(low, high) if chances[pair] > TRACE}


def _present(base: Base, n: int, lacks: Floats) -> Present:
    """By item the chances that at least 1, 2, … are there for a case, after those before it."""
    arrays, items = base.known.outlook.arrays, base.known.layout.items
    low, high = np.searchsorted(arrays.pair_case, [n, n + 1]).tolist()
    found = {
        items[int(arrays.pair_item[pair])]: tuple(np.clip(1.0 - lacks[pair], 0.0, 1.0).tolist())
        for pair in range(low, high)
    }
    return {**found, NOTHING: (1.0,) * 8}


def _act(base: Base, chosen: Mapping[Doing, int], doing: Doing, after: Mapping[int, Level]) -> Act:
    """One thing of a plan, and which case of the list would be worse off without it."""
    rest = {one: times for one, times in chosen.items() if one is not doing}
    without = base.levels(base.after(rest))
    own = [pk for pk in base.own if pk in after and pk in without]
    worst = max(own, key=lambda pk: after[pk].chance - without[pk].chance, default=None)
    if worst is None or after[worst].chance - without[worst].chance < GAIN / 10:
        return Act(doing, chosen[doing])
    return Act(doing, chosen[doing], worst, without[worst])


def _worse(base: Base, after: Mapping[int, Level]) -> int:
    own, before = set(base.own), base.levels(base.known)
    return sum(
        1
        for pk, level in after.items()
        if pk not in own and pk in before and level.chance < before[pk].chance - GAIN
    )
