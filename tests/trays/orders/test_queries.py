"""What is on order, what is promised for which day, and what was ordered for which cause."""

from datetime import timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests.trays.orders.conftest import Office
from tests.world import NOW, TODAY
from trays.orders.queries import expected, is_late, lines_for_causes, on_order, open_draft
from trays.orders.services import LineAnswer, order_confirm


def test_on_order_counts_drafts_too_and_expected_only_what_went_out(office: Office) -> None:
    site_id = office.world.site.pk
    office.draft(office.wish(1))
    office.approved(office.wish(2))
    office.sent(office.wish(4))
    office.sent(office.wish(8), kind="bill_only")
    assert on_order(site_id=site_id) == {office.femoral.pk: 7}
    (one,) = expected(site_id=site_id)
    assert (one.component_id, one.quantity, one.due_on) == (office.femoral.pk, 4, TODAY + timedelta(days=2))
    assert on_order(site_id=office.world.far_site.pk) == {}


def test_what_is_confirmed_is_what_is_expected_first_due_first(office: Office) -> None:
    late = office.sent(office.wish(3))
    soon = office.sent(office.wish(2, component=office.tibial))
    for order, pieces, days in ((late, 2, 9), (soon, 2, 1)):
        answers = [LineAnswer(office.line(order).pk, pieces, TODAY + timedelta(days=days))]
        order_confirm(by=office.stores, order=order, answers=answers, at=NOW)
    with CaptureQueriesContext(connection) as asked:
        found = expected(site_id=office.world.site.pk)
    assert len(asked) == 1
    assert [(one.order_number, one.quantity) for one in found] == [(soon.number, 2), (late.number, 2)]


def test_an_order_is_late_from_the_day_after_it_was_due(office: Office) -> None:
    order = office.sent()
    assert order.due_on is not None
    assert not is_late(order, order.due_on)
    assert is_late(order, order.due_on + timedelta(days=1))
    assert not is_late(office.draft(), order.due_on + timedelta(days=1))


def test_the_line_of_a_cause_and_the_draft_to_add_to_are_found(office: Office) -> None:
    order = office.draft(office.wish(2, cause="alert:7"))
    assert {cause: line.order for cause, line in lines_for_causes(["alert:7", "", "x"]).items()} == {
        "alert:7": order
    }
    given = {"site_id": order.site_id, "supplier_id": order.supplier_id, "currency": "GBP"}
    assert open_draft(kind="stock", **given) == order
    assert open_draft(kind="exchange", **given) is None
