"""The pages of loans: the list with its deadlines, one loan with its next act, coming and going by scan."""

from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from tests.trays.loans.conftest import Lending, fresh
from tests.trays.processing.http import questions, scan_on, signed_in, text_of
from tests.world import TODAY
from trays.identifiers.checkdigits import with_mod10
from trays.instruments.models import PackState
from trays.ledger.models import Event
from trays.loans.models import Loan
from trays.loans.ways import LoanStatus
from trays.places.models import Place
from trays.refusals.models import RefusedScan
from trays.stock.models import Unit, UnitState
from trays.stock.moving import lock_units, step_within

S = LoanStatus
GS = "\x1d"


@pytest.fixture
def now_lending(lending: Lending) -> Lending:
    """The same supplier, with everything happening about now: pages know no other time."""
    lending.at = timezone.now()
    return lending


@pytest.fixture
def client(now_lending: Lending) -> Client:
    return signed_in(now_lending.stores)


def asked(lending: Lending, days: float = 7, **more: Any) -> Loan:
    start = lending.at + timedelta(days=days)
    return lending.asked(needed_from=start, needed_until=start + timedelta(hours=2), **more)


def label(lending: Lending, size: str, lot: str = "LT-1") -> str:
    code = lending.world.component("tibial", size).pack_levels.get().code
    expires = (lending.at + timedelta(days=400)).strftime("%y%m%d")
    return f"01{code}17{expires}10{lot}"


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return text_of(answer).replace("<b>", "").replace("</b>", "")


def press(client: Client, address: str, **given: Any) -> Any:
    return client.post(address, given)


def test_the_list_has_the_earliest_deadline_first_and_says_what_is_late(
    client: Client, now_lending: Lending
) -> None:
    far = asked(now_lending, days=40)
    near = asked(now_lending, days=0.5)
    text = page(client, "/loans/")
    assert "2 loans are open. 1 is late." in text
    assert f"First: {near.number}, supplier confirms by" in text
    assert text.index(near.number, text.index("<tbody>")) < text.index(far.number, text.index("<tbody>"))
    assert "Late by" in text
    assert far.number not in page(client, "/loans/?which=late").split("<tbody>")[1]
    assert "No such loan." in page(client, "/loans/?which=ended")


def test_a_loan_is_asked_for_by_hand_and_what_was_typed_is_not_lost(
    client: Client, now_lending: Lending
) -> None:
    given = {"needed_from": "2027-03-01T09:00", "needed_until": "2027-03-01T11:00", "note": "Left side"}
    bad = press(client, "/loans/ask/", **given)
    assert bad.status_code == 422
    assert "Choose the supplier, or one of the offers." in text_of(bad)
    assert "Left side" in text_of(bad)
    good = press(client, "/loans/ask/", **given, offer=now_lending.offer.pk)
    loan = Loan.objects.get()
    assert good.headers["Location"] == f"/loans/{loan.pk}/"
    assert loan.needed_from.isoformat().startswith("2027-03-01T09:00")
    assert loan.sets.count() == 1


def test_a_unit_typed_off_its_label_waits_for_a_shelf(client: Client, now_lending: Lending) -> None:
    loan = asked(now_lending)
    later = (timezone.localtime(now_lending.at) + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")
    press(client, f"/loans/{loan.pk}/confirm/", arrives_at=later, supplier_reference="MF-9")
    typed = {
        "item": now_lending.world.component("tibial", "2").code, "lot": "LT-9", "count": 1,
        "condition": "good",
        "expires": (now_lending.at + timedelta(days=400)).date().isoformat(),
    }  # fmt: skip
    Place.objects.filter(site=now_lending.world.site, kind__in=("shelf", "store")).update(kind="theatre")
    answer = press(client, f"/loans/{loan.pk}/arrive/unit/", **typed)
    assert answer.status_code in {409, 422}
    assert "no shelf or store for sealed units" in text_of(answer)
    assert not Unit.objects.filter(lot="LT-9").exists()


def test_from_the_suppliers_word_to_the_closed_loan_by_the_pages_alone(
    client: Client, now_lending: Lending
) -> None:
    lending = now_lending
    loan = asked(lending)
    address = f"/loans/{loan.pk}/"
    assert "The supplier confirms" in page(client, address)
    later = (timezone.localtime(lending.at) + timedelta(days=1)).strftime("%Y-%m-%dT%H:%M")
    press(client, f"{address}confirm/", arrives_at=later, supplier_reference="MF-9")
    assert "It is here: take it in" in page(client, address)

    arrive = f"{address}arrive/"
    assert "1 set is not here yet. 2 sealed units are not here yet." in page(client, arrive)
    hall = lending.department.hall.pk
    press(client, f"{arrive}set/", loan_set=loan.sets.get().pk, code="MF-07", place=hall)
    assert "What you scan" not in page(client, arrive)
    scan_on(client, arrive, "S1")
    said = text_of(scan_on(client, arrive, label(lending, "2")))
    assert "in, at Implant store, shelf 1" in said and "1 of 1 have come" in said
    scan_on(client, arrive, label(lending, "3", "LT-2"))
    assert "All that was asked for is here." in page(client, arrive)

    text = page(client, address)
    assert "Check set MF-07" in text
    check = f"/loans/sets/{loan.sets.get().pk}/check/"
    whole = {"instructions": "on", "certificate": "on", "undamaged": "on", "weight": "6.2"}
    lines = {f"line_{line.pk}": line.quantity for line in loan.sets.get().set.version.lines.all()}
    assert "10.00 kg for one tray" in page(client, check)
    press(client, check, **whole, **lines, outcome="accepted")
    assert fresh(loan).status == S.CHECKED
    assert "go through sterile services like every other pack" in page(client, address)

    lending.to(loan, PackState.OPENED)
    (own,) = lock_units([loan.units.order_by("pk")[0].unit_id])
    step_within(units=[own], state=UnitState.IMPLANTED)
    assert "In use" in page(client, address)
    lending.cleaned(loan)
    assert "Count it out" in page(client, address)

    out = f"{address}count-out/"
    assert "1 sealed unit is still to be scanned." in page(client, out)
    assert "here." in text_of(scan_on(client, out, label(lending, "3", "LT-2")))
    assert "Every sealed unit is here or was used." in page(client, out)
    counted = {f"line_{loan.sets.get().pk}_{pk[5:]}": value for pk, value in lines.items()}
    press(client, f"{out}done/", **counted)
    assert "Everything that came is here or was used." in page(client, address)
    press(client, f"{address}return/", carrier_reference="C-1")
    assert "close the loan" in page(client, address)

    press(client, f"{address}charges/", kind="hire", quantity=1, amount="320.00", claim_number="INV-1")
    used = lending.world.component("tibial", "2").code
    press(client, f"{address}charges/", kind="used", item=used, quantity=1, amount="410.00")
    assert press(client, f"{address}close/").status_code == 422
    for charge in loan.charges.all():
        assert press(client, f"/loans/charges/{charge.pk}/accept/").status_code == 303
    assert loan.charges.get(kind="used").uses.get().use_key == f"unit-{own.pk}"
    press(client, f"{address}close/")
    assert fresh(loan).status == S.CLOSED
    text = page(client, address)
    assert "Closed." in text and "Next" not in text.split("</h1>")[1].split("The way")[0]
    assert loan.number in page(client, "/loans/?which=ended")


def test_a_used_charge_waits_until_its_use_is_on_record(client: Client, now_lending: Lending) -> None:
    lending = now_lending
    loan = lending.checked()
    lending.count_out(loan)
    lending.send_home(loan)
    item = lending.world.component("tibial", "2").code
    press(client, f"/loans/{loan.pk}/charges/", kind="used", item=item, quantity=1, amount="1")
    assert "0 uses on record and not paid, 1 claimed" in page(client, f"/loans/{loan.pk}/")
    charge = loan.charges.get()
    refused = press(client, f"/loans/charges/{charge.pk}/accept/")
    assert refused.status_code == 422
    assert "the use of 0 is on record" in text_of(refused)
    press(client, f"/loans/charges/{charge.pk}/refuse/", reason="counted-back")
    assert "Refused: it was counted back" in page(client, f"/loans/{loan.pk}/")


def test_a_set_is_taken_in_by_its_own_code_also_when_nobody_has_it_on_file(
    client: Client, now_lending: Lending
) -> None:
    lending = now_lending
    design = lending.world.designs["blocks-large"]
    design.asset_type = "9521234000013"
    design.save()
    loan = lending.confirmed()
    answer = text_of(scan_on(client, f"/loans/{loan.pk}/arrive/", f"8003{'0' + design.asset_type}MF07"))
    assert "not sterile, whatever its wrap says" in answer
    made = loan.sets.get().set
    assert (made.code, made.grai) == ("MF07", "09521234000013MF07")
    # The same label again is another set, and none is expected.
    answer = text_of(scan_on(client, f"/loans/{loan.pk}/arrive/", f"8003{'0' + design.asset_type}MF07"))
    assert "No set of this kind is expected" in answer
    assert RefusedScan.objects.filter(code="no-such-set-expected").exists()


def test_what_does_not_belong_is_refused_in_a_sentence_and_changes_nothing(
    client: Client, now_lending: Lending
) -> None:
    lending = now_lending
    loan = lending.confirmed()
    arrive = f"/loans/{loan.pk}/arrive/"
    events, units = Event.objects.count(), Unit.objects.count()
    expired = label(lending, "2").replace(
        (lending.at + timedelta(days=400)).strftime("%y%m%d"),
        (TODAY - timedelta(days=900)).strftime("%y%m%d"),
    )
    for code, said in (
        ("T1", "is no shelf of this site"),
        (expired, "use-by date on this label has passed"),
        (f"01{with_mod10('0952123499999')}10X", "No item with the code"),
    ):
        assert said in text_of(scan_on(client, arrive, code))
    assert (Event.objects.count(), Unit.objects.count()) == (events, units)


def test_one_box_read_twice_counts_once_and_another_like_it_a_moment_later_counts(
    client: Client, now_lending: Lending, monkeypatch: pytest.MonkeyPatch
) -> None:
    lending = now_lending
    loan = lending.confirmed()
    arrive = f"/loans/{loan.pk}/arrive/"
    scan_on(client, arrive, label(lending, "2"))
    assert "read twice" in text_of(scan_on(client, arrive, label(lending, "2")))
    assert loan.units.count() == 1
    monkeypatch.setattr("trays.loans.scanning.TWICE_SECONDS", 0.0)
    scan_on(client, arrive, label(lending, "2"))
    assert loan.units.count() == 2


def test_a_unit_that_did_not_come_with_the_loan_is_not_counted_home(
    client: Client, now_lending: Lending
) -> None:
    lending = now_lending
    loan = lending.checked()
    out = f"/loans/{loan.pk}/count-out/"
    assert "did not come with loan" in text_of(scan_on(client, out, label(lending, "2", "OTHER")))
    scan_on(client, out, label(lending, "2"))
    seen = loan.units.get(unit__component__size="2").pk
    text = page(client, out)
    assert "1 sealed unit is still to be scanned." in text
    press(client, f"{out}seen/", drop=seen)
    assert "2 sealed units are still to be scanned." in page(client, out)
    press(client, f"{out}seen/", unit=seen)
    assert "1 sealed unit is still to be scanned." in page(client, out)


def test_what_is_missing_is_told_before_it_goes_home(client: Client, now_lending: Lending) -> None:
    lending = now_lending
    loan = lending.checked()
    row = loan.sets.get()
    lines = {f"line_{row.pk}_{line.pk}": line.quantity for line in row.set.version.lines.all()}
    press(client, f"/loans/{loan.pk}/count-out/done/", **lines | {next(iter(lines)): 0})
    text = page(client, f"/loans/{loan.pk}/")
    assert "It differs by 4 from what came." in text
    assert "Cutting block: 0 of 2" in text and "is neither here nor used" in text
    refused = press(client, f"/loans/{loan.pk}/return/")
    assert refused.status_code == 422 and "Tell the supplier what differs" in text_of(refused)
    press(client, f"/loans/{loan.pk}/return/", told="on")
    assert fresh(loan).status == S.RETURNED


def test_a_check_that_is_not_whole_keeps_what_was_typed(client: Client, now_lending: Lending) -> None:
    lending = now_lending
    row = lending.arrived().sets.get()
    lines = {f"line_{line.pk}": line.quantity for line in row.set.version.lines.all()}
    given = {"instructions": "on", "weight": "6.2", "outcome": "accepted", "note": "Wet corner", **lines}
    refused = press(client, f"/loans/sets/{row.pk}/check/", **given)
    assert refused.status_code == 422
    text = text_of(refused)
    assert "no certificate of decontamination; something is damaged" in text and "Wet corner" in text
    press(client, f"/loans/sets/{row.pk}/check/", **given | {"outcome": "refused", "reason": "damaged"})
    assert "Refused: something is damaged" in page(client, f"/loans/{row.loan_id}/")


def test_a_loan_promised_too_late_says_so_before_the_day(client: Client, now_lending: Lending) -> None:
    loan = asked(now_lending)
    late = (timezone.localtime(loan.needed_from) - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")
    press(client, f"/loans/{loan.pk}/confirm/", arrives_at=late, supplier_reference="")
    assert "of working time too late" in page(client, f"/loans/{loan.pk}/")
    assert "1 is late." in page(client, "/loans/")


def test_ending_a_loan_needs_one_of_the_reasons(client: Client, now_lending: Lending) -> None:
    loan = asked(now_lending)
    assert press(client, f"/loans/{loan.pk}/end/", reason="because").status_code == 422
    press(client, f"/loans/{loan.pk}/end/", reason="supplier-declined")
    assert fresh(loan).status == S.REFUSED
    assert "Refused: the supplier cannot lend it." in page(client, f"/loans/{loan.pk}/")


def test_the_rules_of_deadlines_are_kept_with_their_day(client: Client, now_lending: Lending) -> None:
    assert "This site has decided nothing" in page(client, "/loans/rules/")
    values = {
        "confirm_hours": 8, "check_hours": 2, "unfamiliar_hours": 8, "process_hours": 16, "ready_hours": 3,
        "clean_hours": 8, "count_hours": 4, "return_days": 2, "close_days": 20, "soon_hours": 4,
    }  # fmt: skip
    assert press(client, "/loans/rules/", **values | {"process_hours": 900}).status_code == 422
    press(client, "/loans/rules/", **values)
    assert "This site has decided nothing" not in page(client, "/loans/rules/")
    loan = asked(now_lending)
    assert loan.number in page(client, "/loans/")


def test_pages_ask_as_many_questions_for_many_loans_as_for_one(client: Client, now_lending: Lending) -> None:
    lending = now_lending
    first = lending.processed()
    few = (questions(client, "/loans/"), questions(client, f"/loans/{first.pk}/"))
    for number in range(3):
        asked(lending, case_key=str(number))
    designs = [(lending.world.designs["blocks-small"], 1), (lending.world.designs["general"], 1)]
    lending.checked(offer=None, designs=designs, code="MF-11")
    many = (questions(client, "/loans/"), questions(client, f"/loans/{first.pk}/"))
    assert many == few
    assert few[0] <= 24 and few[1] <= 38


def test_sterile_services_may_take_in_and_check_but_not_ask_or_pay(now_lending: Lending) -> None:
    loan = now_lending.confirmed()
    theirs = signed_in(now_lending.world.cast.technician)
    assert theirs.get(f"/loans/{loan.pk}/arrive/").status_code == 200
    assert theirs.get("/loans/ask/").status_code == 403
    for address in ("confirm", "end", "charges", "close"):
        assert theirs.post(f"/loans/{loan.pk}/{address}/").status_code == 404
    stranger = signed_in(now_lending.world.cast.far_coordinator)
    assert stranger.get(f"/loans/{loan.pk}/").status_code == 404


def test_money_on_the_page_is_told_with_its_currency(client: Client, now_lending: Lending) -> None:
    loan = now_lending.checked()
    press(client, f"/loans/{loan.pk}/charges/", kind="hire", quantity=1, amount="400.00")
    refused = press(client, f"/loans/charges/{loan.charges.get().pk}/accept/")
    assert "Agreed were 320.00 GBP, claimed are 400.00 GBP; paid before: 0." in text_of(refused)
    assert loan.charges.get().amount == Decimal("400.00")
