"""A pack's whole round, and that each step starts where the one before has left it."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from tests.trays.processing.conftest import Department
from tests.world import NOW, TODAY
from trays.instruments.models import Pack, PackState
from trays.processing import receiving, storing
from trays.processing.models import Move
from trays.processing.ways import WAYS, Way, way, ways_on
from trays.web.errors import Refusal


def a_used_pack(department: Department, code: str = "G-01") -> Pack:
    return department.world.a_set("general", code, state=PackState.USED).packs.get()


def states(pack: Pack) -> list[str]:
    return [move.after for move in pack.moves.all()]


def test_a_used_pack_goes_all_the_way_round_to_its_shelf(department: Department) -> None:
    pack = a_used_pack(department)
    department.around(pack)
    department.stored(pack)
    pack.refresh_from_db()
    assert states(pack) == [
        "received", "cleaned", "assembled", "packed", "in_load", "released", "stored",
    ]  # fmt: skip
    assert (pack.state, pack.round, pack.bin) == ("stored", 2, "1-2")
    assert pack.sterile_until == TODAY + timedelta(days=180)
    assert pack.load == "S1-1"
    assert {move.round for move in pack.moves.all()} == {2}


def test_each_step_says_how_long_the_stage_before_it_took(department: Department) -> None:
    pack = a_used_pack(department)
    department.receive(pack)
    department.washed(pack)
    last = pack.moves.last()
    assert last is not None and last.since is not None
    assert last.at - last.since == timedelta(minutes=50)


def test_the_state_of_a_pack_changes_by_a_step_on_record_and_in_no_other_way(department: Department) -> None:
    pack = a_used_pack(department)
    with pytest.raises(IntegrityError, match="state_without_move"), transaction.atomic():
        Pack.objects.filter(pk=pack.pk).update(state=PackState.STORED)


@pytest.mark.parametrize(
    ("before", "after", "sequence", "law"),
    [
        ("used", "stored", 1, "move_is_a_way"),
        ("received", "cleaned", 1, "move_from_elsewhere"),
        ("used", "received", 2, "move_from_elsewhere"),
    ],
)
def test_the_database_takes_no_step_that_leads_nowhere_or_starts_elsewhere(
    department: Department, before: str, after: str, sequence: int, law: str
) -> None:
    pack = a_used_pack(department)
    with pytest.raises(IntegrityError, match=law), transaction.atomic():
        Move.objects.create(
            pack=pack, sequence=sequence, round=1, before=before, after=after, at=NOW, recorded_at=NOW,
            site=department.world.site, place=department.hall,
        )  # fmt: skip


def test_the_second_of_two_who_receive_one_pack_is_told_so(department: Department) -> None:
    pack = a_used_pack(department)
    department.receive(pack)
    with pytest.raises(Refusal) as refused:
        department.receive(pack)
    assert refused.value.code == "received-already"
    assert pack.moves.count() == 1


def test_a_step_that_no_way_allows_says_what_the_pack_is_and_what_comes_next(department: Department) -> None:
    pack = a_used_pack(department)
    department.receive(pack)
    with pytest.raises(Refusal) as refused:
        department.stored(pack)
    assert refused.value.code == "no-way"
    assert "received, to be cleaned" in refused.value.sentence
    assert "cleaned, to be assembled" in refused.value.next_step


def test_what_is_opened_or_comes_back_used_is_a_fact_whatever_the_record_held(department: Department) -> None:
    pack = department.world.a_set("general", "G-07", state=PackState.STORED).packs.get()
    storing.packs_open(
        by=department.world.cast.circulating, packs=[pack], place=department.world.theatre, at=NOW
    )
    receiving.packs_receive(by=department.technician, packs=[pack], place=department.hall, at=NOW)
    assert states(pack) == ["opened", "received"]


def test_a_condemned_pack_never_comes_back() -> None:
    assert [after for before, after in WAYS if before == PackState.CONDEMNED] == []
    assert way(PackState.LOST, PackState.RECEIVED) is Way.IN


def test_nothing_becomes_sterile_but_through_a_load() -> None:
    into_released = {before for before, after in WAYS if after == PackState.RELEASED}
    assert into_released == {PackState.IN_LOAD, PackState.QUARANTINED}
    into_stored = {before for before, after in WAYS if after == PackState.STORED}
    assert into_stored == {PackState.RELEASED, PackState.ISSUED}
    assert ways_on(PackState.PACKED) == (PackState.IN_LOAD,)


def test_from_every_state_but_the_last_a_pack_can_be_quarantined() -> None:
    for state in PackState:
        if state not in (PackState.QUARANTINED, PackState.CONDEMNED):
            assert way(state, PackState.QUARANTINED) is not None, state
