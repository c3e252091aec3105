"""The list of every address: what it needs to be opened, and which roles get in."""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from cases.counts.services import count_sheets_make
from cases.picks.leaving import packs_issue_for
from cases.picks.services import pick_list_make
from cases.picks.ticking import packs_pick
from tests.boundaries.sterile_services import furnish_sterile_services
from tests.world import World
from trays.exchange.models import ImportRun
from trays.labels.models import LabelPaper
from trays.labels.services import labels_print

HOSPITAL = frozenset(
    {"coordinator", "technician", "scrub", "circulating", "surgeon", "stores", "quality", "keeper"}
)
EVERYBODY = HOSPITAL | {"supplier", "stranger", "far_coordinator"}


@dataclass(frozen=True)
class Door:
    """`kwargs` and `post` name things that `furnish` makes; `open` needs no sign-in.

    `elsewhere` are people with the right role at another site: for them the row is not there. What can be
    done `once` is refused by its state (not by the role) to whoever comes second.
    """

    roles: frozenset[str] | set[str]
    kwargs: dict[str, str] = field(default_factory=dict)
    post: dict[str, str] | None = None
    open: bool = False
    elsewhere: frozenset[str] | set[str] = frozenset()
    once: bool = False


FAR = frozenset({"far_coordinator"})
BOOKS = {"coordinator", "surgeon", "keeper"}
PICKS = {"coordinator", "stores", "technician", "keeper"}
COUNTS = {"coordinator", "technician", "scrub", "circulating", "keeper"}
LABELS = {"technician", "stores", "keeper"}
ORDERS = {"stores", "coordinator", "quality", "keeper"}
SCANNERS = {"coordinator", "stores", "technician", "quality", "keeper"}
IMPORTS = {"coordinator", "stores", "technician", "keeper"}
WORKS = {"technician", "keeper"}
RECALLS = {"technician", "quality", "keeper"}
STORES = {"technician", "stores", "keeper"}
ISSUES = {"technician", "stores", "scrub", "circulating", "keeper"}
DECIDES = {"quality", "keeper"}


def furnish(world: World) -> dict[str, Any]:
    """Stock, sets, a case with its papers, an import: whatever the addresses point at."""
    world.stock_everything()
    world.sets_of_each()
    now = timezone.now()
    day = now.astimezone(ZoneInfo(world.site.zone)).date()
    case = world.a_case(
        predictions={"femoral": (1, 2), "tibial": (1, 1), "patellar": (1, 1)}, day=day + timedelta(days=1)
    )
    keeper = world.cast.keeper
    pick_list = pick_list_make(by=keeper, case=case, at=now)
    gone = pick_list.lines.filter(pack__isnull=False).last().pack
    packs_pick(by=keeper, pick_list=pick_list, packs=[gone], at=now)
    packs_issue_for(by=keeper, pick_list=pick_list, at=now)
    count_sheets_make(by=keeper, case=case, at=now)
    run = ImportRun.objects.create(kind="units", file_name="units.csv", by=keeper, at=now, state="faulty")
    unit = world.unit(world.component("tibial", "1"))[0]
    unit.code_reads = False
    unit.save()
    printed = labels_print(by=keeper, kind="unit", ids=[unit.pk], stock="roll-300", at=now)
    paper = LabelPaper.objects.create(
        site=world.site, code="own", name="Own roll", label_width=80, label_height=40
    )
    return {
        "case": case.pk,
        "list": case.list_id,
        "site": world.site.code,
        "day": case.list.day.isoformat(),
        "pick_list": pick_list.pk,
        "pack_gone": gone.pk,
        "sterile_store": world.sterile_store.pk,
        "family": world.families["femoral"].code,
        "set": "general-01",
        "run": run.pk,
        "unread_unit": unit.pk,
        "label_kind": "unit",
        "label_stock": "roll-300",
        "label_run": printed.run_id,
        "label_file": 1,
        "label_paper": paper.pk,
        "kind": "units",
        "ext": "csv",
        **furnish_sterile_services(world),
    }


def given(door: Door, furnished: dict[str, Any]) -> dict[str, Any]:
    """What is sent to a door: rows by their names, a file where the thing is bytes."""
    sent = {key: furnished.get(value, value) for key, value in (door.post or {}).items()}
    return {
        key: SimpleUploadedFile("file.csv", value) if isinstance(value, bytes) else value
        for key, value in sent.items()
    }


CASE = {"pk": "case"}
DOORS: dict[str, Door] = {
    "healthz": Door(EVERYBODY, open=True),
    "readyz": Door(EVERYBODY, open=True),
    "sign-in": Door(EVERYBODY, open=True),
    "sign-out": Door(EVERYBODY, post={}),
    "theme": Door(EVERYBODY, post={"theme": "dark"}, open=True),
    "landing": Door(EVERYBODY),
    "help": Door(EVERYBODY),
    "cautions": Door(EVERYBODY),
    "scan": Door(EVERYBODY, post={"raw": "x", "code": "nothing we know"}),
    "scanner": Door(EVERYBODY),
    "scanner-device": Door(SCANNERS | FAR, post={}),
    "scanner-settings": Door(SCANNERS | FAR, post={}),
    "scanner-test": Door(EVERYBODY),
    "scanner-test-sheet": Door(EVERYBODY),
    "refused-scans": Door({"stores", "quality", "keeper"}),
    "fortnight": Door(HOSPITAL | FAR),
    "day-sets": Door(HOSPITAL, {"site": "site", "day": "day"}, elsewhere=FAR),
    "case": Door(HOSPITAL, CASE, elsewhere=FAR),
    "case-sizes": Door(HOSPITAL, CASE, elsewhere=FAR),
    "list-what-if": Door(HOSPITAL, {"pk": "list"}, elsewhere=FAR),
    "case-book": Door(BOOKS | FAR),
    "case-change": Door(BOOKS, CASE, elsewhere=FAR),
    "case-predict": Door(BOOKS, CASE, elsewhere=FAR),
    "case-move": Door(BOOKS, CASE, elsewhere=FAR),
    "case-cancel": Door(BOOKS, CASE, elsewhere=FAR),
    "list-order": Door({"coordinator", "keeper"}, {"pk": "list"}, elsewhere=FAR),
    "pick-lists": Door(HOSPITAL | FAR),
    "pick-list": Door(HOSPITAL, {"pk": "pick_list"}, elsewhere=FAR),
    "pick-list-pdf": Door(HOSPITAL, {"pk": "pick_list"}, elsewhere=FAR),
    "pick-list-undo": Door(PICKS, {"pk": "pick_list"}, post={}, elsewhere=FAR),
    "pick-list-line": Door(PICKS, {"pk": "pick_list"}, post={"number": "1"}, elsewhere=FAR),
    "pick-list-issue": Door(ISSUES, {"pk": "pick_list"}, post={}, elsewhere=FAR),
    "pick-list-opened": Door(
        ISSUES, {"pk": "pick_list"}, post={"packs": "pack_gone"}, elsewhere=FAR, once=True
    ),
    "pick-list-returned": Door(
        STORES,
        {"pk": "pick_list"},
        post={"packs": "pack_gone", "place": "sterile_store"},
        elsewhere=FAR,
        once=True,
    ),
    "case-pick-list": Door(HOSPITAL, CASE, elsewhere=FAR),
    "pick-list-make": Door(PICKS, CASE, post={}, elsewhere=FAR),
    "count-sheets": Door(HOSPITAL, CASE, elsewhere=FAR),
    "count-sheets-pdf": Door(COUNTS, CASE, elsewhere=FAR),
    "stock": Door(HOSPITAL | FAR),
    "stock-family": Door(HOSPITAL | FAR, {"code": "family"}),
    "sets": Door(HOSPITAL | FAR),
    "set": Door(HOSPITAL, {"code": "set"}, elsewhere=FAR),
    "set-history": Door(HOSPITAL, {"code": "set"}, elsewhere=FAR),
    "recall-cases": Door(HOSPITAL, {"pk": "recall"}, elsewhere=FAR),
    "sterile-work": Door(HOSPITAL | FAR),
    "reorders": Door(ORDERS | FAR),
    "reorder-budget": Door(ORDERS | FAR),
    "labels": Door(LABELS | {"coordinator"} | FAR),
    "labels-pdf": Door(
        LABELS,
        post={"kind": "unit", "site": "larkmere", "stock": "roll", "ids": "unread_unit"},
        elsewhere=FAR,
    ),
    "labels-preview": Door(LABELS, {"pk": "unread_unit", "kind": "label_kind", "stock": "label_stock"}),
    "label-run": Door({"keeper"}, {"pk": "label_run"}),
    "label-file": Door({"keeper"}, {"pk": "label_run", "number": "label_file"}),
    "label-papers": Door(LABELS),
    "label-paper-new": Door(LABELS),
    "label-paper": Door(LABELS, {"pk": "label_paper"}),
    "imports": Door(IMPORTS | FAR),
    "import-new": Door(IMPORTS | FAR),
    "import-run": Door({"keeper"}, {"pk": "run"}),
    "import-template": Door({"stores", "keeper"}, {"kind": "kind", "ext": "ext"}),
    "my-pin": Door(EVERYBODY),
    "care-done": Door(WORKS, {"pk": "care"}, post={}, once=True),
    # Receive
    "receive": Door(WORKS),
    "receive-gather": Door(WORKS, post={"what": "used_number"}),
    "receive-lack": Door(WORKS, {"pk": "used"}, post={}, once=True),
    "receive-done": Door(WORKS, post={"packs": "used", "place": "hall"}, once=True),
    "receive-back": Door(WORKS, post={"packs": "stored", "place": "hall", "reason": "wet"}, once=True),
    # Bench
    "benches": Door(WORKS),
    "bench": Door(WORKS, {"pk": "clean"}),
    "bench-begin": Door(WORKS, {"pk": "clean"}, post={}, once=True),
    "bench-take-over": Door(WORKS, {"pk": "begun"}, post={}),
    "bench-line": Door(WORKS, {"pk": "begun"}, post={"line": "1", "do": "there"}),
    "bench-rest": Door(WORKS, {"pk": "begun"}, post={}),
    "bench-undo": Door(WORKS, {"pk": "begun"}, post={}, once=True),
    "bench-close": Door(WORKS, {"pk": "begun"}, post={}, once=True),
    "bench-reopen": Door(WORKS, {"pk": "assembled"}, post={}, once=True),
    "bench-pack": Door(
        WORKS,
        {"pk": "assembled"},
        post={"packaging": "wrap", "indicator_lot": "X1", "weight": "6.2"},
        once=True,
    ),
    # Store and issue
    "store": Door(ISSUES),
    "store-gather": Door(ISSUES, post={"what": "released_number"}),
    "store-place": Door(ISSUES, post={"place": "theatre"}),
    "store-done": Door(ISSUES, post={"packs": "released", "place": "theatre"}, once=True),
    "pack": Door(HOSPITAL, {"pk": "used"}, elsewhere=FAR),
    "pack-store": Door(STORES, {"pk": "released"}, post={"place": "shelf"}, elsewhere=FAR),
    "pack-issue": Door(ISSUES, {"pk": "released"}, post={"place": "theatre"}, elsewhere=FAR, once=True),
    "pack-open": Door(ISSUES, {"pk": "issued"}, post={}, elsewhere=FAR, once=True),
    "pack-quarantine": Door(
        ISSUES | {"quality"}, {"pk": "stored"}, post={"reason": "seal"}, elsewhere=FAR, once=True
    ),
    "pack-lift": Door(DECIDES, {"pk": "quarantined"}, post={"pin": "pin"}, elsewhere=FAR, once=True),
    "pack-back": Door(
        WORKS, {"pk": "stored"}, post={"reason": "wet", "place": "hall"}, elsewhere=FAR, once=True
    ),
    "pack-out": Door(WORKS, {"pk": "stored"}, post={"how": "repair"}, elsewhere=FAR, once=True),
    # Machines and runs
    "machines": Door(HOSPITAL | FAR),
    "machine": Door(HOSPITAL, {"pk": "washer"}, elsewhere=FAR),
    "machine-test": Door(
        WORKS, {"pk": "washer"}, post={"rule": "soil_test", "result": "passed"}, elsewhere=FAR
    ),
    "machine-stop": Door(RECALLS, {"pk": "washer"}, post={"reason": "leaks"}, elsewhere=FAR, once=True),
    "machine-start": Door(RECALLS, {"pk": "washer"}, post={}, elsewhere=FAR, once=True),
    "run-open": Door(WORKS, {"pk": "sterilizer"}, post={"programme": "steam"}, elsewhere=FAR, once=True),
    "recall-open": Door(
        RECALLS,
        {"pk": "sterilizer"},
        post={"cause": "faulty_machine", "scope": "this_load", "reason": "vacuum", "number": "1"},
        elsewhere=FAR,
        once=True,
    ),
    "run": Door(HOSPITAL, {"pk": "filling"}, elsewhere=FAR),
    "run-fill": Door(WORKS, {"pk": "filling"}, post={"what": "received_number"}, elsewhere=FAR, once=True),
    "run-take-out": Door(WORKS, {"pk": "filling", "pack": "washing"}, post={}, elsewhere=FAR, once=True),
    "run-start": Door(WORKS, {"pk": "filling"}, post={}, elsewhere=FAR, once=True),
    "run-give-up": Door(WORKS, {"pk": "filling"}, post={}, elsewhere=FAR, once=True),
    "run-end": Door(WORKS, {"pk": "running"}, post={"verdict": "passed"}, elsewhere=FAR, once=True),
    "run-log": Door(WORKS, {"pk": "ended"}, post={"file": "log"}, elsewhere=FAR, once=True),
    "run-indicator": Door(
        WORKS,
        {"pk": "ended"},
        post={"kind": "integrating", "lot": "L1", "result": "passed"},
        elsewhere=FAR,
        once=True,
    ),
    "wash-decide": Door(WORKS, {"pk": "washed"}, post={"result": "passed"}, elsewhere=FAR, once=True),
    "load-release": Door(WORKS, {"pk": "ended"}, post={"pin": "pin"}, elsewhere=FAR, once=True),
    "load-fail": Door(WORKS, {"pk": "ended"}, post={"pin": "pin", "reason": "wet"}, elsewhere=FAR, once=True),
    # Results, recalls, what is missing
    "indicator": Door(HOSPITAL, {"pk": "indicator"}, elsewhere=FAR),
    "indicator-read": Door(
        WORKS,
        {"pk": "indicator"},
        post={"result": "negative", "scope": "this_load"},
        elsewhere=FAR,
        once=True,
    ),
    "recalls": Door(HOSPITAL | FAR),
    "recall": Door(HOSPITAL, {"pk": "recall"}, elsewhere=FAR),
    "recall-account": Door(
        RECALLS, {"pk": "recalled"}, post={"outcome": "secured"}, elsewhere=FAR, once=True
    ),
    "recall-close": Door(DECIDES, {"pk": "recall"}, post={"pin": "pin"}, elsewhere=FAR, once=True),
    "shortfalls": Door(HOSPITAL | FAR),
    "shortfall-end": Door(WORKS, {"pk": "shortfall"}, post={"how": "found"}, elsewhere=FAR, once=True),
}
