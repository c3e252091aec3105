"""A list as it would be: both verdicts of its cases now and then, what changes elsewhere, what helps most."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from cases.bookings.models import TheatreList
from cases.bookings.queries import ListRow
from cases.planning.served import Served
from cases.readiness.altered import Plan, Standing, free_of, plan_of, tried
from cases.readiness.assess import Judgement, judged
from cases.readiness.facts import CaseFacts
from cases.readiness.kinds import CaseVerdict, Level
from cases.readiness.list_served import list_served
from cases.readiness.reasons import Speaker
from cases.readiness.tries import Kind, Try
from trays.web.errors import Refusal

MOST_MISSED = 6
"""Items offered because a case may miss them."""
MOST_HURTING = 3
"""Items offered because one fewer would hurt most."""
WORTH_SAYING = 0.0005
CHANGED = 0.005
"""A chance elsewhere that changes by less, with the same word, is not listed."""


@dataclass(frozen=True, slots=True)
class Change:
    """One level of a case as things stand, and as they would be; None where there is no verdict."""

    now: Level | None
    then: Level | None

    @property
    def by(self) -> float:
        return self.then.chance - self.now.chance if self.now and self.then else 0.0

    @property
    def worth_listing(self) -> bool:
        if self.now is None or self.then is None:
            return False
        return self.now.word is not self.then.word or abs(self.by) >= CHANGED


@dataclass(frozen=True, slots=True)
class CaseChange:
    """A case with both levels; `facts` as things would be."""

    facts: CaseFacts
    on_site: Change
    in_room: Change


@dataclass(frozen=True, slots=True)
class ListLine:
    """A case of the list in the order that is tried. `change` None: it is not judged.

    `left`: it is no longer on the list; `to`: the list it would be on, None for none.
    """

    case: Standing
    before: int
    change: CaseChange | None
    first: bool = False
    last: bool = False
    left: bool = False
    to: TheatreList | None = None


@dataclass(frozen=True, slots=True)
class ItemLine:
    """An item that may be tried: how likely some case of the list misses it, how many are free."""

    item: str
    name: str
    missing: float
    free: int


@dataclass(frozen=True, slots=True)
class Done:
    """A try that was pressed; `refusal` where it is impossible, `without` the others that were pressed."""

    one: Try
    refusal: Refusal | None
    without: tuple[Try, ...]


@dataclass(frozen=True)
class Board:
    """All that the page shows."""

    theatre_list: TheatreList
    done: tuple[Done, ...]
    plan: Plan
    now: Judgement
    then: Judgement
    lines: tuple[ListLine, ...]
    elsewhere: tuple[CaseChange, ...]
    items: tuple[ItemLine, ...]
    served_now: Served | None
    served_then: Served | None
    targets: tuple[TheatreList, ...]
    new_order: tuple[int, ...]
    seen: tuple[int, ...]

    @property
    def tries(self) -> tuple[Try, ...]:
        """Those in force."""
        return tuple(one.one for one in self.done if one.refusal is None)


def board(
    *, theatre_list: TheatreList, now: Judgement, rows: Sequence[ListRow], pressed: Sequence[Try]
) -> Board:
    """The list after what was pressed, by arithmetic alone.

    Parameters
    ----------
    theatre_list : TheatreList
    now : Judgement
        Of the site as it is.
    rows : sequence of ListRow
        The lists of its horizon.
    pressed : sequence of Try
        Made one after the other; an impossible one is passed over, with its refusal.
    """
    stands = plan_of(now.laws.snapshot, rows)
    plan, done = stands, []
    for number, one in enumerate(pressed):
        refusal = None
        try:
            plan = tried(plan, one)
        except Refusal as refused:
            refusal = refused
        done.append(Done(one, refusal, (*pressed[:number], *pressed[number + 1 :])))
    then = judged(plan.snapshot, now) if plan is not stands else now
    ours = theatre_list.pk
    before = list_served(now, ours)
    return Board(
        theatre_list=theatre_list,
        done=tuple(done),
        plan=plan,
        now=now,
        then=then,
        lines=_lines(ours, stands, plan, now, then),
        elsewhere=_elsewhere(ours, now, then) if then is not now else (),
        items=_items(ours, then, [one.item for one in pressed if one.item]),
        served_now=before,
        served_then=list_served(then, ours) if then is not now else before,
        targets=tuple(row.theatre_list for row in rows if row.theatre_list.pk != ours),
        new_order=_order_alone(stands, ours, pressed),
        seen=tuple(one.pk for one in stands.order.get(ours, ())),
    )


def _order_alone(stands: Plan, ours: int, pressed: Iterable[Try]) -> tuple[int, ...]:
    """The order to which the swaps alone lead, for the real act; () for none, or one that is impossible."""
    plan = stands
    try:
        for one in pressed:
            if one.kind in (Kind.UP, Kind.DOWN) and plan.home(one.case_id)[0] == ours:
                plan = tried(plan, one)
    except Refusal:
        return ()
    order = tuple(one.pk for one in plan.order.get(ours, ()))
    return () if order == tuple(one.pk for one in stands.order.get(ours, ())) else order


def _lines(ours: int, stands: Plan, plan: Plan, now: Judgement, then: Judgement) -> tuple[ListLine, ...]:
    before = {one.pk: one.position for one in stands.order.get(ours, ())}
    cases = plan.order.get(ours, ())
    found = [
        ListLine(
            one, before.get(one.pk, 0), _change(one.pk, now, then), number == 0, number == len(cases) - 1
        )
        for number, one in enumerate(cases)
    ]
    home = {one.pk: list_id for list_id, there in plan.order.items() for one in there}
    for one in stands.order.get(ours, ()):
        if home.get(one.pk) != ours:
            to = plan.lists[home[one.pk]] if one.pk in home else None
            found.append(ListLine(one, one.position, _change(one.pk, now, then), left=True, to=to))
    return tuple(found)


def _change(case_id: int, now: Judgement, then: Judgement) -> CaseChange | None:
    before, after = now.horizon.verdicts.get(case_id), then.horizon.verdicts.get(case_id)
    if before is None and after is None:
        return None
    known = (then if after is not None else now).laws.snapshot
    return CaseChange(
        known.case(case_id), _levels(before, after, "on_site"), _levels(before, after, "in_room")
    )


def _levels(before: CaseVerdict | None, after: CaseVerdict | None, name: str) -> Change:
    return Change(getattr(before, name, None), getattr(after, name, None))


def _elsewhere(ours: int, now: Judgement, then: Judgement) -> tuple[CaseChange, ...]:
    """Cases of other lists whose verdicts change, the first day first."""
    listed = {
        facts.id for known in (now, then) for facts in known.laws.snapshot.cases if facts.list_id == ours
    }
    changes = [_change(case_id, now, then) for case_id in then.horizon.cases if case_id not in listed]
    return tuple(one for one in changes if one and (one.on_site.worth_listing or one.in_room.worth_listing))


def _items(ours: int, known: Judgement, pressed: Iterable[str]) -> tuple[ItemLine, ...]:
    """Items worth a try: what the list's cases may miss, then those of which one fewer would hurt most."""
    missing = missed_by(ours, known)
    fewer = known.outlook.what_ifs.fewer
    likely = sorted((item for item, p in missing.items() if p >= WORTH_SAYING), key=lambda i: -missing[i])
    kept = likely[:MOST_MISSED]
    hurting = sorted(
        (item for item in missing if item not in kept and fewer[known.layout.number[item]] >= WORTH_SAYING),
        key=lambda item: -float(fewer[known.layout.number[item]]),
    )
    kept += hurting[:MOST_HURTING]
    kept += [item for item in dict.fromkeys(pressed) if item not in kept and item in known.layout.number]
    return tuple(
        ItemLine(item, item_words(known, item), missing.get(item, 0.0), free_of(known.laws.snapshot, item))
        for item in kept
    )


def missed_by(ours: int, known: Judgement) -> dict[str, float]:
    """Each item that a case of the list may use: about how likely one of them misses it."""
    out, arrays = known.outlook, known.layout.arrays
    served: dict[str, float] = {}
    mine = {n for n, law in enumerate(known.ordered) if law.facts.list_id == ours}
    for pair, case in enumerate(arrays.pair_case.tolist()):
        if case in mine:
            item = known.layout.items[int(arrays.pair_item[pair])]
            served[item] = served.get(item, 1.0) * (1.0 - min(1.0, float(out.missing_about[pair])))
    return {item: 1.0 - p for item, p in sorted(served.items())}


def item_words(known: Judgement, item: str) -> str:
    """The name of an item: a component as its case's slot has it, or a set design."""
    speaker = Speaker(known.laws.snapshot, {})
    if item in speaker.designs:
        return speaker.designs[item].name
    for law in known.ordered:
        if any(item in slot.law.items for slot in law.slots):
            return speaker.item_words(law, item)
    return item
