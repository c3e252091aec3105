"""Eighteen months of outcomes come with the demo, and what they teach can be seen."""

from datetime import UTC, datetime, timedelta

import pytest

from cases.desks.demo import world_ready
from cases.forecasts.models import Outcome
from cases.forecasts.queries import error_laws
from cases.readiness.errors_picture import mean_error
from trays.parties.models import Site
from trays.staff.models import Person

AT = datetime(2026, 12, 2, 12, 0, tzinfo=UTC)


@pytest.mark.slow
@pytest.mark.django_db
def test_planners_differ_one_has_drifted_and_knees_errors_go_together():
    world_ready(at=AT)
    days = Outcome.objects.order_by("used_on").values_list("used_on", flat=True)
    assert (days.last() - days.first()) > timedelta(days=530)

    laws = error_laws(site=Site.objects.get(code="larkmere"), on=AT.date())
    strength, fitted = laws.strength
    assert fitted
    assert 10 < strength < 100

    def of(name, method="xray_template", slot="femoral"):
        return laws.of(slot, method, Person.objects.get(username=name).pk)

    drifted, sure = of("haldersley"), of("thornby-vale")
    assert mean_error(drifted.offsets) > 0.2
    assert abs(mean_error(sure.offsets)) < 0.15
    assert sure.offsets[3] > sure.table[3] + 0.03
    assert laws.pair("femoral", "tibial", "xray_template").used
    assert not laws.pair("cup", "stem", "xray_template").used
