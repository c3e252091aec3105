"""Machines and loads: tested first, filled within their room, released by a person or refused."""

import io
from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from tests.trays.processing.conftest import PIN, Department
from tests.world import NOW, TODAY
from trays.instruments.models import ContentsLine, Pack, PackLine, PackState
from trays.instruments.queries import set_facts
from trays.processing import deciding, machines, runs, storing
from trays.processing.deciding import Early
from trays.processing.models_machines import DayTestRule, Indicator, Run, RunPack, RunState
from trays.processing.models_policy import Policy
from trays.staff.signing import holds, sign, signer
from trays.web.errors import NotAllowed, Refusal, Unreadable


def refusal(act, *args, **kwargs) -> str:
    with pytest.raises(Refusal) as refused:
        act(*args, **kwargs)
    assert refused.value.next_step
    return refused.value.code


@pytest.fixture
def packs(department: Department) -> list[Pack]:
    """Three packs, packed and ready to be sterilized."""
    found = [
        department.world.a_set("general", f"G-0{n}", state=PackState.USED).packs.get() for n in range(1, 4)
    ]
    department.receive(*found)
    department.washed(*found)
    return [department.packed(pack) for pack in found]


def with_implants(pack: Pack) -> None:
    """Loose implants on the pack's list: rack stock."""
    line = pack.set.version.lines.order_by("number").last()
    assert line is not None
    from trays.catalogue.models import Component

    ContentsLine.objects.filter(pk=line.pk).update(
        instrument=None, rack_stock=Component.objects.order_by("pk").first()
    )


def open_load(department: Department, **more) -> Run:
    return runs.run_open(
        by=department.technician, machine=department.sterilizer,
        programme=more.get("programme", department.steam), at=more.get("at", NOW),
    )  # fmt: skip


def test_no_machine_takes_a_load_before_its_days_tests_are_passed(department, packs):
    tomorrow = NOW + timedelta(days=1)
    assert refusal(open_load, department, at=tomorrow) == "tests-owed"
    rule = DayTestRule.objects.get(kind="sterilizer")
    test = {"by": department.technician, "machine": department.sterilizer, "rule": rule}
    machines.day_test_record(**test, passed=False, at=tomorrow)
    assert refusal(open_load, department, at=tomorrow) == "tests-owed"
    machines.day_test_record(**test, passed=True, at=tomorrow)
    run = open_load(department, at=tomorrow)
    runs.run_fill(by=department.technician, run=run, packs=packs[:1], at=tomorrow)
    # A test that fails later on the day stops what has not begun.
    machines.day_test_record(**test, passed=False, at=tomorrow + timedelta(hours=1))
    late = {"by": department.technician, "run": run, "at": tomorrow + timedelta(hours=2)}
    assert refusal(runs.run_start, **late) == "tests-owed"


def test_a_machine_out_of_use_takes_nothing(department, packs):
    machines.machine_stop(by=department.technician, machine=department.sterilizer, reason="door seal", at=NOW)
    assert refusal(open_load, department) == "machine-stopped"
    machines.machine_start(by=department.technician, machine=department.sterilizer, at=NOW)
    assert open_load(department).state == RunState.FILLING


def test_a_machine_takes_no_more_than_it_holds(department, packs):
    more = department.world.a_set("general", "G-09", state=PackState.USED).packs.get()
    department.receive(more)
    department.washed(more)
    department.packed(more)
    run = open_load(department)
    fill = {"by": department.technician, "run": run, "at": NOW}
    runs.run_fill(**fill, packs=packs)
    assert refusal(runs.run_fill, **fill, packs=[more]) == "run-full"
    more.refresh_from_db()
    assert more.state == PackState.PACKED


def test_a_pack_is_in_one_open_load_by_law_and_by_word(department, packs):
    run = open_load(department)
    runs.run_fill(by=department.technician, run=run, packs=packs[:1], at=NOW)
    assert (
        refusal(runs.run_fill, by=department.technician, run=run, packs=packs[:1], at=NOW) == "in-another-run"
    )
    other = Run.objects.create(
        machine=department.washer, number=99, programme=department.wash, opened_at=NOW,
        opened_by=department.technician,
    )  # fmt: skip
    with pytest.raises(IntegrityError), transaction.atomic():
        RunPack.objects.create(run=other, pack=packs[0], round=2, position=1)


def test_a_pack_that_is_not_packed_is_told_what_comes_first(department, packs):
    used = department.world.a_set("general", "G-08", state=PackState.USED).packs.get()
    run = open_load(department)
    with pytest.raises(Refusal) as refused:
        runs.run_fill(by=department.technician, run=run, packs=[used], at=NOW)
    assert refused.value.code == "not-ready-for-it"
    assert (
        "used, not yet back" in refused.value.sentence
        and "packed, to be sterilized" in refused.value.sentence
    )


def test_what_is_taken_out_before_the_start_is_packed_again(department, packs):
    run = open_load(department)
    runs.run_fill(by=department.technician, run=run, packs=packs, at=NOW)
    runs.run_take_out(by=department.technician, run=run, pack=packs[0], at=NOW)
    packs[0].refresh_from_db()
    assert (packs[0].state, packs[0].load, run.packs.count()) == (PackState.PACKED, "", 2)
    runs.run_give_up(by=department.technician, run=run, at=NOW)
    assert set(Pack.objects.filter(pk__in=[p.pk for p in packs]).values_list("state", flat=True)) == {
        "packed"
    }
    assert open_load(department).number == run.number + 1


def test_a_load_is_released_by_a_signature_bound_to_what_was_in_it(department, packs):
    done = department.released(*packs)
    assert done.state == RunState.PASSED and done.signature is not None
    assert holds(done.signature, deciding.content_of(done))
    done.packs.last().delete()
    assert not holds(done.signature, deciding.content_of(done))


def test_who_packed_all_of_it_does_not_release_it_where_the_site_says_so(department, packs):
    run = department.loaded(*packs)
    own = department.sign_as(department.technician)
    with pytest.raises(NotAllowed) as refused:
        deciding.load_release(by=own, run=run, at=NOW)
    assert refused.value.code == "packed-it-alone"
    Policy.objects.create(site=department.world.site, valid_from=TODAY, another_releases=False)
    assert deciding.load_release(by=own, run=run, at=NOW).state == RunState.PASSED


def test_nobody_releases_who_may_not_and_a_wrong_pin_signs_nothing(department, packs):
    run = department.loaded(*packs)
    coordinator = department.sign_as(department.world.cast.coordinator)
    assert refusal(deciding.load_release, by=coordinator, run=run, at=NOW) == "not-your-act"
    with pytest.raises(NotAllowed) as refused:
        signer(person=department.colleague, pin="0000")
    assert refused.value.code == "wrong-pin"


def test_ten_wrong_pins_lock_the_persons_signing_and_no_one_elses(department):
    for _try in range(10):
        assert refusal(signer, person=department.colleague, pin="0000") == "wrong-pin"
    assert refusal(signer, person=department.colleague, pin=PIN) == "signing-locked"
    assert signer(person=department.technician, pin=PIN).person == department.technician


LOG = "time,temperature (°C)\n" + "\n".join(f"{n * 10},134.8" for n in range(25)) + "\n"


def keep_log(department, run, text=LOG):
    return runs.run_log_import(by=department.technician, run=run, file=io.BytesIO(text.encode()), at=NOW)


def test_the_log_is_evaluated_beside_the_machines_verdict(department, packs):
    run = department.loaded(*packs)
    log = keep_log(department, run)
    assert (log.hold_seconds, log.lowest_in_hold) == (240, 134.8)
    assert log.f0 == pytest.approx(240 * 10 ** ((134.8 - 121.1) / 10) / 60)
    assert [one.met for one in deciding.findings(run, log)] == [True, True]
    assert refusal(keep_log, department, run) == "log-known"


def test_a_load_whose_log_falls_short_is_not_released_though_the_machine_says_passed(department, packs):
    run = department.loaded(*packs)
    keep_log(department, run, LOG.replace("134.8", "133.9"))
    by = department.sign_as(department.colleague)
    assert refusal(deciding.load_release, by=by, run=run, at=NOW) == "against-the-machine"
    deciding.load_fail(by=by, run=run, reason="Too cold", at=NOW)
    states = set(Pack.objects.filter(pk__in=[p.pk for p in packs]).values_list("state", flat=True))
    assert states == {"quarantined"}


def test_a_log_that_cannot_be_believed_leaves_nothing_behind(department, packs):
    run = department.loaded(*packs)
    with pytest.raises(Unreadable):
        keep_log(department, run, LOG + "10,134.8\n")
    assert run.logs.count() == 0


def test_a_load_with_implants_waits_for_its_biological_indicator(department, packs):
    with_implants(packs[0])
    run = open_load(department)
    runs.run_fill(by=department.technician, run=run, packs=packs, at=NOW)
    start = {"by": department.technician, "run": run, "at": NOW}
    assert refusal(runs.run_start, **start) == "indicator-missing"
    runs.run_start(**start, indicator_lot="B7")
    runs.run_end(by=department.technician, run=run, verdict="passed", at=NOW + timedelta(hours=1))
    packs[0].refresh_from_db()
    assert packs[0].state == PackState.QUARANTINED
    by = department.sign_as(department.colleague)
    assert refusal(deciding.load_release, by=by, run=run, at=NOW) == "indicator-outstanding"
    early = Early("Bleeding patient in theatre 1", department.sign_as(department.world.cast.surgeon))
    assert (
        refusal(deciding.load_release, by=by, run=run, at=NOW, early=Early(" ", early.second))
        == "reason-missing"
    )
    assert refusal(deciding.load_release, by=by, run=run, at=NOW, early=Early("x", by)) == "same-person"
    done = deciding.load_release(by=by, run=run, at=NOW, early=early)
    assert (done.early_with, done.signature.meaning) == (early.second.person, "released_early")
    assert Indicator.objects.get(run=run).result == "outstanding"
    packs[0].refresh_from_db()
    assert packs[0].state == PackState.RELEASED


def test_a_pack_quarantined_for_another_reason_is_not_freed_by_its_loads_release(department, packs):
    run = department.loaded(*packs)
    storing.packs_quarantine(by=department.technician, packs=packs[:1], reason="wet", at=NOW)
    deciding.load_release(by=department.sign_as(department.colleague), run=run, at=NOW)
    packs[0].refresh_from_db()
    packs[1].refresh_from_db()
    assert (packs[0].state, packs[1].state) == (PackState.QUARANTINED, PackState.RELEASED)


def test_immediate_use_holds_no_implants_and_never_reaches_a_shelf(department, packs):
    run = open_load(department, programme=department.at_once)
    fill = {"by": department.technician, "run": run, "at": NOW}
    runs.run_fill(**fill, packs=packs[:1])
    other = packs[1].set.version
    assert other == packs[0].set.version
    runs.run_start(by=department.technician, run=run, at=NOW)
    runs.run_end(by=department.technician, run=run, verdict="passed", at=NOW)
    deciding.load_release(by=department.sign_as(department.colleague), run=run, at=NOW)
    assert refusal(department.stored, packs[0]) == "immediate-use"
    packs[0].refresh_from_db()
    with pytest.raises(IntegrityError), transaction.atomic():
        department.world.take_to(packs[:1], PackState.STORED)
    storing.packs_issue(by=department.technician, packs=packs[:1], place=department.world.theatre, at=NOW)
    with_implants(packs[1])
    second = open_load(department, programme=department.at_once)
    assert (
        refusal(runs.run_fill, by=department.technician, run=second, packs=packs[1:2], at=NOW)
        == "implants-for-immediate-use"
    )


def test_a_failed_wash_leaves_its_packs_to_be_washed_again(department):
    pack = department.world.a_set("general", "G-05", state=PackState.USED).packs.get()
    department.receive(pack)
    run = runs.run_open(
        by=department.technician, machine=department.washer, programme=department.wash, at=NOW
    )
    runs.run_fill(by=department.technician, run=run, packs=[pack], at=NOW)
    runs.run_start(by=department.technician, run=run, at=NOW)
    runs.run_end(by=department.technician, run=run, verdict="failed", at=NOW)
    decide = {"by": department.technician, "run": run, "at": NOW}
    assert refusal(deciding.wash_decide, **decide, passed=True) == "against-the-machine"
    assert refusal(deciding.wash_decide, **decide, passed=False) == "reason-missing"
    deciding.wash_decide(**decide, passed=False, reason="Pump stopped")
    pack.refresh_from_db()
    assert pack.state == PackState.RECEIVED
    department.washed(pack)
    pack.refresh_from_db()
    assert pack.state == PackState.CLEANED


def test_what_is_not_released_is_ready_for_no_case(department, packs):
    run = department.loaded(*packs)

    def ready() -> bool:
        (facts,) = set_facts(site_ids=[department.world.site.pk], set_ids=[packs[0].set_id])
        return facts.ready_on(TODAY)

    assert not ready()
    deciding.load_release(by=department.sign_as(department.colleague), run=run, at=NOW)
    assert ready()


def test_the_same_press_twice_is_one_act(department, packs):
    from uuid import uuid4

    key = uuid4()
    run = open_load(department)
    fill = {"by": department.technician, "run": run, "packs": packs, "at": NOW, "client_key": key}
    assert runs.run_fill(**fill) == runs.run_fill(**fill)
    assert run.packs.count() == 3


def test_a_wash_says_nothing_of_a_pack_that_has_gone_round_again_since(department):
    pack = department.world.a_set("general", "G-06", state=PackState.USED).packs.get()
    department.receive(pack)
    run = runs.run_open(
        by=department.technician, machine=department.washer, programme=department.wash, at=NOW
    )
    runs.run_fill(by=department.technician, run=run, packs=[pack], at=NOW)
    runs.run_start(by=department.technician, run=run, at=NOW)
    storing.packs_open(by=department.technician, packs=[pack], place=department.world.theatre, at=NOW)
    department.receive(pack)
    runs.run_end(by=department.technician, run=run, verdict="passed", at=NOW)
    deciding.wash_decide(by=department.technician, run=run, passed=True, at=NOW)
    pack.refresh_from_db()
    assert (pack.state, pack.round) == (PackState.RECEIVED, 3)


def test_a_second_person_without_the_role_is_told_of_and_nothing_is_released(department, packs):
    with_implants(packs[0])
    run = department.loaded(*packs, lot="B7")
    early = Early("Urgent", department.sign_as(department.world.cast.coordinator))
    by = department.sign_as(department.colleague)
    assert refusal(deciding.load_release, by=by, run=run, at=NOW, early=early) == "second-may-not"


@pytest.mark.parametrize(("signed", "law"), [(False, "run_unsigned"), (True, "run_still_open")])
def test_the_database_decides_no_load_without_a_signature_or_with_a_pack_still_open(
    department, packs, signed, law
):
    run = department.loaded(*packs)
    given = {"state": RunState.PASSED, "decided_at": NOW, "decided_by": department.colleague}
    if signed:
        by = department.sign_as(department.colleague)
        given["signature"] = sign(
            by=by, meaning="released", subject="run", subject_id=run.pk, content={}, at=NOW
        )
    else:
        run.packs.update(open=False)
    with pytest.raises(IntegrityError, match=law), transaction.atomic():
        Run.objects.filter(pk=run.pk).update(**given)


def test_a_pack_that_lacks_what_is_critical_is_issued_only_where_a_named_person_let_it_go(department, packs):
    pack = packs[0]
    deciding.load_release(by=department.sign_as(department.colleague), run=department.loaded(*packs), at=NOW)
    line = pack.set.version.lines.get(tray=pack.tray, critical=True)
    PackLine.objects.filter(pack=pack, line=line).update(present=0)
    issue = {"by": department.technician, "packs": [pack], "place": department.world.theatre, "at": NOW}
    assert refusal(storing.packs_issue, **issue) == "lacks-critical"
    issue["place"] = department.world.sterile_store
    assert refusal(storing.packs_issue, **issue) == "not-an-outlet"
    by = department.sign_as(department.world.cast.surgeon)
    mark = sign(by=by, meaning="allowed_short", subject="assembly", subject_id=1, content={}, at=NOW)
    pack.assemblies.update(short_by=by.person, short_reason="Known", signature=mark)
    storing.packs_issue(**{**issue, "place": department.world.theatre})
