"""Closing a case: nothing open, sets on the dirty trolley, what was used learnt from; or by exception."""

from datetime import timedelta

import pytest

from cases.bookings.models import Case
from cases.forecasts.models import Outcome
from cases.picks.models import PackFor
from cases.reservations.hold import units_hold
from cases.reservations.models import Hold
from cases.usage.closing import case_close, case_close_by_exception
from cases.usage.failing import set_fail, set_fail_answer
from cases.usage.fates import fate_correct, fate_record
from cases.usage.kinds import Sent
from cases.usage.models import MarkKind
from cases.usage.queries import chase_list, failures_of, replacements, table_failures
from cases.usage.queries_record import closing_waits
from cases.usage.sending import used_sets_send
from cases.usage.signing import record_sign
from tests.cases.usage.conftest import Table
from tests.world import NOW
from trays.instruments.models import Pack, PackLine
from trays.ledger.queries import verify
from trays.places.models import Place
from trays.processing.models import Move, Shortfall
from trays.processing.receiving import Lacking
from trays.staff.signing import holds
from trays.stock.verify import stock_faults
from trays.web.errors import NotAllowed, Refusal


def implant(table: Table, slot: str, size: str = "2") -> None:
    fate_record(by=table.by, brought=table.bring(slot, size), fate="implanted", at=NOW)


def test_a_case_waits_for_fates_sets_and_the_final_count_and_then_closes(table: Table) -> None:
    (kept,) = table.stock("patellar")
    units_hold(by=table.world.cast.coordinator, units=[kept], case=table.case, at=NOW)
    brought, pack = table.bring("femoral"), table.a_pack()
    with pytest.raises(Refusal) as open_still:
        case_close(by=table.by, case=table.case, at=NOW)
    assert open_still.value.facts["codes"] == ["no-fate", "packs-in-room", "not-opened"]
    assert [one.page for one in closing_waits(table.case)] == [
        "theatre-implants",
        "theatre-sign",
        "theatre-count",
    ]
    fate_record(by=table.by, brought=brought, fate="implanted", at=NOW)
    used_sets_send(by=table.by, case=table.case, packs=[Sent(pack)], at=NOW)
    table.counted()
    closing = case_close(by=table.by, case=table.case, at=NOW)
    table.case.refresh_from_db()
    assert (table.case.status, closing.by_exception) == (Case.Status.CLOSED, False)
    assert Hold.objects.get(unit=kept).ended_reason == "closed"
    unsigned = [mark.words for mark in chase_list(table.world.site) if mark.kind == MarkKind.UNSIGNED]
    assert unsigned == ["scrub", "circulating"]
    with pytest.raises(Refusal) as again:
        case_close(by=table.by, case=table.case, at=NOW)
    assert again.value.code == "closed-already" and stock_faults() == [] and verify() == []


def test_a_signed_case_chases_nobody(table: Table) -> None:
    table.counted()
    for who, role in ((table.world.cast.scrub, "scrub"), (table.by, "circulating")):
        record_sign(by=table.by, case=table.case, role=role, signer=table.signer(who), at=NOW)
    case_close(by=table.by, case=table.case, at=NOW)
    assert chase_list(table.world.site) == []


def test_what_was_used_is_learnt_from_with_what_had_been_predicted(table: Table) -> None:
    for slot in ("femoral", "tibial"):
        implant(table, slot)
    table.counted()
    case_close(by=table.by, case=table.case, at=NOW)
    found = {row.slot: row for row in Outcome.objects.all()}
    femoral, tibial = found["femoral"], found["tibial"]
    assert (femoral.component, femoral.case_slot.construct) == (table.component("femoral"), table.construct())
    assert (femoral.method, femoral.planner, femoral.predicted_rank) == (
        "xray_template",
        table.case.surgeon,
        1,
    )
    # Two sizes were predicted: no single one that an error could be measured from.
    assert (tibial.method, tibial.predicted_rank, tibial.used_on) == ("xray_template", None, NOW.date())
    table.case.refresh_from_db()
    brought = table.case.brought.get(slot=femoral.case_slot)
    fate_correct(by=table.by, brought=brought, fate="wasted", why="dropped", at=NOW)
    assert set(Outcome.objects.values_list("slot", flat=True)) == {"tibial"}


def test_the_same_size_on_both_sides_is_two_outcomes(table: Table) -> None:
    table.case = table.world.a_case(sides=("left", "right"), hour=14)
    for side in ("left", "right"):
        brought = table.bring("tibial", construct=table.construct(side))
        fate_record(by=table.by, brought=brought, fate="implanted", at=NOW)
    table.counted()
    case_close(by=table.by, case=table.case, at=NOW)
    rows = Outcome.objects.order_by("case_slot__construct__number")
    assert [row.case_slot.construct.side for row in rows] == ["left", "right"]
    assert [row.reference for row in rows] == [table.case.reference, f"{table.case.reference}/2"]


def test_a_senior_person_closes_by_exception_with_a_reason(table: Table) -> None:
    table.bring("femoral")
    senior = table.signer(table.world.cast.quality)
    for signer, reason, code in (
        (senior, "", "reason-missing"), (senior, "other", "say-why"),
        (table.signer(table.world.cast.scrub), "emergency", "second-may-not"),
    ):  # fmt: skip
        with pytest.raises(Refusal) as refused:
            case_close_by_exception(by=table.by, case=table.case, senior=signer, reason=reason, at=NOW)
        assert refused.value.code == code
    with pytest.raises(NotAllowed):
        case_close_by_exception(
            by=table.by, case=table.case, senior=table.signer(table.by), reason="emergency", at=NOW
        )
    closing = case_close_by_exception(by=table.by, case=table.case, senior=senior, reason="emergency", at=NOW)
    assert closing.senior == table.world.cast.quality and len(closing.waited) == 2
    assert closing.signature.meaning == "closed" and closing.waited[0] in closing.signature.content
    table.case.refresh_from_db()
    assert table.case.status == "closed" and not Outcome.objects.exists()
    # What is found out later is taken down, marked, and learnt from too.
    late = fate_record(by=table.by, brought=table.case.brought.get(), fate="implanted", at=NOW)
    assert late.marks.filter(kind=MarkKind.LATE).exists() and Outcome.objects.get().slot == "femoral"
    assert MarkKind.EXCEPTION in [mark.kind for mark in chase_list(table.world.site)]


def test_nothing_open_is_no_exception(table: Table) -> None:
    table.counted()
    with pytest.raises(Refusal) as refused:
        case_close_by_exception(
            by=table.by,
            case=table.case,
            senior=table.signer(table.world.cast.quality),
            reason="emergency",
            at=NOW,
        )
    assert refused.value.code == "nothing-open"


def test_used_packs_go_with_what_they_lack_and_unopened_ones_as_they_came(table: Table) -> None:
    used, unopened = table.a_pack(), table.a_pack("blocks-small-01", "blocks-small", opened=False)
    trolley = Place.objects.create(site=table.world.site, code="DT", name="Dirty trolley", kind="trolley")
    line = used.set.version.lines.get(number=2)
    lacking = Lacking(used.pk, line, 1, "missing")
    rows = used_sets_send(
        by=table.by, case=table.case, packs=[Sent(used, [lacking]), Sent(unopened)], place=trolley, at=NOW
    )
    used.refresh_from_db()
    unopened.refresh_from_db()
    assert (used.state, used.place, unopened.state, unopened.place) == ("used", trolley, "issued", trolley)
    assert [row.returned_at is None for row in rows] == [True, False]
    assert Shortfall.objects.get().quantity == 1 and PackLine.objects.get(pack=used, line=line).present == 3
    assert [one.code for one in closing_waits(table.case)] == ["not-opened"]
    stranger = table.world.a_set("general", "general-02").packs.get()
    with pytest.raises(Refusal) as refused:
        used_sets_send(by=table.by, case=table.case, packs=[Sent(stranger)], at=NOW)
    assert refused.value.code == "not-with-this-case"
    with pytest.raises(Refusal):
        used_sets_send(by=table.by, case=table.case, packs=[Sent(used)], place=table.world.shelf, at=NOW)


def test_a_pack_fails_on_the_table_and_sterile_services_answer(table: Table) -> None:
    pack = table.a_pack(opened=False)
    spare, kept = (table.world.a_set("general", f"general-0{n}").packs.get() for n in (2, 3))
    table.world.a_set("general", "general-04", state="cleaned")
    other = table.world.a_case(hour=15)
    other.set_holds.create(
        set=kept.set, starts_at=NOW, ends_at=NOW + timedelta(hours=9), placed_at=NOW, placed_by=table.by
    )
    found = replacements(table.case, pack, at=NOW)
    assert [(one.pack, one.free) for one in found] == [(spare, True), (kept, False)]
    assert other.reference in found[1].kept
    failure = set_fail(by=table.by, case=table.case, pack=pack, cause="wet", wanted=spare, at=NOW)
    pack.refresh_from_db()
    assert pack.state == Pack.State.QUARANTINED
    steps = Move.objects.filter(pack=pack).order_by("-sequence")[:2]
    assert [(step.after, step.reason) for step in steps] == [("quarantined", "table-wet"), ("opened", "")]
    assert PackFor.objects.get(pack=pack).opened_at is not None
    assert table_failures(table.world.site) == [failure]
    with pytest.raises(Refusal) as twice:
        set_fail(by=table.by, case=table.case, pack=pack, cause="hole", at=NOW)
    assert twice.value.code == "failed-already"
    with pytest.raises(NotAllowed):
        set_fail_answer(by=table.by, failure=failure, answer="none", at=NOW)
    technician = table.world.cast.technician
    with pytest.raises(Refusal) as which:
        set_fail_answer(by=technician, failure=failure, answer="coming", at=NOW)
    assert which.value.code == "which-pack"
    set_fail_answer(by=technician, failure=failure, answer="coming", replacement=spare, words="5 min", at=NOW)
    assert table_failures(table.world.site) == []
    (shown,) = failures_of(table.case)
    assert (shown.answer, shown.replacement, shown.answered_by) == ("coming", spare, technician)
    with pytest.raises(Refusal) as late:
        set_fail_answer(by=technician, failure=failure, answer="none", at=NOW)
    assert late.value.code == "answered-already"
    assert not [one for one in closing_waits(table.case) if one.code == "packs-in-room"]


def test_the_exceptions_signature_is_bound_to_what_was_open(table: Table) -> None:
    from cases.usage.closing import exception_content

    closing = case_close_by_exception(
        by=table.by,
        case=table.case,
        senior=table.signer(table.world.cast.surgeon),
        reason="emergency",
        at=NOW,
    )
    content = exception_content(table.case, closing.reason, closing.words, closing.waited)
    assert holds(closing.signature, content)
    assert not holds(closing.signature, content | {"waits": []})
