"""What a plan is weighed against: the horizon with all that is coming, and as it would be after a choice."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from cases.planning.kinds import SLACK
from cases.readiness.assess import Judgement, WorkedOut, worked_out
from cases.readiness.coming import with_coming
from cases.readiness.facts import Snapshot
from cases.readiness.kinds import Level, Word
from cases.readiness.parts import CaseLaw
from cases.readiness.shelf import NOTHING
from cases.readiness.verdicts import on_site_level
from cases.reorders.doings import Doing

Choice = Mapping[Doing, int]
"""How often each thing is done."""


@dataclass(frozen=True)
class Base:
    """The horizon with what is on its way, and the cases of the list in it."""

    known: WorkedOut
    snapshot: Snapshot
    laws: tuple[CaseLaw, ...]
    numbers: tuple[int, ...]
    _after: dict[frozenset[tuple[str, int]], WorkedOut] = field(default_factory=dict, repr=False)

    @property
    def own(self) -> list[int]:
        """The ids of the list's cases, in order."""
        return [law.facts.id for law in self.laws]

    def after(self, chosen: Choice) -> WorkedOut:
        """The horizon once what was chosen has come; kept, since many choices are looked at twice."""
        key = frozenset((doing.ref, times) for doing, times in chosen.items() if times)
        if key not in self._after:
            found = snapshot_after(self.snapshot, chosen)
            self._after[key] = worked_out(found, self.known) if key else self.known
        return self._after[key]

    def levels(self, known: WorkedOut) -> dict[int, Level]:
        """The levels on site of all cases of the horizon, by id."""
        policy = self.snapshot.policy
        return {pk: on_site_level(one, policy) for pk, one in known.found.items()}

    def failing(self, known: WorkedOut, hopeless: Iterable[int]) -> list[int]:
        """The list's cases that something more might help: not covered, and not for want of a rule alone."""
        wanted, lost = self.snapshot.policy.wanted_on_site, set(hopeless)
        return [
            pk
            for pk in self.own
            if pk not in lost
            and pk in known.found
            and on_site_level(known.found[pk], self.snapshot.policy).word is not Word.COVERED
            and known.found[pk].answer.p_short_low > 1.0 - wanted + SLACK
        ]


def base_of(snapshot: Snapshot, list_id: int, before: Judgement | WorkedOut) -> Base:
    """Work a snapshot out and find the list's cases that can be judged."""
    known = worked_out(snapshot, before)
    own = [n for n, law in enumerate(known.ordered) if law.facts.list_id == list_id and law.possible]
    return Base(known, snapshot, tuple(known.ordered[n] for n in own), tuple(own))


def items_of(laws: Iterable[CaseLaw]) -> tuple[set[int], set[int]]:
    """Components and designs that cases may draw."""
    components: set[int] = set()
    designs: set[int] = set()
    for law in laws:
        components |= set(law.shape.components)
        for need in law.demand.needs:
            designs |= {int(o.item[1:]) for o in need.options if o.item != NOTHING}
    return components, designs


def snapshot_after(snapshot: Snapshot, chosen: Choice) -> Snapshot:
    """The snapshot in which everything chosen is on its way."""
    zone = ZoneInfo(snapshot.policy.zone)
    units, sets = [], []
    for doing, times in chosen.items():
        for item, n in doing.brings.items():
            number = int(item[1:])
            if item.startswith("C"):
                units += [(number, doing.usable)] * (n * times)
            else:
                ready = datetime(doing.usable.year, doing.usable.month, doing.usable.day, tzinfo=zone)
                sets += [(number, ready)] * (n * times)
    return with_coming(snapshot, units=units, sets=sets)
