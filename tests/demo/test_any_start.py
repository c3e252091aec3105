"""What the demo shows whenever it is started: each word has its cases, each stage of a loan its loan."""

import os
from collections import Counter
from datetime import UTC, datetime

import pytest
from django.db import transaction

from cases.desks.demo import world_ready
from cases.readiness.assess import horizon
from trays.ledger.queries import verify
from trays.loans.models import Loan, LoanStep
from trays.loans.queries import late_or_due
from trays.loans.queries_agreements import against_agreement, counts_due
from trays.parties.models import Site
from trays.stock.verify import stock_faults

# A Sunday, and the Friday before summer time ends; in the long form two working days as well.
STARTS = (datetime(2026, 12, 6, 9, 0, tzinfo=UTC), datetime(2026, 10, 23, 8, 0, tzinfo=UTC))
if os.environ.get("TRAYSPAN_LONG") == "1":
    STARTS += (datetime(2026, 12, 2, 12, 0, tzinfo=UTC), datetime(2026, 12, 4, 16, 30, tzinfo=UTC))


@pytest.fixture(scope="module", params=STARTS, ids=lambda at: f"{at:%a-%d-%b}")
def started(request, django_db_setup, django_db_blocker):
    with django_db_blocker.unblock(), transaction.atomic():
        world_ready(at=request.param)
        yield request.param
        transaction.set_rollback(True)


@pytest.fixture
def at(started, db):
    return started


@pytest.mark.slow
def test_every_word_has_its_cases_and_most_are_covered(at):
    found: Counter[str] = Counter()
    reasons = []
    for site in Site.objects.order_by("code"):
        answer = horizon(site=site, at=at)
        assert all(verdict.fault == "" for verdict in answer.verdicts.values())
        found.update(str(verdict.on_site.word) for verdict in answer.verdicts.values())
        reasons += [
            (verdict.reference, " ".join(verdict.reasons))
            for verdict in answer.verdicts.values()
            if verdict.on_site.word != "covered"
        ]
    told = dict(reasons)
    assert found["covered"] >= 48
    assert 3 <= found["thin"] <= 7
    assert 2 <= found["short"] <= 5
    assert found["unknown"] == 3
    assert "Femoral 9 RIGHT" in told["LK-0212"]
    assert "LK-0411" in told["LK-0431"]
    assert "Stem 9" in told["LK-0321"]
    assert "expires" in told["LK-0812"]
    assert "Femoral blocks, small" in told["LK-0912"]
    assert "no fit rule" in told["LK-0613"]


@pytest.mark.slow
def test_there_is_a_loan_at_each_stage_and_one_is_seen_to_be_late(at):
    site = Site.objects.get(code="larkmere")
    assert Counter(Loan.objects.values_list("status", flat=True)) == {
        "asked": 1, "confirmed": 1, "arrived": 1, "returned": 1, "closed": 1, "cancelled": 1,
    }  # fmt: skip
    late = [one for one in late_or_due(site=site, at=at) if one.late]
    assert [one.status for one in late] == ["confirmed"]
    assert not LoanStep.objects.filter(recorded_at__gt=at).exists()
    assert stock_faults() == []
    assert verify() == []
    due = {one.agreement.code: one.late for one in counts_due(site=site, at=at)}
    assert due == {"CA-LK-M": True, "CA-LK-T": False}
    lines = against_agreement(site=site, at=at)
    assert any(one.missing for one in lines) and any(one.to_exchange for one in lines)
    assert all(one.price is not None and one.price.source == "agreement" for one in lines if one.agreed)
