"""A knee from the first count to the closed case: counted, implanted, sent away, signed, learnt, billed."""

from datetime import timedelta

import pytest

from cases.counts.signing import count_gaps
from cases.counts.state_gaps import SIGNATURES
from cases.forecasts.models import Outcome
from cases.reorders.uses import used_not_ordered
from cases.usage.bringing import unit_bring_in
from cases.usage.closing import case_close
from cases.usage.deciding import stop_moment_record
from cases.usage.fates import fate_record
from cases.usage.kinds import Sent
from cases.usage.models_record import Said
from cases.usage.queries import chase_list
from cases.usage.queries_record import closing_waits, packs_in_room, signings
from cases.usage.sending import used_sets_send
from cases.usage.signing import record_sign
from tests.cases.counts.theatre import a_theatre
from tests.cases.usage.conftest import Table, give_pins
from tests.world import World
from trays.instruments.models import Pack
from trays.ledger.queries import verify
from trays.parties.models import Tenure
from trays.stock.models import Pile, Unit
from trays.stock.verify import stock_faults
from trays.web.errors import Refusal


def test_from_the_first_count_to_the_closed_case(world: World) -> None:
    Pile.objects.all().delete()
    theatre = a_theatre(world, predictions={"femoral": (1, 1), "tibial": (1, 1)})
    table = Table(world, theatre.case)
    pack = table.a_pack(opened=False)
    theatre.bring_in(pack)
    theatre.whole_stage("First")
    at = theatre.now
    brought = []
    for slot in ("femoral", "tibial", "insert"):
        (unit,) = table.stock(slot, tenure=Tenure.CONSIGNED)
        brought.append(
            unit_bring_in(
                by=table.by, case=theatre.case, scanned=table.label(unit), at=at + timedelta(minutes=1)
            )
        )
    stop = stop_moment_record(by=table.by, construct=table.construct(), said=Said.values, at=at)
    assert (stop.complete, stop.fits) == (True, "allowed")
    for one in brought:
        fate_record(by=table.by, brought=one, fate="implanted", card="given", at=at + timedelta(minutes=9))
    theatre.whole_stage("Cavity")
    assert {one.code for one in closing_waits(theatre.case)} == {"packs-in-room", "stage-open"}
    theatre.whole_stage("Final")
    with pytest.raises(Refusal, match="still in the room"):
        case_close(by=table.by, case=theatre.case, at=theatre.now)
    rows = used_sets_send(
        by=table.by, case=theatre.case, packs=[Sent(row.pack) for row in packs_in_room(theatre.case)],
        at=theatre.now,
    )  # fmt: skip
    assert [row.pack_id for row in rows] == [pack.pk]
    give_pins(world)
    for role, person in (("scrub", world.cast.scrub), ("circulating", world.cast.circulating)):
        record_sign(by=table.by, case=theatre.case, role=role, signer=table.signer(person), at=theatre.now)
    case_close(by=table.by, case=theatre.case, at=theatre.now)

    theatre.case.refresh_from_db()
    assert theatre.case.status == "closed"
    assert {gap.code for gap in count_gaps(theatre.case)} <= set(SIGNATURES)
    assert all(one.holds for one in signings(theatre.case)) and chase_list(world.site) == []
    assert Pack.objects.get(pk=pack.pk).state == Pack.State.USED
    units = Unit.objects.filter(brought__in=brought)
    assert {(unit.state, unit.owner) for unit in units} == {("implanted", world.hospital)}
    assert sorted(Outcome.objects.values_list("slot", "predicted_rank")) == [
        ("femoral", 1), ("insert", None), ("tibial", 1),
    ]  # fmt: skip
    assert {use.brought.pk for use in used_not_ordered(site=world.site)} == {one.pk for one in brought}
    assert stock_faults() == [] and verify() == []
