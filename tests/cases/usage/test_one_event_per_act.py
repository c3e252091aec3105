"""Each act in theatre writes exactly one event; no word in it tells whose case it was or who was there."""

from collections.abc import Callable
from typing import Any

import pytest

from cases.usage import (
    avoiding,
    bringing,
    closing,
    deciding,
    exempting,
    failing,
    fates,
    marking,
    sending,
    signing,
)
from cases.usage.kinds import Override, Scanned, Sent
from cases.usage.models import Brought, Mark
from cases.usage.models_closing import SetFailure
from tests.cases.usage.conftest import Table
from tests.trays.ledger.acts import left_out, verbs_of, writes_one_event
from tests.world import NOW
from trays.catalogue.models import Family
from trays.instruments.models import Pack
from trays.stock.models import Unit
from trays.stock.verify import stock_faults

# Halves that run inside an act; and what only looks or draws.
NO_WHOLE_ACT = {
    "taken",
    "open_within",
    "mark_within",
    "right_marked",
    "unsigned_mark",
    "out_of_quarantine",
    "box_scan",
    "calls",
}

WORDS = "Screw, long, of a patient’s own choice"


def case(t: Table) -> dict[str, Any]:
    return {"by": t.by, "case": t.case, "at": NOW}


def brought(t: Table) -> Brought:
    return Brought.objects.select_related("case__site", "case__list").order_by("-pk")[0]


def pack(t: Table) -> Pack:
    return Pack.objects.select_related("set__site").get(set__code="general-01")


def override(t: Table) -> Override:
    return Override(WORDS, t.world.cast.surgeon.name, t.world.cast.surgeon)


# What each act is called with, after what must have been done before it.
ACTS: dict[str, tuple[Callable[[Table], Any], tuple[str, ...]]] = {
    "unit_bring_in": (
        lambda t: bringing.unit_bring_in(
            **case(t), scanned=t.label(Unit.objects.order_by("pk")[0]), override=override(t), opened=False
        ),
        (),
    ),
    "box_take_down": (
        lambda t: bringing.box_take_down(**case(t), scanned=Scanned(raw=b"?", described=WORDS)), ()
    ),
    "unit_open": (lambda t: bringing.unit_open(by=t.by, brought=brought(t), at=NOW), ("unit_bring_in",)),
    "brought_place": (
        lambda t: bringing.brought_place(
            by=t.by, brought=brought(t), construct=t.construct(), at=NOW,
            slot=t.construct().slots.order_by("-pk")[0],
        ),
        ("box_take_down",),
    ),
    "fate_record": (
        lambda t: fates.fate_record(
            by=t.by, brought=brought(t), fate="wasted", why="other", why_words=WORDS, at=NOW
        ),
        ("unit_bring_in",),
    ),
    "fate_correct": (
        lambda t: fates.fate_correct(by=t.by, brought=brought(t), fate="implanted", at=NOW), ("fate_record",)
    ),
    "card_record": (
        lambda t: fates.card_record(by=t.by, brought=brought(t), card="given", at=NOW), ("fate_correct",)
    ),
    "stop_moment_record": (
        lambda t: deciding.stop_moment_record(
            by=t.by, construct=t.construct(), said=["side"], note=WORDS, at=NOW
        ),
        (),
    ),
    "decision_record": (
        lambda t: deciding.decision_record(
            **case(t), construct=t.construct(), surgeon_name="Ms Surgeon", reason=WORDS
        ),
        ("against_the_rules",),
    ),
    "explant_record": (
        lambda t: deciding.explant_record(**case(t), construct=t.construct(), what=WORDS, reason=WORDS), ()
    ),
    "set_fail": (lambda t: failing.set_fail(**case(t), pack=pack(t), cause="other", words=WORDS), ("pack",)),
    "set_fail_answer": (
        lambda t: failing.set_fail_answer(
            by=t.world.cast.technician, failure=SetFailure.objects.get(), answer="none", words=WORDS, at=NOW
        ),
        ("set_fail",),
    ),
    "record_sign": (
        lambda t: signing.record_sign(**case(t), role="scrub", signer=t.signer(t.world.cast.scrub)), ()
    ),
    "record_leave_unsigned": (
        lambda t: signing.record_leave_unsigned(**case(t), role="scrub", name="S. Scrub", why=WORDS), ()
    ),
    "used_sets_send": (lambda t: sending.used_sets_send(**case(t), packs=[Sent(pack(t))]), ("pack",)),
    "case_close": (lambda t: closing.case_close(**case(t)), ("counted", "implanted")),
    "case_close_by_exception": (
        lambda t: closing.case_close_by_exception(
            **case(t), senior=t.signer(t.world.cast.quality), reason="other", words=WORDS
        ),
        ("unit_bring_in",),
    ),
    "mark_clear": (
        lambda t: marking.mark_clear(by=t.by, mark=Mark.objects.all()[0], words=WORDS, at=NOW),
        ("box_take_down",),
    ),
    "materials_set": (
        lambda t: avoiding.materials_set(**case(t), materials=["CoCr"]), ("material",)
    ),
    "card_exempt_set": (
        lambda t: exempting.card_exempt_set(
            by=t.world.cast.quality, site=t.world.site, slots=["patellar"], at=NOW
        ),
        (),
    ),
}  # fmt: skip


def ready(table: Table, before: tuple[str, ...]) -> None:
    for name in before:
        if name == "pack":
            table.a_pack()
        elif name == "material":
            Family.objects.filter(slot="femoral").update(material="CoCr")
        elif name == "counted":
            table.counted()
        elif name == "implanted":
            fates.fate_record(by=table.by, brought=table.bring("femoral"), fate="implanted", at=NOW)
        elif name == "against_the_rules":
            table.bring("tibial", "1")
            table.bring("femoral", "4", override=override(table))
        else:
            act, earlier = ACTS[name]
            ready(table, earlier)
            act(table)


def test_every_act_is_tried_here() -> None:
    assert left_out(verbs_of("cases.usage"), tried=ACTS, halves=NO_WHOLE_ACT) == ([], set())


@pytest.mark.parametrize("name", ACTS)
def test_an_act_writes_one_event_that_names_nobody_and_stock_stays_the_sum_of_its_lines(
    name: str, table: Table
) -> None:
    for slot in ("tibial", "femoral"):
        table.stock(slot)
    act, before = ACTS[name]
    ready(table, before)
    people = [person.name for person in table.world.cast.by_role().values()]
    writes_one_event(lambda: act(table), nameless=(table.case.reference, WORDS, *people))
    assert stock_faults() == []
