"""Sheets to print in tests, typical and nasty; all data invented."""

from dataclasses import replace

from cases.counts.kinds import (
    CountRow,
    CountSection,
    CountSheetView,
    SoftRow,
    SoftSection,
    StageHead,
)
from cases.picks.kinds import (
    GroupCount,
    LevelWords,
    NotOnSite,
    PickPlace,
    PickRow,
    PickSheet,
    RunCell,
    SheetVerdict,
    SizeRun,
)
from trays.identifiers import ours

SITE = ours.gln("9521234", "31")
LONG = (
    "Wiertła i piły, duże kości – Große Säge, Zubehör für Schnellkupplung mit oszillierendem Kopf, "
    "élévateur courbé à poignée allongée, wersja wąska"
)
CAUTION = (
    "Sizes are an estimate from the data given; the implant is the surgeon’s choice. "
    "Before use check pack, indicator, date and label with your own eyes; local policy leads."
)
COUNT_CAUTION = (
    "Count aloud, two people together, always one way round. "
    "This sheet supports your count and replaces none of it; local policy leads."
)
PRINTED = "30 Nov 2026 16:05"
GROUPS = ("likely", "keep_sealed", "contingency")
WORDS = {"likely": "likely", "keep_sealed": "keep sealed", "contingency": "contingency", "set": "set"}


def cells(
    sizes: tuple[str, ...], chances: dict[str, float], minimum: tuple[str, ...] = (), missing: str = ""
) -> tuple[RunCell, ...]:
    made = []
    for size in sizes:
        chance = chances.get(size)
        if chance is None:
            made.append(RunCell(size, None, "", False, False))
            continue
        group = "likely" if chance > 0.15 else "keep_sealed" if chance >= 0.02 else "contingency"
        words = f"{chance * 100:.0f}"
        made.append(RunCell(size, chance, group, size in minimum, size == missing, words))
    return tuple(made)


SIZES = tuple("123456789")
RUNS = (
    SizeRun(
        "Femoral",
        "RIGHT",
        "",
        cells(SIZES, {"3": 0.05, "4": 0.21, "5": 0.46, "6": 0.24, "7": 0.03}, ("7",)),
        "5 sizes; minimum adds 7",
    ),
    SizeRun(
        "Tibial",
        "",
        "",
        cells(SIZES, {"3": 0.02, "4": 0.33, "5": 0.52, "6": 0.12}, ("3",), "6"),
        "4 sizes; minimum adds 3; not on site 6",
    ),
    SizeRun(
        "Insert 4–5",
        "",
        "mm",
        cells(
            ("8", "9.5", "11", "12.5", "14", "16"),
            {"8": 0.31, "9.5": 0.34, "11": 0.19, "12.5": 0.09, "14": 0.05, "16": 0.01},
            ("14", "16"),
        ),
        "every thickness; minimum adds 14, 16",
    ),
    SizeRun(
        "Patellar",
        "",
        "mm",
        cells(("26", "29", "32", "35", "38"), {"29": 0.09, "32": 0.17, "35": 0.11}),
        "if resurfaced",
    ),
)


def row(
    number: int, *, name: str = "Femoral, posterior stabilised", bin: str = "", serial: str = "PL48203"
) -> PickRow:
    group = GROUPS[number % 3]
    return PickRow(
        number=number,
        code=ours.sheet_line(SITE, serial, number),
        text=f"{serial}-{number:03d}",
        name=name,
        size=str(number % 9 + 1),
        side="RIGHT",
        lot=f"MF{2500 + number}B",
        until="31 May 2028",
        detail=f"lot MF{2500 + number}B · use by 31 May 2028 · consigned",
        group=group,
        group_word=WORDS[group],
        mark=group,
        site_minimum=number % 7 == 0,
        take=1,
        bin=bin or f"K1-{number}",
        chance=0.2,
        thing="unit",
    )


def pack_row(number: int, name: str, tray: str, *, bin: str = "A2-1") -> PickRow:
    return replace(
        row(number, name=name, bin=bin),
        size=f"K-GEN-{number:02d}",
        side=tray,
        detail=f"pack 0417A-{230 + number} · sterile until 24 Nov 2027 · 7.9 kg",
        group="set",
        group_word="set",
        mark="",
        site_minimum=False,
        thing="pack",
    )


def pile_row(number: int, name: str, take: int) -> PickRow:
    return replace(
        row(number, name=name, bin=f"C{number}-2"),
        size="",
        side="",
        detail="lot C118 · use by 31 Jan 2029",
        group="consumable",
        group_word="consumable",
        mark="consumable",
        site_minimum=False,
        take=take,
        thing="pile",
    )


SETS = tuple(
    pack_row(n, name, f"tray {n % 2 + 1} of 2")
    for n, name in enumerate(
        ("Knee basic instruments", "Knee basic instruments", "Knee sizes 4 to 6: blocks and trials", LONG),
        start=1,
    )
)
PLACES = (
    PickPlace(1, "Sterile store · bay A", "instrument sets", SETS),
    PickPlace(2, "Implant store · bay K", "owned", tuple(row(n) for n in range(5, 20))),
    PickPlace(
        3,
        "Implant store · bay M",
        "consigned",
        tuple(row(n, name="Tibial tray, cemented" if n % 4 else LONG) for n in range(20, 28)),
    ),
    PickPlace(
        4,
        "Theatre store · bay C",
        "consumables, by quantity",
        tuple(
            pile_row(n, name, n - 26)
            for n, name in enumerate(
                (
                    "Bone cement, 40 g",
                    "Cement mixing bowl",
                    "Saw blade, 90 × 19 mm",
                    "Pin, single use",
                    "Swab, 30 × 30 cm",
                    "Drape pack",
                ),
                start=28,
            )
        ),
    ),
)
ABSENT = NotOnSite(
    "Tibial tray, cemented",
    "6",
    "",
    1,
    "keep_sealed",
    "keep sealed",
    "keep_sealed",
    False,
    0.12,
    "one unit on site, kept for another case of the day",
)
KEY = (
    GroupCount("set", "set", "", 4),
    GroupCount("likely", "likely", "likely", 9),
    GroupCount("keep_sealed", "keep sealed", "keep_sealed", 8),
    GroupCount("contingency", "contingency", "contingency", 6),
    GroupCount("consumable", "consumable", "consumable", 6),
)
PICK = PickSheet(
    number="PL-48203",
    code=ours.sheet(SITE, "PL48203"),
    subject="Total knee",
    side="RIGHT",
    reference="LK-26-11873",
    day="1 Dec 2026",
    theatre="Theatre 3",
    position="2 of 4",
    surgeon="A. Wren",
    starts="Tue 1 Dec, 11:40",
    made=PRINTED,
    made_by="S. Stores",
    verdict=SheetVerdict(
        "thin",
        "Thin",
        LevelWords("in the room", "covered", "Covered", "95 in 100; wanted 95"),
        LevelWords("on site", "thin", "Thin", "98 in 100; wanted 99"),
        (
            "Insert 4–5, 14 mm: one unit on site, also wanted by case 4 of this list.",
            "Case 4 gets it if this case returns it sealed.",
        ),
    ),
    runs=RUNS,
    minimum_added="The site’s minimum of one size each way adds Femoral 7, Tibial 3 and Insert 14 and 16.",
    minimum_lines=4,
    key=KEY,
    places=PLACES,
    not_on_site=(ABSENT,),
    changed_since="",
    replaced="",
    caution=CAUTION,
    printed=PRINTED,
    language="en-gb",
)
BOTH_SIDES = replace(
    PICK,
    subject="Total knee, cemented, cruciate-retaining",
    side="LEFT and RIGHT",
    runs=tuple(replace(run, side=side) for side in ("LEFT", "RIGHT") for run in RUNS),
    verdict=replace(PICK.verdict, state="unknown", word="Not known"),
    changed_since=(
        "The case has been changed since this list was made. Lines 5, 7, 12 are no longer kept for this case."
    ),
)
NASTY = replace(
    PICK,
    number="PL-1048203",
    subject=LONG,
    side="LEFT and RIGHT",
    reference="LK-26-11873-ÄÖŻ-0099",
    surgeon="Prof. Dr. Wilhelmina von und zu Przepiórkowska-Großmüller",
    theatre="Theatre 12, east wing",
    position="11 of 12",
    verdict=SheetVerdict(
        "short",
        "Short",
        LevelWords("in the room", "short", "Short", "at most 62 in 100; wanted 95"),
        LevelWords("on site", "short", "Short", "at most 91 in 100; wanted 99"),
        PICK.verdict.reasons * 6,
    ),
    runs=(
        SizeRun(
            "Stem, modular, extended offset",
            "RIGHT",
            "",
            cells(tuple(str(n) for n in range(1, 17)), {"7": 0.4, "8": 0.3}),
            "2 sizes",
        ),
        SizeRun(
            "Head, 12/14",
            "LEFT",
            "mm",
            cells(tuple(f"{n}.5+0" for n in range(28, 40)), {"28.5+0": 0.5}),
            "1 size; not on site 30",
        ),
    ),
    places=(
        PickPlace(
            1,
            f"Implant store · {LONG}",
            "consigned",
            tuple(
                replace(row(n, name=LONG, bin="KK12-345", serial="PL1048203"), take=999)
                for n in range(95, 130)
            ),
        ),
    ),
    not_on_site=(replace(ABSENT, name=LONG, why=LONG),) * 3,
    replaced="A newer list took the place of this one on Mon 30 Nov, 17:12. Do not pick by it.",
)

STAGES = tuple(
    StageHead(m, w)
    for m, w in (("1", "Start"), ("2", "Cavity"), ("3", "Wound"), ("4", "End"), ("R", "Relief"))
)
SIX = tuple(
    StageHead(m, w)
    for m, w in (
        ("1", "Start"),
        ("2", "Implants in"),
        ("3", "Cavity"),
        ("4", "Wound"),
        ("5", "End"),
        ("R", "Zwischenzählung"),
    )
)


def sections(counts: tuple[int, ...]) -> tuple[CountSection, ...]:
    names = (
        "Artery forceps, curved, 140 mm",
        "Retractor, bent, narrow 15 mm",
        "Bone lever, blunt",
        "Scalpel handle, no. 4",
    )
    number, made = 0, []
    for place, count in enumerate(counts):
        rows = []
        for _ in range(count):
            number += 1
            name = LONG if number % 23 == 0 else names[number % 4]
            note = "list 3, short 1" if number % 13 == 0 else "2 parts" if number % 11 == 0 else ""
            rows.append(CountRow(number, name, note, 120 if number == 9 else number % 6 + 1, number % 8 == 0))
        made.append(CountSection(f"Level {place + 1}, left half", tuple(rows)))
    return tuple(made)


PACK = CountSheetView(
    kind="pack",
    number="CS-48212",
    code=ours.sheet(SITE, "CS48212"),
    subject="Knee basic instruments, tray 1",
    side="RIGHT",
    operation="Total knee",
    reference="LK-26-11873",
    day="1 Dec 2026",
    theatre="Theatre 3",
    position="2 of 4",
    sheet_of_case="3 of 6",
    pack="0417A-231",
    pack_code=ours.pack_label("9521234", "0417A", "231"),
    contents_list="v 12",
    short="short 1",
    stages=STAGES,
    sections=sections((10, 11, 18, 12, 9, 10)),
    soft=(),
    added_rows=4,
    blank_kinds=0,
    caution=COUNT_CAUTION,
    printed=PRINTED,
    language="en-gb",
)
SMALL = replace(PACK, subject="Patella instruments", sections=sections((10,)), short="", stages=STAGES[:4])
SIX_STAGES = replace(
    PACK, subject=LONG, stages=SIX, sections=sections((14, 6)), pack="PP-0417A-1231", sheet_of_case="12 of 16"
)
NO_CODES = replace(SMALL, code="", pack_code="", stages=STAGES[:3])
SOFT = replace(
    PACK,
    kind="soft_goods",
    number="CS-48210",
    code=ours.sheet(SITE, "CS48210"),
    subject="Soft goods, sharps, small items",
    sheet_of_case="1 of 6",
    pack="",
    pack_code="",
    contents_list="",
    short="",
    sections=(),
    soft=(
        SoftSection(
            "Soft goods: packed and counted in 5",
            (
                SoftRow("Swab, 10 × 10 cm, x-ray thread", "5"),
                SoftRow("Swab, 30 × 30 cm, x-ray thread", "5"),
                SoftRow(LONG, "10"),
            ),
        ),
        SoftSection(
            "Sharps",
            tuple(
                SoftRow(n, "·")
                for n in ("Blade, scalpel", "Needle with suture", "Needle, hypodermic", "Saw blade")
            ),
        ),
        SoftSection(
            "Other things that count",
            tuple(
                SoftRow(n, "·")
                for n in (
                    "Diathermy tip",
                    "Tip cleaner",
                    "Cement nozzle, with breakable end",
                    "Marker pen and rule",
                )
            ),
        ),
    ),
    added_rows=0,
    blank_kinds=3,
)
