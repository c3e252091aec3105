"""Signing the implant record on one screen: two people, each by badge and PIN, bound to what stands there."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection

from cases.usage.fates import fate_correct, fate_record
from cases.usage.models import Brought, MarkKind
from cases.usage.models_record import RecordSigning
from cases.usage.queries import chase_list
from cases.usage.queries_record import record_content, signings, unsigned
from cases.usage.signing import record_leave_unsigned, record_sign
from tests.cases.usage.conftest import PIN, Table
from tests.world import NOW
from trays.ledger.guards import install, registered, remove
from trays.staff.models import Person, Signature
from trays.staff.signing import MOST_WRONG, signer_named
from trays.web.errors import NotAllowed, Refusal


def sign(table: Table, who: str, role: str, **more: object) -> tuple[RecordSigning, ...]:
    person = getattr(table.world.cast, who)
    return record_sign(
        by=table.by,
        case=table.case,
        role=role,
        signer=table.signer(person),
        at=NOW,
        **more,  # type: ignore[arg-type]
    )


def test_both_nurses_sign_on_one_screen_and_the_first_session_stays(table: Table) -> None:
    fate_record(by=table.by, brought=table.bring("femoral"), fate="implanted", at=NOW)
    for who, role in (("circulating", "circulating"), ("scrub", "scrub"), ("surgeon", "surgeon")):
        (row,) = sign(table, who, role)
        assert (row.by, row.person.username) == (table.by, who)
    shown = signings(table.case)
    assert [(one.role, one.signed, one.holds, one.meaning) for one in shown] == [
        (role, True, True, "Recorded") for role in ("circulating", "scrub", "surgeon")
    ]
    assert [one.name for one in shown] == ["C. Circulating", "S. Scrub", "Ms Surgeon"]
    assert unsigned(table.case) == ()


def test_one_person_stands_under_a_record_once_and_signs_it_once(table: Table) -> None:
    sign(table, "scrub", "scrub")
    with pytest.raises(Refusal) as twice:
        sign(table, "scrub", "circulating")
    assert twice.value.code == "same-person"
    with pytest.raises(Refusal) as again:
        sign(table, "scrub", "scrub")
    assert again.value.code == "signed-already"


def test_a_change_of_the_record_shows_and_is_signed_anew(table: Table) -> None:
    first = fate_record(by=table.by, brought=table.bring("femoral"), fate="implanted", at=NOW)
    sign(table, "scrub", "scrub")
    fate_correct(by=table.by, brought=first, fate="wasted", why="dropped", at=NOW)
    (changed,) = signings(table.case)
    assert (changed.signed, changed.holds) == (True, False)
    sign(table, "scrub", "scrub")
    (shown,) = signings(table.case)
    assert shown.holds and RecordSigning.objects.filter(replaced_at=None).count() == 1


def test_a_row_altered_behind_the_programs_back_shows_in_every_signature(table: Table) -> None:
    brought = fate_record(by=table.by, brought=table.bring("femoral"), fate="implanted", at=NOW)
    sign(table, "scrub", "scrub")
    guards = [guard for guard in registered() if guard.table in ("cases_brought", "trays_signature")]
    changes: tuple[dict[str, object], ...] = (
        {"lot": "FALSE"}, {"raw": b"FALSE"}, {"fate_at": NOW + timedelta(minutes=1)}, {"card": "given"},
        {"override_reason": "r", "override_name": "n"}, {"component": table.component("femoral", "3")},
    )  # fmt: skip
    for guard in guards:
        remove(connection, guard)
    for change in changes:
        before = Brought.objects.filter(pk=brought.pk).values(*change)[0]
        Brought.objects.filter(pk=brought.pk).update(**change)
        assert [one.holds for one in signings(table.case)] == [False], change
        Brought.objects.filter(pk=brought.pk).update(**{
            name + ("_id" if name == "component" else ""): value for name, value in before.items()
        })  # fmt: skip
        assert [one.holds for one in signings(table.case)] == [True], change
    text = Signature.objects.get().content
    Signature.objects.update(content=text.replace("implanted", "wasted"))
    assert [one.holds for one in signings(table.case)] == [False]
    install(connection)


def test_both_sides_are_two_records_signed_at_once(table: Table) -> None:
    table.case = table.world.a_case(sides=("left", "right"), hour=14)
    rows = sign(table, "scrub", "scrub")
    assert [row.construct.side for row in rows] == ["left", "right"]
    left, right = (table.construct(side) for side in ("left", "right"))
    table.bring("femoral", side="left")
    assert [one.holds for one in signings(table.case)] == [False, True]
    assert record_content(left)["brought"] and not record_content(right)["brought"]
    assert [(one.side, role) for one, role in unsigned(table.case)] == [
        ("left", "scrub"), ("left", "circulating"), ("right", "circulating"),
    ]  # fmt: skip


def test_ten_wrong_pins_lock_the_person_and_not_the_case(table: Table) -> None:
    scrub = table.world.cast.scrub
    for _time in range(MOST_WRONG):
        with pytest.raises(NotAllowed):
            signer_named(name=scrub.username, pin="9" * 5)
    with pytest.raises(NotAllowed) as locked:
        signer_named(name=scrub.username, pin=PIN)
    assert locked.value.code == "signing-locked"
    named = record_leave_unsigned(
        by=table.by, case=table.case, role="scrub", name="", person=scrub, why="signing locked", at=NOW
    )
    assert named[0].signature is None and [one.holds for one in signings(table.case)] == [None]
    sign(table, "circulating", "circulating")
    assert [mark.kind for mark in chase_list(table.world.site)] == [MarkKind.UNSIGNED]
    Person.objects.filter(pk=scrub.pk).update(wrong_pins=0)
    sign(table, "scrub", "scrub")
    assert chase_list(table.world.site) == [] and unsigned(table.case) == ()


def test_whose_role_does_not_include_it_is_named_and_not_signed(table: Table) -> None:
    (row,) = sign(table, "quality", "scrub")
    assert row.signature is None and "role" in row.unsigned_why
    (mark,) = chase_list(table.world.site)
    assert mark.words.startswith("scrub Q. Quality")


def test_signing_is_done_once_and_by_those_in_theatre_only(table: Table) -> None:
    key = uuid4()
    assert sign(table, "scrub", "scrub", client_key=key) == sign(table, "scrub", "scrub", client_key=key)
    with pytest.raises(NotAllowed):
        record_sign(
            by=table.world.cast.stores, case=table.case, role="circulating", at=NOW,
            signer=table.signer(table.world.cast.circulating),
        )  # fmt: skip
