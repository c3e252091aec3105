"""Two people, or two presses of one button, at the same moment: what the database then decides."""

from typing import Any
from uuid import UUID, uuid4

import pytest

from cases.bookings import checks, enter
from cases.bookings.models import Case
from tests.cases.bookings.helping import TOMORROW, book, verbs
from tests.world import World
from trays.ledger import once
from trays.ledger.append import answered
from trays.ledger.models import Event
from trays.web.errors import Refusal


def test_a_reference_given_twice_at_the_same_moment_is_kept_once_by_the_database(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    book(world, reference="SAME")
    # As when the other booking is committed after this one has looked.
    monkeypatch.setattr(checks, "reference_free", lambda **_facts: None)
    with pytest.raises(Refusal) as refused:
        book(world, reference="SAME")

    assert refused.value.code == "duplicate-reference"
    assert Case.objects.count() == 1


def test_a_position_taken_at_the_same_moment_is_told_as_a_change_meanwhile(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    book(world)
    monkeypatch.setattr(enter, "position_taken", lambda _list, _position: 1)
    with pytest.raises(Refusal) as refused:
        book(world)

    assert refused.value.code == "changed-meanwhile"
    assert list(Case.objects.values_list("position", "list__day")) == [(1, TOMORROW)]


def test_one_key_sent_twice_at_the_same_moment_gives_one_case_and_one_answer(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    key = uuid4()
    first = book(world, client_key=key)
    looked: list[Any] = []

    def too_early(client_key: UUID | None) -> Event | None:
        """The first look comes before the other request has committed."""
        looked.append(client_key)
        return None if len(looked) == 1 else answered(client_key)

    monkeypatch.setattr(once, "answered", too_early)
    again = book(world, client_key=key)

    assert again.case == first.case
    assert len(looked) == 2
    assert Case.objects.count() == 1
    assert verbs() == ["case.book"]
