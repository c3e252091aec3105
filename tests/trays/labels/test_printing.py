"""From rows to labels: what they carry, what is refused, who may, and what the record says."""

import base64
import re
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse

from cases.counts.services import count_sheets_make
from cases.picks.services import pick_list_make
from tests.trays.symbols import rendering
from tests.world import NOW, TODAY, World
from trays.catalogue.models import PackLevel
from trays.identifiers import gs1, ours
from trays.instruments.models import ContentsLine, InstrumentSet, Pack, PackLine, SetDesign
from trays.labels.kinds import LabelKind, PackLabel, PlainLabel, Refused, ShelfLabel, UnitLabel
from trays.labels.models import LabelRun
from trays.labels.queries import labels_of
from trays.labels.services import labels_print
from trays.ledger.models import Event
from trays.parties.models import Site
from trays.places.models import Place
from trays.processing.models_policy import Policy
from trays.staff.models import Person
from trays.stock.models import Pile, Unit
from trays.web.errors import NotAllowed, Refusal, Unreadable

GLN = ours.gln("9521234", "31")


@pytest.fixture
def packs(world: World) -> list[Pack]:
    """Two trays, the first with a number and short of a block; the second without a number."""
    made: InstrumentSet = world.a_set("general", "K-GEN-01", trays=2, short=[1], sterile_until=TODAY)
    first, second = made.packs.all()
    first.giai, first.round, first.load, first.weight_grams = "9521234P00001", 12, "S2-4471", 7940
    first.save()
    return [first, second]


@pytest.fixture
def shelf(world: World) -> Place:
    world.shelf.gln, world.shelf.extension = GLN, "S1"
    world.shelf.save()
    return world.shelf


def dull_unit(world: World, **changes: Any) -> Unit:
    (unit,) = world.unit(world.component("femoral", "3", side="right"), lot="MF1")
    Unit.objects.filter(pk=unit.pk).update(code_reads=False, **changes)
    return unit


def one(kind: LabelKind, world: World, pk: int) -> Any:
    (label,) = labels_of(kind, site_ids=[world.site.pk], ids=[pk])
    return label


def printed(world: World, kind: str, ids: list[int], stock: str = "roll-300", **changes: Any) -> Any:
    by = changes.pop("by", world.cast.technician)
    return labels_print(by=by, kind=kind, ids=ids, stock=stock, at=NOW, **changes)


def test_a_pack_s_label_carries_its_number_with_its_round_and_what_it_lacks(
    world: World, packs: list[Pack]
) -> None:
    label = one(LabelKind.PACK, world, packs[0].pk)
    assert isinstance(label, PackLabel)
    assert label.payload == ours.pack_label("9521234", "P00001", "12")
    assert label.number.endswith("-12") and label.tray == "tray 1 of 2" and label.load == "S2-4471"
    assert label.short_count == 1 and label.short == ("Cutting block",)
    assert label.sterile_until == "7 Dec 2026" and label.weight == "7.9 kg"


def test_a_pack_without_a_number_is_refused_with_its_reason(world: World, packs: list[Pack]) -> None:
    label = one(LabelKind.PACK, world, packs[1].pk)
    assert isinstance(label, Refused) and "no asset number" in label.why


@pytest.mark.parametrize(
    "state", [Pack.State.USED, Pack.State.OPENED, Pack.State.RECEIVED, Pack.State.REPAIR]
)
def test_a_pack_that_is_not_packed_gets_no_label_that_says_sterile(
    world: World, packs: list[Pack], state: str
) -> None:
    world.take_to([packs[0]], state)
    assert isinstance(one(LabelKind.PACK, world, packs[0].pk), Refused)


def test_a_quarantined_pack_s_label_is_allowed_but_marked(world: World, packs: list[Pack]) -> None:
    assert one(LabelKind.PACK, world, packs[0].pk).released
    world.take_to([packs[0]], Pack.State.QUARANTINED)
    assert not one(LabelKind.PACK, world, packs[0].pk).released
    made = printed(world, "pack", [packs[0].pk], "pack-roll-300")
    assert rendering.texts(made.pdf)[0].count("NOT RELEASED") == 3


def test_barrier_and_method_come_from_the_design_and_from_nowhere_else(
    world: World, packs: list[Pack]
) -> None:
    label = one(LabelKind.PACK, world, packs[0].pk)
    assert (label.barrier, label.method) == ("", "")
    SetDesign.objects.update(barrier="double", method="steam")
    label = one(LabelKind.PACK, world, packs[0].pk)
    assert (label.barrier, label.method) == ("double", "steam")


def test_where_sterility_ends_by_date_a_label_without_a_date_does_not_say_that_it_lasts(
    world: World, packs: list[Pack]
) -> None:
    Pack.objects.update(sterile_until=None)
    made = printed(world, "pack", [packs[0].pk], "pack-roll-300")
    assert "Sterile unless opened" in rendering.texts_at(made.pdf)
    Policy.objects.create(site=world.site, valid_from=TODAY - timedelta(days=400), shelf_life_days=180)
    made = printed(world, "pack", [packs[0].pk], "pack-roll-300")
    text = rendering.texts_at(made.pdf)
    assert "Sterile unless opened" not in text and "no end date" not in text
    assert "set at release" in text and text.count("end date: see record") == 2


def test_a_pack_of_one_piece_is_a_single_instrument_and_others_are_not(
    world: World, packs: list[Pack]
) -> None:
    def instruments() -> list[Any]:
        return list(labels_of(LabelKind.INSTRUMENT, site_ids=[world.site.pk]))

    assert instruments() == []
    lines = ContentsLine.objects.filter(version=packs[0].set.version, tray=packs[0].tray)
    kept = lines.order_by("pk")[0]
    PackLine.objects.filter(pack=packs[0]).exclude(line=kept).delete()
    lines.exclude(pk=kept.pk).delete()
    lines.update(quantity=1)
    (label,) = instruments()
    assert isinstance(label, PackLabel) and label.kind is LabelKind.INSTRUMENT
    assert label.row_id == packs[0].pk


@pytest.fixture
def loan(world: World) -> InstrumentSet:
    made: InstrumentSet = world.a_set("general", "L-01")
    InstrumentSet.objects.filter(pk=made.pk).update(
        tenure="loaned", grai=ours.asset_type("9521234", "17") + "L01"
    )
    Pack.objects.filter(set=made).update(container=True)
    return made


def test_a_set_on_loan_has_its_tag_and_a_container_its_label_with_the_holder_s_number(
    world: World, loan: InstrumentSet
) -> None:
    world.a_set("general", "K-GEN-09")
    for kind, head in ((LabelKind.TAG, "loan set"), (LabelKind.CONTAINER, "container of set")):
        (label,) = labels_of(kind, site_ids=[world.site.pk])
        assert isinstance(label, PlainLabel)
        assert (label.number, label.head) == ("L-01", head)
        assert gs1.parse(label.payload).value("8003") == "0" + ours.asset_type("9521234", "17") + "L01"
    InstrumentSet.objects.filter(pk=loan.pk).update(grai=None)
    (label,) = labels_of(LabelKind.TAG, site_ids=[world.site.pk])
    assert isinstance(label, Refused) and "GRAI" in label.why


def test_a_badge_is_printed_for_a_service_relation_number_only(world: World) -> None:
    person = world.cast.scrub
    for badge, why in (("", "no badge number"), ("A-17", "GSRN"), ("9" * 18, "GSRN")):
        Person.objects.filter(pk=person.pk).update(badge=badge)
        label = one(LabelKind.BADGE, world, person.pk)
        assert isinstance(label, Refused) and why in label.why
    Person.objects.filter(pk=person.pk).update(badge=ours.numbered("9521234", "4711", 18))
    label = one(LabelKind.BADGE, world, person.pk)
    assert label.payload == "8017" + ours.numbered("9521234", "4711", 18) and label.number == person.name


def test_badges_are_the_coordinator_s_and_cases_not_the_theatre_s_to_print(
    world: World, as_person: Any
) -> None:
    Person.objects.filter(pk=world.cast.scrub.pk).update(badge=ours.numbered("9521234", "4711", 18))
    made = printed(world, "badge", [world.cast.scrub.pk], site_id=world.site.pk, by=world.cast.coordinator)
    assert made.labels == 1
    for who in ("technician", "stores", "scrub"):
        with pytest.raises(NotAllowed):
            printed(world, "badge", [world.cast.scrub.pk], site_id=world.site.pk, by=getattr(world.cast, who))
    page = as_person("coordinator").get(reverse("labels")).content.decode()
    assert "kind=case" in page and "kind=badge" in page and "kind=unit" not in page


def test_a_case_and_its_sheets_have_labels_that_a_scan_leads_back_to(world: World, as_person: Any) -> None:
    world.stock_everything()
    world.sets_of_each()
    Site.objects.filter(pk=world.site.pk).update(gln=GLN)
    case = world.a_case(predictions={"femoral": (1, 2), "tibial": (1, 1), "patellar": (1, 1)})
    made = pick_list_make(by=world.cast.keeper, case=case, at=NOW)
    count_sheets_make(by=world.cast.keeper, case=case, at=NOW)
    client = as_person("coordinator")
    for kind, where in (
        (LabelKind.CASE, reverse("case", args=[case.pk])),
        (LabelKind.PICK_LIST, reverse("pick-list", args=[made.pk])),
        (LabelKind.COUNT_SHEET, reverse("count-sheets", args=[case.pk])),
    ):
        label = labels_of(kind, site_ids=[world.site.pk])[0]
        assert isinstance(label, PlainLabel)
        raw = base64.b64encode(f"]d2{label.payload}".encode()).decode()
        answer = client.post(reverse("scan"), {"raw": raw, "page": "/labels/"})
        assert answer.status_code in {200, 302, 303}
        assert where in (answer.headers.get("Location", "") + answer.content.decode()), kind


def test_a_shelf_says_what_lives_there_and_its_size_when_it_is_one(world: World, shelf: Place) -> None:
    world.unit(world.component("tibial", "3"), 2)
    world.unit(world.component("tibial", "1"))
    Place.objects.filter(pk=shelf.pk).update(name="Bay K")
    Pile.objects.all().update(quantity=0)
    label = one(LabelKind.SHELF, world, shelf.pk)
    assert isinstance(label, ShelfLabel)
    assert label.payload == ours.place(GLN, "S1")
    assert (label.what, label.size) == ("Tibial component A", "sizes 1 to 3")


def test_a_place_without_a_location_number_is_refused(world: World) -> None:
    label = one(LabelKind.SHELF, world, world.shelf.pk)
    assert isinstance(label, Refused) and "no location number" in label.why


def test_a_unit_s_label_is_the_maker_s_own_identity(world: World) -> None:
    unit = dull_unit(world, serial="S-9")
    label = one(LabelKind.UNIT, world, unit.pk)
    assert isinstance(label, UnitLabel)
    gtin = PackLevel.objects.get(component=unit.component).code
    day = unit.expires and f"{unit.expires:%y%m%d}"
    assert label.payload == f"01{gtin.rjust(14, '0')}17{day}10MF1\x1d21S-9"
    assert (label.size, label.side, label.lot) == ("3", "RIGHT", "MF1")


@pytest.mark.parametrize("codes", [0, 2], ids=["none on file", "two on file"])
def test_a_unit_whose_trade_code_is_not_known_is_refused(world: World, codes: int) -> None:
    unit = dull_unit(world)
    if codes:
        PackLevel.objects.create(component=unit.component, code=ours.gtin("9521234", "777"), quantity=1)
    else:
        PackLevel.objects.filter(component=unit.component).update(quantity=10)
    label = one(LabelKind.UNIT, world, unit.pk)
    assert isinstance(label, Refused) and "on file" in label.why


def test_a_trade_code_with_a_wrong_check_digit_is_refused(world: World) -> None:
    unit = dull_unit(world)
    PackLevel.objects.filter(component=unit.component).update(code="09521234000014")
    assert isinstance(one(LabelKind.UNIT, world, unit.pk), Refused)


def test_units_that_scan_or_are_gone_are_not_among_them(world: World) -> None:
    world.unit(world.component("femoral", "3", side="right"))
    dull_unit(world, state=Unit.State.IMPLANTED)
    assert labels_of(LabelKind.UNIT, site_ids=[world.site.pk]) == ()


@pytest.mark.parametrize(
    ("kind", "most"),
    [
        (LabelKind.PACK, 6), (LabelKind.SHELF, 4), (LabelKind.UNIT, 2), (LabelKind.TAG, 1),
        (LabelKind.BADGE, 2), (LabelKind.CASE, 1), (LabelKind.PICK_LIST, 1), (LabelKind.COUNT_SHEET, 1),
    ],
)  # fmt: skip
def test_queries_do_not_grow_with_the_rows(
    world: World, kind: LabelKind, most: int, django_assert_max_num_queries: Any
) -> None:
    world.sets_of_each(3)
    world.stock_everything()
    Unit.objects.all().update(code_reads=False)
    InstrumentSet.objects.update(tenure="loaned")
    case = world.a_case(predictions={"femoral": (1, 2), "tibial": (1, 1), "patellar": (1, 1)})
    pick_list_make(by=world.cast.keeper, case=case, at=NOW)
    count_sheets_make(by=world.cast.keeper, case=case, at=NOW)
    with django_assert_max_num_queries(most):
        assert labels_of(kind, site_ids=[world.site.pk])


@pytest.mark.parametrize("stock", ["pack-roll-203", "roll-300", "a4"])
def test_the_others_still_print_and_the_refused_come_back_with_their_reasons(
    world: World, packs: list[Pack], stock: str
) -> None:
    made = printed(world, "pack", [pack.pk for pack in packs], stock, start=3 if stock == "a4" else 1)
    assert made.labels == 1
    assert [(row.row_id, bool(row.why)) for row in made.refused] == [(packs[1].pk, True)]
    dpi = 203 if stock == "pack-roll-203" else 300
    seen = rendering.read(rendering.pages(made.pdf, dpi)[0])
    assert {row.text for row in seen} == {ours.pack_label("9521234", "P00001", "12")}


def test_printing_is_one_event_with_a_line_for_each_label(world: World, packs: list[Pack]) -> None:
    printed(world, "pack", [pack.pk for pack in packs])
    event = Event.objects.get(verb="label.print")
    assert event.chain.code == world.site.code and event.actor == world.cast.technician
    assert [(line.subject, line.subject_id, line.after) for line in event.lines.all()] == [
        ("pack", packs[0].pk, "roll-300")
    ]


def test_all_or_none_is_refused_with_the_rows_that_get_none_and_prints_nothing(
    world: World, packs: list[Pack]
) -> None:
    with pytest.raises(Refusal) as refused:
        printed(world, "pack", [pack.pk for pack in packs], whole=True)
    assert refused.value.code == "some-get-no-label"
    assert [row.row_id for row in refused.value.facts["refused"]] == [packs[1].pk]
    assert not Event.objects.filter(verb="label.print").exists() and not LabelRun.objects.exists()


def test_nothing_that_can_be_printed_is_a_refusal_and_leaves_no_event(
    world: World, packs: list[Pack]
) -> None:
    for ids in ([packs[1].pk], [999_999], []):
        with pytest.raises(Refusal) as refused:
            printed(world, "pack", ids)
        assert refused.value.code == "nothing-to-print"
    assert not Event.objects.filter(verb="label.print").exists()


@pytest.mark.parametrize(
    "who", ["scrub", "surgeon", "supplier", "stranger", "coordinator", "far_coordinator"]
)
def test_only_sterile_services_and_stores_print_labels(world: World, packs: list[Pack], who: str) -> None:
    with pytest.raises(NotAllowed):
        printed(world, "pack", [packs[0].pk], by=getattr(world.cast, who))
    assert not Event.objects.filter(verb="label.print").exists()


def test_labels_of_another_site_are_not_theirs_to_print(world: World, packs: list[Pack]) -> None:
    InstrumentSet.objects.update(site=world.far_site)
    with pytest.raises(NotAllowed):
        printed(world, "pack", [packs[0].pk])


@pytest.mark.parametrize(
    ("kind", "stock", "changes", "code"),
    [
        ("hat", "a4", {}, "unknown-label"),
        ("pack", "b5", {}, "unknown-stock"),
        ("pack", "roll-150", {}, "unknown-stock"),
        ("pack", "a4-300", {}, "unknown-stock"),
        ("pack", "a4", {"start": 0}, "no-such-position"),
        ("pack", "a4", {"start": 25}, "no-such-position"),
        ("pack", "roll-300", {"start": 2}, "no-such-position"),
        ("pack", "a4", {"carrier": "qr"}, "unknown-symbol"),
    ],
)
def test_unknown_kinds_stocks_symbols_and_positions_are_told(
    world: World, packs: list[Pack], kind: str, stock: str, changes: dict[str, Any], code: str
) -> None:
    with pytest.raises(Unreadable) as refused:
        printed(world, kind, [packs[0].pk], stock, **changes)
    assert refused.value.code == code and refused.value.next_step


def test_the_page_offers_what_can_be_made_and_says_why_the_rest_cannot(
    as_person: Any, packs: list[Pack]
) -> None:
    page = as_person("technician").get(reverse("labels")).content.decode()
    assert f'value="{packs[0].pk}" aria-label' in page
    assert f'value="{packs[1].pk}" aria-label' not in page
    assert "The pack has no asset number on file." in page
    assert "X 0.375 mm" in page and "X 0.423 mm" in page
    assert "57 × 32 mm" in page and "A4, 3 × 8 of 63.5 × 33.9 mm" in page
    assert "check pack, indicator, date and label with your own eyes" in page


@pytest.mark.parametrize("kind", list(LabelKind))
def test_each_kind_has_its_page_and_each_set_its_packs(
    as_person: Any, packs: list[Pack], kind: LabelKind
) -> None:
    client = as_person("keeper")
    assert client.get(reverse("labels"), {"kind": kind.value}).status_code == 200
    page = client.get(reverse("labels"), {"kind": "pack", "of": "K-GEN-01"}).content.decode()
    assert f'value="{packs[0].pk}" aria-label="{packs[0].number}-12" checked' in page


def test_nonsense_in_the_address_shows_the_list(as_person: Any, packs: list[Pack]) -> None:
    answer = as_person("technician").get(reverse("labels"), {"kind": "\x00hat", "of": "'\"<", "page": "x"})
    assert answer.status_code == 200


def send(client: Any, **changes: Any) -> Any:
    data = {
        "kind": "pack", "site": "larkmere", "of": "", "stock": "pack-roll", "dpi": "203", "start": "1",
        "ids": [],
    }  # fmt: skip
    return client.post(reverse("labels-pdf"), data | changes)


def test_the_button_answers_with_the_paper(as_person: Any, packs: list[Pack]) -> None:
    answer = send(as_person("technician"), ids=[packs[0].pk])
    assert answer.status_code == 200 and answer["Content-Type"] == "application/pdf"
    assert len(rendering.read(rendering.pages(answer.content, 203)[0])) == 3


def test_one_tick_makes_all_lines_that_can_be_made_and_no_others(
    as_person: Any, world: World, packs: list[Pack]
) -> None:
    other = world.a_set("general", "K-GEN-02").packs.get()
    Pack.objects.filter(pk=other.pk).update(giai="9521234P00009")
    all_of_site = send(as_person("technician"), every="on")
    # One pack has no number: the run's page says so beside the file.
    assert all_of_site.status_code == 303
    page = as_person("technician").get(all_of_site["Location"]).content.decode()
    assert "no asset number on file" in page and "X 0.375 mm" in page and "quiet zone 0.75 mm" in page
    (run,) = LabelRun.objects.all()
    file = as_person("technician").get(reverse("label-file", args=[run.pk, 1]))
    assert len(rendering.pages(file.content, 203)) == 2
    one_set = send(as_person("technician"), every="on", of="K-GEN-02")
    (page,) = rendering.pages(one_set.content, 203)
    assert {seen.text for seen in rendering.read(page)} == {ours.pack_label("9521234", "P00009", "1")}
    assert send(as_person("technician"), every="on", site="fennside").status_code in {404, 422}


def test_a_ticked_row_that_gets_no_label_is_told_first_and_the_others_stay_ticked(
    as_person: Any, packs: list[Pack]
) -> None:
    answer = send(as_person("technician"), ids=[pack.pk for pack in packs], stock="a4", start="5")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "no asset number on file" in page and "Print the others without them." in page
    assert f'value="{packs[0].pk}" aria-label="{packs[0].number}-12" checked' in page
    assert re.search(r'<option value="a4"[^>]* selected', page) and 'value="5"' in page
    assert not Event.objects.filter(verb="label.print").exists()


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"ids": ["x", "-1", "\x00", "9" * 40]},
        {"ids": ["1"], "stock": "a4", "start": "25"},
        {"ids": ["1"], "start": "two"},
        {"ids": ["1"], "stock": "b5"},
        {"ids": ["1"], "stock": ""},
        {"ids": ["1"], "kind": "hat"},
        {"ids": ["987654"]},
    ],
)
def test_what_is_wrong_is_told_on_the_page_and_nothing_is_printed(
    as_person: Any, packs: list[Pack], changes: dict[str, Any]
) -> None:
    answer = send(as_person("technician"), **changes)
    assert answer.status_code == 422
    assert "Make the labels" in answer.content.decode()
    assert not Event.objects.filter(verb="label.print").exists()


@pytest.mark.parametrize("who", ["scrub", "supplier", "stranger"])
def test_nobody_else_gets_the_page_or_the_paper(as_person: Any, packs: list[Pack], who: str) -> None:
    client = as_person(who)
    assert client.get(reverse("labels")).status_code == 403
    assert send(client, ids=[packs[0].pk]).status_code == 403
    assert send(client).status_code == 403


def test_a_link_prints_nothing(as_person: Any, packs: list[Pack]) -> None:
    assert as_person("technician").get(reverse("labels-pdf")).status_code == 405


def test_a_date_on_a_label_is_the_site_s_day(world: World, packs: list[Pack]) -> None:
    world.site.zone = "Pacific/Auckland"
    world.site.save()
    late = NOW.replace(hour=23)
    Pack.objects.filter(pk=packs[0].pk).update(packed_at=late)
    day = (late + timedelta(hours=13)).date()
    assert one(LabelKind.PACK, world, packs[0].pk).packed_on == f"{day.day} {day:%b %Y}"
