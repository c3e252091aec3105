"""Labels to print in tests, typical and nasty; all data invented."""

from dataclasses import replace

from tests.cases.paper.samples import LONG
from trays.identifiers import gs1, ours
from trays.labels.kinds import Fact, Label, LabelKind, PackLabel, PlainLabel, ShelfLabel, UnitLabel

PACK = PackLabel(
    row_id=1,
    called="0417A-231",
    payload=ours.pack_label("9521234", "0417A", "231"),
    name="Knee basic instruments",
    number="0417A-231",
    set_code="KG-01",
    tray="tray 1 of 2",
    contents_list="v 12",
    load="S2-4471",
    weight="7.9 kg",
    packed_by="T. Plover",
    packed_on="24 Nov 2026",
    short_count=1,
    short=("Retractor, bent, narrow 15 mm",),
    sterile_until="24 Nov 2027",
    released=True,
    method="steam",
    barrier="single",
)
BARE_PACK = replace(
    PACK,
    number="P00001-1",
    payload=ours.pack_label("9521234", "P00001", "1"),
    load="",
    weight="",
    packed_by="",
    packed_on="",
    short_count=0,
    short=(),
    sterile_until="",
    method="",
    barrier="",
)
NASTY_PACK = replace(
    PACK,
    number="PP-0417A-WXYZ-1231",
    set_code="KN-GEN-LARGE-01",
    payload=ours.pack_label("9521234", "PP0417AWXYZ", "1231"),
    name=LONG,
    tray="tray 11 of 12",
    contents_list="v 131",
    load="STEAM-2-2026-44710-B",
    weight="12.9 kg",
    packed_by="Prof. Wilhelmina Przepiórkowska-Großmüller",
    short_count=104,
    short=(LONG, "Scissors", "2 × Bone hook"),
    barrier="double",
    method="vh2o2",
    released=False,
)
LONGEST_PACK = replace(NASTY_PACK, payload=ours.pack_label("9521234", "PP0417AWXYZ0123456789AB", "1231"))
SHELF = ShelfLabel(
    row_id=1,
    called="K1-4",
    payload=ours.place(ours.gln("9521234", "31"), "K1-4"),
    place="K1-4",
    room="Implant store · bay K",
    what="Femoral component, posterior stabilised",
    size="size 4",
)
BARE_SHELF = replace(
    SHELF, place="A2", payload=ours.place(ours.gln("9521234", "32")), what="", size="", room="Sterile store"
)
NASTY_SHELF = replace(
    SHELF,
    place="KK-12-ÄÖŻ-345",
    payload=ours.place(ours.gln("9521234", "33"), "KK12345"),
    room=LONG,
    what=LONG,
    size="sizes 10.5 to 12.5",
)
UNIT = UnitLabel(
    row_id=1,
    called="Femoral component, MF2604K",
    payload=gs1.build(
        [("01", ours.gtin("9521234", "104")), ("17", "280531"), ("10", "MF2604K")],
    ),
    name="Femoral component, posterior stabilised",
    size="4",
    side="RIGHT",
    maker="Merrowfield",
    lot="MF2604K",
    serial="",
    use_by="31 May 2028",
)
BARE_UNIT = replace(
    UNIT,
    payload=gs1.build([("01", ours.gtin("9521234", "105")), ("21", "S-77")]),
    name="Bone cement",
    size="",
    side="",
    lot="",
    serial="S-77",
    use_by="",
)
NASTY_UNIT = replace(
    UNIT,
    payload=gs1.build(
        [
            ("01", ours.gtin("9521234", "106")),
            ("17", "280531"),
            ("10", "MFWXYZ2604KABCDEFGHI"),
            ("21", "SERIAL/0123456789*AB"),
        ]
    ),
    name=LONG,
    size="12.5 × 140 mm",
    maker=LONG,
    lot="MFWXYZ2604KABCDEFGHI",
    serial="SERIAL/0123456789*AB",
)
INSTRUMENT = replace(
    PACK,
    kind=LabelKind.INSTRUMENT,
    payload=ours.pack_label("9521234", "I00077", "9"),
    number="I00077-9",
    set_code="SI-077",
    name="Drill guide, 4.5 mm",
    tray="tray 1 of 1",
    weight="",
    short_count=0,
    short=(),
    method="eo",
)
_HOLDER = ours.set_label(ours.asset_type("9521234", "17"), "KG01")
CONTAINER = PlainLabel(
    row_id=1,
    called="KG-01",
    payload=_HOLDER,
    kind=LabelKind.CONTAINER,
    head="container of set",
    number="KG-01",
    name="Knee basic instruments",
    facts=(Fact("of", "Larkmere"),),
)
TAG = replace(
    CONTAINER,
    kind=LabelKind.TAG,
    head="loan set",
    facts=(Fact("of", "Tarn & Ridley"), Fact("at", "Larkmere"), Fact("", "3 trays")),
    note="On arrival treat as not sterile, whatever the pack says.",
)
BADGE = PlainLabel(
    row_id=1,
    called="Sister Wickstead",
    payload=gs1.build([("8017", ours.numbered("9521234", "4711", 18))]),
    kind=LabelKind.BADGE,
    head="staff",
    number="Wilhelmina Wickstead",
    name="Scrub nurse, Stores",
)
CASE = PlainLabel(
    row_id=1,
    called="LK-0111",
    payload=ours.sheet(ours.document_number("9521234", "3"), "CA00042"),
    kind=LabelKind.CASE,
    head="case",
    number="LK-0111",
    name="Total knee replacement, primary",
    facts=(Fact("", "24 Nov 2026"), Fact("about", "08:30"), Fact("", "Theatre 3")),
)
PICK_LIST = replace(
    CASE,
    kind=LabelKind.PICK_LIST,
    payload=ours.sheet(ours.document_number("9521234", "3"), "PL00042"),
    head="pick list",
    number="PL-00042",
    facts=(Fact("case", "LK-0111"), *CASE.facts),
)
COUNT_SHEET = replace(
    PICK_LIST,
    kind=LabelKind.COUNT_SHEET,
    payload=ours.sheet(ours.document_number("9521234", "3"), "CS00043"),
    head="count sheet",
    number="CS-00043",
    name="Knee basic instruments",
)
ALL: dict[LabelKind, tuple[Label, ...]] = {
    LabelKind.PACK: (PACK, BARE_PACK, NASTY_PACK),
    LabelKind.INSTRUMENT: (INSTRUMENT, replace(INSTRUMENT, released=False)),
    LabelKind.SHELF: (SHELF, BARE_SHELF, NASTY_SHELF),
    LabelKind.CONTAINER: (CONTAINER,),
    LabelKind.UNIT: (UNIT, BARE_UNIT, NASTY_UNIT),
    LabelKind.TAG: (TAG, replace(TAG, name=LONG, number="LOAN-2026-0417-A")),
    LabelKind.BADGE: (BADGE,),
    LabelKind.CASE: (CASE,),
    LabelKind.PICK_LIST: (PICK_LIST,),
    LabelKind.COUNT_SHEET: (COUNT_SHEET, replace(COUNT_SHEET, name=LONG)),
}
