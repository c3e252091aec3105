"""Finds every act of the program by walking its rooms, and tells what one act owes the record."""

import inspect
import pkgutil
from collections.abc import Callable, Collection, Iterator
from importlib import import_module
from typing import Any

import cases
import trays
from trays.ledger.models import Event, EventLine
from trays.ledger.queries import verify

ROUND = ("trays.instruments", "trays.processing", "trays.staff")
"""The rooms whose acts are tried at the department's own table; all others are tried at the theatre's."""
APART = ("trays.loans", "cases.usage", "trays.orders", "trays.stock", "cases.reorders")
"""Rooms that try their acts beside their own tests, by `verbs_of`."""
_NO_ROOMS = (".migrations", ".management", ".templatetags")


def verbs(*, of_the_round: bool) -> list[str]:
    """What the rooms of one of the two tables offer: public functions that take the moment and who acts."""
    return _verbs(lambda room: not room.startswith(APART) and room.startswith(ROUND) == of_the_round)


def verbs_of(room: str) -> list[str]:
    """What one room offers that tries its acts by itself. Raises ValueError for one that does not."""
    if room not in APART:
        raise ValueError(f"{room} is tried at one of the two tables")
    return _verbs(lambda name: name.startswith(room))


def _verbs(of: Callable[[str], bool]) -> list[str]:
    found = []
    for module in map(import_module, _modules()):
        if of(module.__name__):
            for name, function in inspect.getmembers(module, inspect.isfunction):
                own = function.__module__ == module.__name__ and not name.startswith("_")
                if own and {"at", "by"} <= set(inspect.signature(function).parameters):
                    found.append(name)
    return found


def left_out(
    names: list[str], *, tried: Collection[str], halves: Collection[str]
) -> tuple[list[str], set[str]]:
    """Acts that are tried nowhere, or twice by one name; and names on the lists that nothing has any more."""
    acts = [name for name in names if name not in halves]
    untried = [name for name in acts if name not in tried or acts.count(name) > 1]
    return untried, {*tried, *halves} - set(names)


def _modules() -> Iterator[str]:
    for root in (trays, cases):
        for one in pkgutil.walk_packages(root.__path__, f"{root.__name__}."):
            if not any(word in one.name for word in _NO_ROOMS):
                yield one.name


def writes_one_event(act: Callable[[], Any], *, nameless: Collection[str] = ()) -> Event:
    """Do the act and look: one event more, with lines, in a record that holds; and no word in it is one of
    those given.
    """
    count = Event.objects.count()
    act()
    assert Event.objects.count() == count + 1
    event = Event.objects.order_by("-pk")[0]
    assert event.lines.exists()
    said = [event.text, str(event.answer), event.reason]
    said += [f"{line.before} {line.after}" for line in EventLine.objects.all()]
    for word in nameless:
        assert not any(word in text for text in said), word
    assert verify() == []
    return event
