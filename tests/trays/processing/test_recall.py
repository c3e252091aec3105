"""Recalls: everything at once, nothing forgotten, closed only when each pack is accounted for."""

from datetime import timedelta

import pytest

from tests.trays.processing.conftest import Department
from tests.world import NOW
from trays.instruments.models import Pack, PackState
from trays.processing import bench, deciding, recalling, receiving, storing
from trays.processing.models_machines import Indicator, Run
from trays.processing.models_recall import Recall
from trays.staff.signing import holds
from trays.web.errors import Refusal


def refusal(act, *args, **kwargs) -> str:
    with pytest.raises(Refusal) as refused:
        act(*args, **kwargs)
    return refused.value.code


def ready_packs(department: Department, *codes: str) -> list[Pack]:
    found = [department.world.a_set("general", code, state=PackState.USED).packs.get() for code in codes]
    department.receive(*found)
    department.washed(*found)
    return [department.packed(pack) for pack in found]


def load(department: Department, *packs: Pack, lot: str = "") -> Run:
    run = department.loaded(*packs, lot=lot)
    return deciding.load_release(by=department.sign_as(department.colleague), run=run, at=NOW)


def state(pack: Pack) -> str:
    return Pack.objects.values_list("state", flat=True).get(pk=pack.pk)


def recall(department: Department, run: Run, scope: str = "this_load") -> Recall:
    return recalling.recall_open(
        by=department.technician, machine=department.sterilizer, run=run, cause="failed_cycle", scope=scope,
        reason="Paper jam hid the alarm", at=NOW + timedelta(hours=3),
    )  # fmt: skip


def outcomes(made: Recall) -> dict[str, str]:
    return dict(made.packs.values_list("pack__set__code", "outcome"))


def test_every_pack_of_the_load_that_is_not_opened_is_quarantined_at_once(department):
    shelf, theatre, opened, again = ready_packs(department, "G-01", "G-02", "G-03", "G-04")
    first = load(department, shelf, theatre, opened)
    department.stored(shelf, opened, theatre)
    storing.packs_issue(
        by=department.technician, packs=[theatre, opened], place=department.world.theatre, at=NOW
    )
    storing.packs_open(by=department.world.cast.scrub, packs=[opened], place=department.world.theatre, at=NOW)
    load(department, again)
    made = recall(department, first)
    assert [state(p) for p in (shelf, theatre, opened, again)] == [
        "quarantined", "quarantined", "opened", "released",
    ]  # fmt: skip
    assert outcomes(made) == {"G-01": "open", "G-02": "open", "G-03": "open"}
    assert made.packs.get(pack=opened).state_then == "opened"


def test_since_the_last_negative_takes_in_the_loads_between_and_no_earlier_one(department):
    before, good, between, bad = (ready_packs(department, f"G-0{n}")[0] for n in range(1, 5))
    load(department, before)
    negative = load(department, good, lot="B1")
    indicator = Indicator.objects.get(run=negative)
    recalling.indicator_read(by=department.technician, indicator=indicator, grew=False, at=NOW)
    # Loads of one moment would be as one: later ones begin later.
    second, third = load(department, between), load(department, bad)
    Run.objects.filter(pk=second.pk).update(started_at=NOW + timedelta(minutes=1))
    Run.objects.filter(pk=third.pk).update(started_at=NOW + timedelta(minutes=2))
    third.refresh_from_db()
    made = recall(department, third, "since_negative")
    assert set(outcomes(made)) == {"G-03", "G-04"}
    assert [state(p) for p in (before, good, between, bad)] == [
        "released", "released", "quarantined", "quarantined",
    ]  # fmt: skip


def test_a_late_positive_indicator_recalls_its_load_in_the_same_act(department):
    (pack,) = ready_packs(department, "G-01")
    run = load(department, pack, lot="B1")
    indicator = Indicator.objects.get(run=run)
    read = {"by": department.technician, "indicator": indicator, "at": NOW + timedelta(days=1)}
    recalling.indicator_read(**read, grew=True)
    assert state(pack) == "quarantined"
    assert Recall.objects.get().cause == "late_positive"
    assert refusal(recalling.indicator_read, **read, grew=False) == "read-already"


def test_a_pack_that_comes_back_is_accounted_for_by_coming_back(department):
    used, whole = ready_packs(department, "G-01", "G-02")
    run = load(department, used, whole)
    storing.packs_open(by=department.world.cast.scrub, packs=[used], place=department.world.theatre, at=NOW)
    made = recall(department, run)
    department.receive(used, whole)
    assert outcomes(made) == {"G-01": "used", "G-02": "reprocessed"}


def test_a_recall_is_closed_only_when_each_pack_is_accounted_for_or_declared_untraceable(department):
    here, gone = ready_packs(department, "G-01", "G-02")
    run = load(department, here, gone)
    storing.packs_open(by=department.world.cast.scrub, packs=[gone], place=department.world.theatre, at=NOW)
    made = recall(department, run)
    quality = department.world.cast.quality
    sought = {row.pack_id: row for row in made.packs.all()}
    assert (
        refusal(recalling.recall_close, by=department.sign_as(quality), recall=made, at=NOW) == "packs-open"
    )
    secure = {"sought": sought[here.pk], "outcome": "secured", "at": NOW}
    recalling.pack_account(by=department.technician, **secure)
    lost = {"sought": sought[gone.pk], "at": NOW}
    assert (
        refusal(recalling.pack_account, by=department.technician, outcome="untraceable", **lost)
        == "not-your-act"
    )
    assert refusal(recalling.pack_account, by=quality, outcome="secured", **lost) == "not-in-hand"
    recalling.pack_account(by=quality, outcome="untraceable", note="Not found in two days", **lost)
    assert refusal(
        recalling.recall_close, by=department.sign_as(department.technician), recall=made, at=NOW
    ) == ("not-your-act")
    closed = recalling.recall_close(by=department.sign_as(quality), recall=made, at=NOW)
    assert closed.signature and holds(closed.signature, recalling.content_of(closed))
    made.packs.update(outcome="secured")
    assert not holds(closed.signature, recalling.content_of(closed))


def test_quarantine_is_lifted_by_the_quality_lead_and_only_where_a_load_was_released(department):
    good, bad = ready_packs(department, "G-01", "G-02")
    load(department, good)
    department.world.take_to([bad], PackState.QUARANTINED)
    storing.packs_quarantine(by=department.technician, packs=[good], reason="doubt", at=NOW)
    quality = department.sign_as(department.world.cast.quality)
    assert refusal(recalling.quarantine_lift, by=quality, packs=[bad], at=NOW) == "load-not-released"
    recalling.quarantine_lift(by=quality, packs=[good], at=NOW)
    assert state(good) == "released"


def packed_anew(department: Department, pack: Pack) -> None:
    """Unwrapped in the same round and packed again: no longer what its load sterilized."""
    pack.refresh_from_db()
    made = pack.assemblies.get(round=pack.round)
    bench.assembly_reopen(by=department.technician, assembly=made, at=NOW)
    bench.assembly_close(by=department.technician, assembly=made, at=NOW)
    bench.pack_close(
        by=department.technician, assembly=made, packaging="wrap", weight_grams=5000,
        indicator_lot="X2", at=NOW,
    )  # fmt: skip


def test_a_pack_that_was_unwrapped_since_its_load_is_not_freed_by_that_load(department):
    (pack,) = ready_packs(department, "G-01")
    load(department, pack)
    storing.packs_quarantine(by=department.technician, packs=[pack], reason="doubt", at=NOW)
    packed_anew(department, pack)
    storing.packs_quarantine(by=department.technician, packs=[pack], reason="doubt", at=NOW)
    quality = department.sign_as(department.world.cast.quality)
    assert refusal(recalling.quarantine_lift, by=quality, packs=[pack], at=NOW) == "load-not-released"


def test_quarantine_is_not_lifted_while_a_recall_seeks_the_pack_or_its_indicator_failed(department):
    here, other = ready_packs(department, "G-01", "G-02")
    first, second = load(department, here), load(department, other, lot="B1")
    recall(department, first)
    quality = department.sign_as(department.world.cast.quality)
    assert refusal(recalling.quarantine_lift, by=quality, packs=[here], at=NOW) == "recall-open"
    read = {"by": department.technician, "indicator": Indicator.objects.get(run=second), "at": NOW}
    recalling.indicator_read(**read, grew=True)
    assert refusal(recalling.quarantine_lift, by=quality, packs=[other], at=NOW) == "indicator-failed"


def test_a_pack_of_two_loads_in_one_round_is_recalled_once_by_its_latest(department):
    (pack,) = ready_packs(department, "G-01")
    first = load(department, pack)
    storing.packs_quarantine(by=department.technician, packs=[pack], reason="doubt", at=NOW)
    packed_anew(department, pack)
    second = load(department, pack)
    made = recall(department, second, "since_negative")
    assert list(made.packs.values_list("pack", "run")) == [(pack.pk, second.pk)]
    assert first.pk != second.pk and state(pack) == "quarantined"


def test_an_indicator_taken_down_as_failed_after_the_release_recalls_the_load(department):
    (pack,) = ready_packs(department, "G-01")
    run = load(department, pack)
    deciding.indicator_add(
        by=department.technician, run=run, kind="integrating", lot="I9", result="failed", at=NOW
    )
    assert state(pack) == "quarantined"
    assert Recall.objects.get().cause == "failed_cycle"


def test_an_opened_pack_that_is_put_back_to_the_start_stays_with_the_recall_as_used(department):
    (pack,) = ready_packs(department, "G-01")
    run = load(department, pack)
    storing.packs_open(by=department.world.cast.scrub, packs=[pack], place=department.world.theatre, at=NOW)
    made = recall(department, run)
    receiving.packs_reject(
        by=department.technician, packs=[pack], reason="damaged", place=department.hall, at=NOW
    )
    assert outcomes(made) == {"G-01": "used"}


def test_coming_back_accounts_for_the_round_that_came_back_and_for_no_earlier_one(department):
    (pack,) = ready_packs(department, "G-01")
    run = load(department, pack)
    storing.packs_open(by=department.world.cast.scrub, packs=[pack], place=department.world.theatre, at=NOW)
    department.around(pack)
    storing.packs_open(by=department.world.cast.scrub, packs=[pack], place=department.world.theatre, at=NOW)
    made = recall(department, run)
    assert outcomes(made) == {"G-01": "open"}
    department.receive(pack)
    assert outcomes(made) == {"G-01": "open"}
