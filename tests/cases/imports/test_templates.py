"""Each kind's template can be handed in as it is, and what it says is what happens.

The examples of the templates belong together; the rows they lean on (a hospital, a surgeon, the other
sizes) are laid before them. Everything goes through the same folder import as a hospital's own files.
"""

import csv
import io
from datetime import UTC, datetime

import pytest
from django.conf import settings
from openpyxl import load_workbook

from cases.bookings.models import Case, Prediction
from cases.desks.folder import folder_import
from cases.desks.imports import KINDS
from cases.reservations.models import Hold, SetHold
from trays.exchange.models import ImportRun
from trays.exchange.templates import guide_rows, template_csv, template_xlsx
from trays.ledger.queries import verify
from trays.staff.models import Person
from trays.stock.verify import stock_faults

AT = datetime(2026, 12, 1, 9, 0, tzinfo=UTC)

# What the examples lean on: rows that come before the template's own, by kind.
BEFORE: dict[str, list[dict[str, str]]] = {
    "parties": [{"code": "loc", "name": "Hospital", "kind": "hospital", "gln": ""}],
    "people": [
        {"username": "thornby-vale", "name": "Ms T", "role": "surgeon", "site": "larkmere", "supplier": ""}
    ],
    "places": [
        {"code": "T1", "name": "Theatre", "kind": "theatre", "gln": "", "extension": ""},
        {"code": "S-A", "name": "Bay", "kind": "shelf", "gln": "", "extension": ""},
    ],
    "families": [
        {"code": "mk-tibial", "name": "Tibial", "slot": "tibial", "sided": "no"},
        {"code": "soft", "name": "Soft goods", "kind": "consumable", "slot": "", "sided": "no"},
    ],
    "components": [
        *(
            {
                "code": f"fem-{size}-{side}", "name": size, "size": size, "size_order": size,
                "side": side, "gtin": "",
            }
            for size in "1234567"
            for side in ("left", "right")
            if (size, side) != ("5", "left")
        ),
        *(
            {
                "code": f"tib-{size}", "name": size, "family": "mk-tibial", "size": size, "size_order": size,
                "side": "none", "gtin": "",
            }
            for size in "456"
        ),
        {
            "code": "swab-10", "name": "Swabs", "family": "soft", "size": "", "size_order": "1", "side": "",
            "gtin": "",
        },
    ],
    "set-designs": [
        {"code": "kn-blk-s", "name": "Small", "asset_type": ""},
        {"code": "kn-blk-l", "name": "Large", "asset_type": ""},
    ],
    # With the example they are one whole template.
    "count-templates": [
        {"part": "template", "number": "1", "mark": "", "word": "Ours", "kind": "", "when": ""},
        {"part": "stage", "number": "2", "mark": "2", "word": "Final count", "kind": "final", "when": ""},
        {
            "part": "class", "number": "1", "mark": "", "word": "Soft goods", "kind": "soft", "when": "",
            "stages": "1|2",
        },
        {
            "part": "step", "number": "1", "mark": "", "word": "Tell the surgeon", "kind": "tell",
            "when": "always",
        },
    ],
    "plan-slots": [
        {"number": "1", "code": "femoral", "name": "Femoral", "families": "mk-femoral-cr", "fits": ""}
    ],
}  # fmt: skip


def as_lines(kind):
    return list(csv.DictReader(io.StringIO(template_csv(kind).decode("utf-8-sig"))))


@pytest.mark.django_db
def test_the_templates_together_are_a_small_world(tmp_path):
    keeper = Person.objects.create(username="keeper", name="K", is_superuser=True, password="!")
    for kind in KINDS:
        (example,) = as_lines(kind)
        lines = [{**example, **before} for before in BEFORE.get(kind.code, [])] + [example]
        with (tmp_path / f"{kind.code}.csv").open("w", newline="") as file:
            writer = csv.DictWriter(file, fieldnames=kind.names())
            writer.writeheader()
            writer.writerows(lines)
    answer = folder_import(folder=tmp_path, by=keeper, at=AT)
    assert answer.faults == []
    assert answer.kept
    assert ImportRun.objects.filter(state="applied").count() == len(KINDS)
    case = Case.objects.get(reference="LK-26-1187")
    assert [construct.side for construct in case.constructs.all()] == ["right"]
    newest = Prediction.objects.filter(slot__plan_slot__code="femoral").order_by("-made_at", "-pk")
    assert [(one.low_rank, one.high_rank) for one in newest] == [(3, 5), (4, 4)] or newest.count() == 2
    assert Hold.objects.filter(case=case).count() == 1
    assert SetHold.objects.filter(case=case).count() == 1
    assert verify() == []
    assert stock_faults() == []


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.code)
def test_each_workbook_has_the_same_row_and_a_guide_to_every_column(kind):
    book = load_workbook(io.BytesIO(template_xlsx(kind)))
    first, guide = book.worksheets
    heads, example = list(first.iter_rows(values_only=True))
    assert list(heads) == kind.names()
    assert ["" if value is None else value for value in example] == list(as_lines(kind)[0].values())
    assert [row[0].value for row in guide.iter_rows(min_row=2)] == kind.names()
    for name, _needed, form, about in guide_rows(kind):
        assert form, name
        assert about, name


def test_every_kind_has_its_own_code_and_title():
    assert len({kind.code for kind in KINDS}) == len(KINDS)
    assert len({str(kind.title) for kind in KINDS}) == len(KINDS)


def test_the_page_on_files_names_every_kind():
    text = (settings.BASE_DIR / "docs" / "imports.md").read_text()
    assert [kind.code for kind in KINDS if f"`{kind.code}`" not in text] == []
