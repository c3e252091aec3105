"""What the demo shows: most cases are covered, and each word has its cases, whenever it is started."""

from collections import Counter
from datetime import UTC, datetime

import pytest

from cases.desks.demo import world_ready
from cases.readiness.assess import horizon
from trays.parties.models import Site

# A Wednesday at noon, a Friday afternoon, a Sunday, and the day on which summer time ends.
STARTS = (
    datetime(2026, 12, 2, 12, 0, tzinfo=UTC),
    datetime(2026, 12, 4, 16, 30, tzinfo=UTC),
    datetime(2026, 12, 6, 9, 0, tzinfo=UTC),
    datetime(2026, 10, 23, 8, 0, tzinfo=UTC),
)


@pytest.mark.slow
@pytest.mark.django_db
@pytest.mark.parametrize("at", STARTS, ids=lambda at: f"{at:%a-%d-%b}")
def test_every_word_has_its_cases_and_most_are_covered(at):
    world_ready(at=at)
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
