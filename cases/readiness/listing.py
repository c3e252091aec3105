"""What is said of a pick list as a whole: what its length rests on, and whether another one is handled more
cheaply.

Nothing on file says what bringing a thing costs. What is on file is the site's order of owners (whose unit it
would rather open) and the trays of each set. So bringing a unit counts 1 if its owner stands first in that
order, 2 if second, and so on; a set counts its trays.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.planning.bringing import Costs, Run, Shortest
from cases.planning.brought import points_of
from cases.planning.picking import shortest
from cases.readiness.facts import UnitFacts
from cases.readiness.kinds import PickSlot
from cases.readiness.parts import CaseLaw
from cases.readiness.reasons import Speaker, minimum_words
from cases.readiness.room import Room, Shelved, pick_slots
from cases.readiness.shelf import NOTHING, set_item, unit_item, usable
from trays.parties.models import Tenure


@dataclass(frozen=True)
class Cheaper:
    """Another list for the same target that is handled more cheaply.

    `units` counts what it brings; `fewer` by how many fewer units of each tenure that is.
    """

    slots: tuple[PickSlot, ...]
    units: int
    fewer: tuple[tuple[str, int], ...]


def list_words(room: Room, law: CaseLaw, speaker: Speaker) -> tuple[str, ...]:
    """Sentences on the list that would be made now."""
    shelf = room.shelved(law)
    run = room.run(law, shelf)
    free = shortest(
        law.demand,
        room.policy.wanted_in_room,
        law=law.joint,
        available=shelf.units,
        sets=shelf.sets,
        costs=Costs(sets={NOTHING: 0}),
    )
    said = [_length_words(run, free), minimum_words(run.for_minimum), _gap_words(run)]
    cheaper = cheaper_list(room, law, shelf, run)
    if cheaper is not None:
        said.append(_cheaper_words(cheaper, speaker.sizes_line(law, cheaper.slots)))
    return tuple(sentence for sentence in said if sentence)


def cheaper_list(room: Room, law: CaseLaw, shelf: Shelved, run: Run) -> Cheaper | None:
    """The list that is handled most cheaply, if it brings other sizes than the shortest one."""
    order = _owners(room, law)
    costs = handling(room, shelf, order)
    other = room.run(law, shelf, costs)
    dearer = points_of(law.demand, run, costs) - points_of(law.demand, other, costs)
    if dearer <= 0 or other.boxes == run.boxes:
        return None
    before, after = _tenures(law, run, order), _tenures(law, other, order)
    fewer = tuple((tenure, n) for tenure in Tenure.values if (n := before[tenure] - after[tenure]) > 0)
    return Cheaper(pick_slots(law, other), other.units, fewer)


def handling(room: Room, shelf: Shelved, order: dict[str, list[str]]) -> Costs:
    """What it counts to bring each unit and each set of a case."""
    owners = room.policy.owner_order
    units = {
        item: tuple(_place(owners, tenure) for tenure in tenures)
        for item, tenures in order.items()
        if tenures
    }
    trays = {set_item(design): len(rows[0].packs) for design, rows in shelf.rows.items() if rows}
    return Costs(units, {**trays, NOTHING: 0})


def _owners(room: Room, law: CaseLaw) -> dict[str, list[str]]:
    """By item the tenure of each unit that may be brought, in the order in which a pick takes them."""
    found = {}
    for component in law.shape.components:
        rows = usable(room.snapshot.units.get(component, ()), law.facts)
        found[unit_item(component)] = [unit.tenure for unit in _in_order(rows, room.policy.owner_order)]
    return found


def _in_order(rows: Iterable[UnitFacts], owners: Sequence[str]) -> list[UnitFacts]:
    """Held for the case, for its list, free; within these the site's order of owners."""

    def key(unit: UnitFacts) -> tuple[bool, bool, int]:
        return unit.case_id is None, unit.list_id is None, _place(owners, unit.tenure)

    return sorted(rows, key=key)


def _place(owners: Sequence[str], tenure: str) -> int:
    """An owner that the site does not name comes after those it does."""
    return 1 + (owners.index(tenure) if tenure in owners else len(owners))


def _tenures(law: CaseLaw, run: Run, order: dict[str, list[str]]) -> Counter[str]:
    taken: Counter[str] = Counter()
    found: Counter[str] = Counter()
    for slot, row in zip(law.demand.slots, run.items, strict=True):
        for one in row:
            item = slot.items[one.index]
            found.update(order[item][taken[item] : taken[item] + one.quantity])
            taken[item] += one.quantity
    return found


def _length_words(run: Run, free: Shortest) -> str:
    """How many units would do, and what unbroken runs add to them; "" where the target is out of reach."""
    least, computed = sum(n for _, n in free.units), run.units - run.for_minimum
    if not free.reached or computed <= least:
        return ""
    return ngettext(
        "%(n)d unit would do if sizes in between could be left out; unbroken runs make it %(m)d.",
        "%(n)d units would do if sizes in between could be left out; unbroken runs make it %(m)d.",
        least,
    ) % {"n": least, "m": computed}


def _gap_words(run: Run) -> str:
    if run.proven:
        return ""
    return ngettext(
        "Whether this is the shortest list is not proven: at the most %(n)d thing could be saved.",
        "Whether this is the shortest list is not proven: at the most %(n)d things could be saved.",
        run.gap,
    ) % {"n": run.gap}


def _cheaper_words(one: Cheaper, sizes: str) -> str:
    fewer = "".join(", " + _fewer_words(tenure) % {"n": n} for tenure, n in one.fewer)
    return ngettext(
        "By the site’s order of owners and by trays, the list handled most cheaply brings %(sizes)s instead: "
        "%(n)d unit%(fewer)s.",
        "By the site’s order of owners and by trays, the list handled most cheaply brings %(sizes)s instead: "
        "%(n)d units%(fewer)s.",
        one.units,
    ) % {"sizes": sizes, "n": one.units, "fewer": fewer}


def _fewer_words(tenure: str) -> str:
    return {
        Tenure.OWNED.value: _("%(n)d owned fewer"),
        Tenure.CONSIGNED.value: _("%(n)d consigned fewer"),
        Tenure.LOANED.value: _("%(n)d loaned fewer"),
    }[tenure]
