"""Recalls: everything at once, nothing forgotten, closed only when each pack is accounted for."""

from datetime import timedelta

import pytest

from tests.trays.processing.conftest import Department
from tests.world import NOW
from trays.instruments.models import Pack, PackState
from trays.processing import deciding, recalling, storing
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
