"""A site's own stock and its printers' offset; and the preview, which is the page that is printed."""

from __future__ import annotations

import io
import re
from typing import Any

import numpy
import pytest
from django.urls import reverse
from PIL import Image

from tests.trays.symbols import decoders, rendering
from tests.world import NOW, World
from trays.identifiers import ours
from trays.labels.models import LabelPaper, LabelRun
from trays.labels.services import labels_print
from trays.ledger.models import Event
from trays.places.models import Place

GLN = ours.gln("9521234", "31")
ROLL = {
    "code": "bin-roll", "name": "Bin roll, 80 × 40 mm", "label_width": "80", "label_height": "40",
    "copy_width": "0", "copy_height": "0", "page_width": "0", "page_height": "0", "columns": "1", "rows": "1",
    "left": "0", "top": "0", "gap_x": "0", "gap_y": "0", "shift_x": "0", "shift_y": "0",
}  # fmt: skip
SHEET = ROLL | {
    "code": "a4-10", "name": "A4, 2 × 5", "sheet": "on", "label_width": "99", "label_height": "57",
    "page_width": "210", "page_height": "297", "columns": "2", "rows": "5", "left": "5", "top": "6",
}  # fmt: skip


@pytest.fixture
def shelf(world: World) -> Place:
    world.shelf.gln, world.shelf.extension = GLN, "S1"
    world.shelf.save()
    return world.shelf


def add(client: Any, data: dict[str, str]) -> Any:
    return client.post(reverse("label-paper-new") + "?site=larkmere", data)


@pytest.mark.parametrize("data", [ROLL, SHEET], ids=["roll", "sheet"])
def test_a_site_adds_its_own_stock_and_prints_on_it(
    world: World, as_person: Any, shelf: Place, data: dict[str, str]
) -> None:
    client = as_person("stores")
    assert add(client, data).status_code == 303
    assert Event.objects.get(verb="label_stock.add").actor == world.cast.stores
    page = client.get(reverse("labels"), {"kind": "shelf"}).content.decode()
    assert data["name"] in page and data["name"] in client.get(reverse("label-papers")).content.decode()
    name = data["code"] if "sheet" in data else f"{data['code']}-203"
    made = labels_print(by=world.cast.stores, kind="shelf", ids=[shelf.pk], stock=name, at=NOW)
    dpi = 300 if "sheet" in data else 203
    wide, high = (data["page_width"], data["page_height"]) if "sheet" in data else ("80", "40")
    page_dots = rendering.pages(made.pdf, dpi)[0]
    assert page_dots.shape == (round(float(high) * dpi / 25.4), round(float(wide) * dpi / 25.4))
    assert "]d2" in {seen.identifier for seen in rendering.read(page_dots)}


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"label_width": "9"}, "10"),
        ({"label_width": "wide"}, "number"),
        ({"label_width": "1e9"}, "digits"),
        ({"shift_x": "11"}, "10"),
        ({"code": "My Roll"}, "Small letters"),
        ({"code": ""}, "required"),
        ({"copy_width": "80", "copy_height": "10"}, "leave nothing"),
        ({"copy_width": "20", "copy_height": "21"}, "higher than the label"),
        ({"sheet": "on", "page_width": "210", "page_height": "297", "columns": "3"}, "more than the sheet"),
        ({"sheet": "on"}, "more than the sheet"),
    ],
)
def test_lengths_that_cannot_be_are_told_and_nothing_is_saved(
    world: World, as_person: Any, changes: dict[str, str], words: str
) -> None:
    answer = add(as_person("stores"), ROLL | changes)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert not LabelPaper.objects.exists() and not Event.objects.filter(verb="label_stock.add").exists()


def test_the_same_code_twice_is_told(world: World, as_person: Any) -> None:
    client = as_person("stores")
    assert add(client, ROLL).status_code == 303
    assert add(client, ROLL).status_code == 422
    assert LabelPaper.objects.count() == 1


def test_a_common_stock_takes_the_offset_that_a_site_has_measured(
    world: World, as_person: Any, shelf: Place
) -> None:
    client = as_person("stores")
    page = client.get(reverse("label-paper-new"), {"site": "larkmere", "like": "roll"}).content.decode()
    assert re.search(r'name="code"[^>]* value="roll"|value="roll"[^>]* name="code"', page)
    assert re.search(r'name="label_width"[^>]* value="100|value="100[^>]* name="label_width"', page)

    def seen() -> Any:
        made = labels_print(by=world.cast.stores, kind="shelf", ids=[shelf.pk], stock="roll-203", at=NOW)
        return next(
            one for one in rendering.read(rendering.pages(made.pdf, 203)[0]) if one.identifier == "]d2"
        )

    before = seen()
    lengths = {"code": "roll", "label_width": "100", "label_height": "50", "shift_x": "1.5", "shift_y": "-1"}
    assert add(client, ROLL | lengths).status_code == 303
    after = seen()
    assert (after.x - before.x, after.y - before.y) == (12, -8)
    paper = LabelPaper.objects.get()
    change = client.post(reverse("label-paper", args=[paper.pk]), ROLL | lengths | {"shift_x": "0"})
    assert change.status_code == 303 and Event.objects.filter(verb="label_stock.change").exists()
    assert seen().x == before.x


def test_stock_of_one_site_is_none_of_another_s(world: World, as_person: Any) -> None:
    paper = LabelPaper.objects.create(
        site=world.far_site, code="far", name="Far", label_width=80, label_height=40
    )
    client = as_person("stores")
    assert client.get(reverse("label-paper", args=[paper.pk])).status_code == 404
    assert add(as_person("scrub"), ROLL).status_code == 403
    assert "Far" not in client.get(reverse("label-papers")).content.decode()


# The preview


def look(client: Any, ids: list[int], **changes: Any) -> Any:
    data = {"kind": "shelf", "site": "larkmere", "stock": "roll", "dpi": "203", "ids": ids, "act": "preview"}
    return client.post(reverse("labels-pdf"), data | changes)


def pictures(client: Any, page: str) -> list[rendering.Dots]:
    urls = [part.split('"')[0].replace("&amp;", "&") for part in page.split('<img src="')[1:]]
    found = []
    for url in urls:
        answer = client.get(url)
        assert answer["Content-Type"] == "image/png"
        found.append(numpy.asarray(Image.open(io.BytesIO(answer.content)).convert("L")))
    return found


@pytest.mark.parametrize(
    ("stock", "dpi", "carrier"),
    [("roll", 203, "datamatrix"), ("roll", 600, "gs1-128"), ("a4", 300, "datamatrix")],
)
def test_the_preview_is_the_page_that_is_printed_dot_for_dot(
    world: World, as_person: Any, shelf: Place, stock: str, dpi: int, carrier: str
) -> None:
    client = as_person("stores")
    changes = {"stock": stock, "dpi": str(dpi), "carrier": carrier, "start": "2" if stock == "a4" else ""}
    answer = look(client, [shelf.pk], **changes)
    assert answer.status_code == 200
    (shown,) = pictures(client, answer.content.decode())
    printed = client.post(
        reverse("labels-pdf"),
        {"kind": "shelf", "site": "larkmere", "ids": [shelf.pk], **changes},
    )
    page = rendering.pages(printed.content, dpi)[0]
    assert shown.shape == page.shape and numpy.array_equal(shown, page)
    assert {one.text for one in rendering.read(shown)} == {ours.place(GLN, "S1")}


def test_another_renderer_paints_the_same_symbols_as_the_preview(
    world: World, as_person: Any, shelf: Place
) -> None:
    decoders.need_second_decoder()
    client = as_person("stores")
    (shown,) = pictures(client, look(client, [shelf.pk]).content.decode())
    made = labels_print(by=world.cast.stores, kind="shelf", ids=[shelf.pk], stock="roll-203", at=NOW)
    (painted,) = decoders.by_poppler(made.pdf, 203)
    assert painted.shape == shown.shape
    for one in rendering.read(shown):
        wide = 60 if one.identifier == "]d2" else 500
        area = (slice(one.y, one.y + 40), slice(one.x, one.x + wide))
        assert ((shown[area] < 128) == (painted[area] < 128)).all()


def test_looking_prints_and_records_nothing_and_keeps_the_ticks(
    world: World, as_person: Any, shelf: Place
) -> None:
    page = look(as_person("stores"), [shelf.pk]).content.decode()
    assert "Nothing was printed or recorded." in page and "X 0.375 mm" in page
    assert f'value="{shelf.pk}" aria-label="{shelf.code}" checked' in page
    assert not LabelRun.objects.exists() and not Event.objects.filter(verb="label.print").exists()


def test_a_preview_of_what_gets_no_label_is_told(world: World, as_person: Any) -> None:
    answer = look(as_person("stores"), [world.shelf.pk])
    assert answer.status_code == 422 and "no location number" in answer.content.decode()


@pytest.mark.parametrize("query", ["?page=7", "?site=nowhere", "?site=fennside"])
def test_a_picture_that_is_not_there_is_not_found(
    world: World, as_person: Any, shelf: Place, query: str
) -> None:
    url = reverse("labels-preview", args=[shelf.pk, "shelf", "roll-203"])
    assert as_person("stores").get(url + query).status_code == 404
    assert as_person("stores").get(url + "?with=x,,9&start=y&page=z").status_code == 200


def test_letters_that_will_not_print_are_told_before(world: World, as_person: Any, shelf: Place) -> None:
    Place.objects.filter(pk=shelf.pk).update(name="Regal 骨")
    page = as_person("stores").get(reverse("labels"), {"kind": "shelf"}).content.decode()
    assert "prints □ or wrongly for: 骨" in page
