"""The reorder list on paper: by supplier, with kinds, and nothing cut that decides what is ordered."""

from datetime import timedelta
from typing import Any

import pytest
from django.core.cache import cache
from django.urls import reverse
from django.utils import timezone

from cases.reorders.listing import reorder_list
from cases.reorders.sheet import paper_sheet, reorder_list_pdf
from cases.usage.fates import fate_record
from tests.cases.usage.conftest import Table
from tests.cases.usage.conftest import table as table  # noqa: F401
from tests.trays.symbols.rendering import texts
from tests.world import NOW, TODAY
from trays.loans.models_agreements import Agreement, AgreementLine
from trays.parties.models import Tenure
from trays.symbols.a4 import page_plan


@pytest.fixture
def listed(table: Table) -> Table:
    """A tibial was used that is only paid, and three knees ask for a femoral of which none is there."""
    cache.clear()
    world = table.world
    made = Agreement.objects.create(
        code="AG1", site=world.site, supplier=world.supplier, valid_from=TODAY - timedelta(days=100)
    )
    AgreementLine.objects.create(
        agreement=made, component=table.component("tibial"), quantity=1, replacement="bill_only"
    )
    brought = table.bring("tibial", tenure=Tenure.CONSIGNED)
    fate_record(by=table.by, brought=brought, fate="implanted", at=NOW)
    for n in range(3):
        world.a_case(
            predictions={"femoral": (1, 1), "tibial": (1, 1)}, day=TODAY + timedelta(days=7), hour=8 + 3 * n
        )
    return table


def text(pdf: bytes) -> str:
    return "\n".join(texts(pdf))


def test_it_tells_what_to_order_of_which_kind_and_why(listed: Table) -> None:
    found = reorder_list(site=listed.world.site, at=NOW)
    kinds = {line.kind for one in found.suppliers for line in one.lines}
    assert kinds == {"stock order", "bill only"}
    words = text(reorder_list_pdf(found))
    assert "Merrowfield" in words and "Reorder list" in words
    assert "pay 1, send 0" in words
    assert "Femoral component A, size 2, RIGHT" in words
    assert "GBP" not in words
    for line in (line for one in found.suppliers for line in one.lines):
        assert f"(01){line.gtin}" in words


def test_long_names_give_way_and_size_and_side_stay_whole(listed: Table) -> None:
    family = listed.world.families["femoral"]
    family.name = (
        "Stiel, zementfrei, hochpoliert, lateralisiert, mit Zentrierhülse für den Markraum und Gewinde"
    )
    family.save()
    words = text(reorder_list_pdf(reorder_list(site=listed.world.site, at=NOW)))
    assert "size 2, RIGHT" in words
    assert "…" in words


def test_many_lines_take_several_pages_and_each_row_stays_whole(listed: Table) -> None:
    for component in listed.world.components.values():
        component.units.filter(brought__isnull=True).delete()
    cache.clear()
    for n in range(20):
        listed.world.a_case(
            predictions={"femoral": (0, 3), "tibial": (0, 3), "patellar": (0, 3)}, sides=("left", "right"),
            day=TODAY + timedelta(days=3 + n % 4), hour=8 + n // 4,
        )  # fmt: skip
    found = reorder_list(site=listed.world.site, at=NOW)
    assert found.lines > 25
    assert len(page_plan(paper_sheet(found))) > 1


def test_the_page_gives_it_to_those_who_see_alerts(listed: Table, as_person: Any) -> None:
    assert timezone.now()
    answer = as_person("stores").get(reverse("reorder-paper"))
    assert answer.content.startswith(b"%PDF")
    assert as_person("scrub").get(reverse("reorder-paper")).status_code == 403
