"""The list of every address: what it needs to be opened, and which roles get in."""

import json
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.utils import timezone

from cases.counts.models_templates import CountTemplate
from cases.counts.services import count_sheets_make
from cases.picks.leaving import packs_issue_for
from cases.picks.services import pick_list_make
from cases.picks.ticking import packs_pick
from tests.boundaries.door import Door
from tests.boundaries.goods import DOORS as GOODS_DOORS
from tests.boundaries.goods import furnish_goods
from tests.boundaries.implants import furnish_implants
from tests.boundaries.lending import furnish_loans
from tests.boundaries.ordering import furnish_orders
from tests.boundaries.reordering import DOORS as REORDER_DOORS
from tests.boundaries.reordering import furnish_reorders
from tests.boundaries.sterile_services import furnish_sterile_services
from tests.boundaries.theatre import furnish_theatre
from tests.world import World
from trays.exchange.models import ImportRun
from trays.labels.models import LabelPaper
from trays.labels.services import labels_print

HOSPITAL = frozenset(
    {"coordinator", "technician", "scrub", "circulating", "surgeon", "stores", "quality", "keeper"}
)
EVERYBODY = HOSPITAL | {"supplier", "stranger", "far_coordinator"}


FAR = frozenset({"far_coordinator"})
BOOKS = {"coordinator", "surgeon", "keeper"}
PICKS = {"coordinator", "stores", "technician", "keeper"}
COUNTS = {"coordinator", "technician", "scrub", "circulating", "keeper"}
LABELS = {"technician", "stores", "keeper"}
ORDERS = {"stores", "coordinator", "quality", "keeper"}
SCANNERS = {"coordinator", "stores", "technician", "quality", "keeper"}
IMPORTS = {"coordinator", "stores", "technician", "quality", "keeper"}
WORKS = {"technician", "keeper"}
RECALLS = {"technician", "quality", "keeper"}
STORES = {"technician", "stores", "keeper"}
ISSUES = {"technician", "stores", "scrub", "circulating", "keeper"}
DECIDES = {"quality", "keeper"}
DRAFTS = {"stores", "coordinator", "keeper"}
SENDS = {"stores", "keeper"}
LOANS = {"stores", "coordinator", "quality", "technician", "keeper"}
LOANS_COME = {"stores", "technician", "keeper"}
LOANS_KEPT = {"stores", "coordinator", "keeper"}


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
        **furnish_orders(world),
        **furnish_reorders(world),
        **furnish_loans(world),
        **furnish_goods(world),
        **furnish_theatre(world, day=day, waiting=case),
        **furnish_implants(world, day=day),
        # The first case that was opened began with it.
        "count_template": CountTemplate.objects.values_list("pk", flat=True)[0],
    }


def knock(client: Client, door: Door, url: str, furnished: dict[str, Any], **more: Any) -> Any:
    """Get the page, or send what the door wants, as a form or as JSON."""
    if door.post is None:
        return client.get(url, **more)
    sent = given(door, furnished)
    if door.json:
        return client.post(url, json.dumps(sent), content_type="application/json", **more)
    return client.post(url, sent, **more)


def given(door: Door, furnished: dict[str, Any]) -> dict[str, Any]:
    """What is sent to a door: rows by their names, a file where the thing is bytes."""
    sent = {key: furnished.get(value, value) for key, value in (door.post or {}).items()}
    return {
        key: SimpleUploadedFile("file.csv", value) if isinstance(value, bytes) else value
        for key, value in sent.items()
    }


CASE = {"pk": "case"}
OPEN_CASE = {"pk": "open_case"}
IMPLANTS = {"pk": "implant_case"}
AT_TABLE = {"scrub", "circulating", "keeper"}
SEES_THEATRE = AT_TABLE | {"coordinator", "surgeon", "technician", "quality"}
FROM_PAPER = AT_TABLE | {"coordinator", "quality"}
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
    **REORDER_DOORS,
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
    # Loans and agreements
    "loans": Door(LOANS | FAR),
    "loan-ask": Door(LOANS_KEPT | FAR),
    "loan-rules": Door(LOANS | FAR),
    "loan": Door(LOANS, {"pk": "loan"}, elsewhere=FAR),
    "loan-confirm": Door(
        LOANS_KEPT, {"pk": "loan"}, post={"arrives_at": "loan_promised"}, elsewhere=FAR, once=True
    ),
    "loan-end": Door(LOANS_KEPT, {"pk": "loan"}, post={"reason": "not-needed"}, elsewhere=FAR, once=True),
    "loan-arrive": Door(LOANS_COME, {"pk": "loan"}, elsewhere=FAR),
    "loan-arrive-set": Door(
        LOANS_COME,
        {"pk": "loan"},
        post={"loan_set": "loan_set", "code": "MF-07", "place": "hall"},
        elsewhere=FAR,
        once=True,
    ),
    "loan-arrive-shelf": Door(LOANS_COME, {"pk": "loan"}, post={"place": "loan_shelf"}, elsewhere=FAR),
    "loan-arrive-unit": Door(
        LOANS_COME,
        {"pk": "loan"},
        post={"item": "tib-2-x-none", "lot": "LT-1", "count": "1", "condition": "good"},
        elsewhere=FAR,
    ),
    "loan-units-checked": Door(LOANS_COME, {"pk": "loan"}, post={}, elsewhere=FAR, once=True),
    "loan-check": Door(LOANS_COME, {"pk": "loan_set"}, elsewhere=FAR),
    "loan-count-out": Door(LOANS_COME, {"pk": "loan"}, elsewhere=FAR),
    "loan-count-seen": Door(LOANS_COME, {"pk": "loan"}, post={}, elsewhere=FAR),
    "loan-count-done": Door(LOANS_COME, {"pk": "loan"}, post={}, elsewhere=FAR, once=True),
    "loan-return": Door(LOANS_COME, {"pk": "loan"}, post={}, elsewhere=FAR, once=True),
    "loan-claim": Door(
        LOANS_KEPT, {"pk": "loan"}, post={"kind": "hire", "quantity": "1", "amount": "1"}, elsewhere=FAR
    ),
    "loan-charge-accept": Door(LOANS_KEPT, {"pk": "loan_charge"}, post={}, elsewhere=FAR, once=True),
    "loan-charge-refuse": Door(
        LOANS_KEPT, {"pk": "loan_charge"}, post={"reason": "claimed-twice"}, elsewhere=FAR, once=True
    ),
    "loan-close": Door(LOANS_KEPT, {"pk": "loan"}, post={}, elsewhere=FAR, once=True),
    "agreements": Door(LOANS | FAR),
    "agreement": Door(LOANS, {"pk": "agreement"}, elsewhere=FAR),
    "agreement-count": Door({"stores", "keeper"}, {"pk": "agreement"}, elsewhere=FAR),
    "agreement-end": Door(
        LOANS_KEPT, {"pk": "agreement"}, post={"last": "2040-01-01"}, elsewhere=FAR, once=True
    ),
    # Theatre: today, bring in, count
    "theatre-today": Door(SEES_THEATRE | FAR),
    "theatre-worker": Door(EVERYBODY, open=True),
    "theatre-shell": Door(EVERYBODY, open=True),
    "theatre-manifest": Door(EVERYBODY, open=True),
    "theatre-case": Door(SEES_THEATRE, OPEN_CASE, elsewhere=FAR),
    "theatre-open": Door(
        AT_TABLE,
        {"pk": "waiting_case"},
        post={"scrub": "scrub", "circulating": "circulating"},
        elsewhere=FAR,
    ),
    "theatre-trolley": Door(AT_TABLE, OPEN_CASE, post={}, elsewhere=FAR, once=True),
    "theatre-pack": Door(
        AT_TABLE,
        {"pk": "open_case", "pack": "table_pack"},
        post={
            "indicator": "seen",
            "reason": "other",
            "decided_by": "S. Scrub",
            "note": "It was open",
        },
        elsewhere=FAR,
        once=True,
    ),
    "count-sheets-filled": Door(COUNTS, OPEN_CASE, elsewhere=FAR),
    "count-templates": Door(SEES_THEATRE | FAR),
    "count-template": Door(SEES_THEATRE, {"pk": "count_template"}, elsewhere=FAR),
    "count-template-new": Door({"coordinator", "quality", "keeper"} | FAR),
    "count-template-edit": Door(
        {"coordinator", "quality", "keeper"}, {"pk": "count_template"}, elsewhere=FAR
    ),
    "theatre-count": Door(SEES_THEATRE, OPEN_CASE, elsewhere=FAR),
    "theatre-entry": Door(
        AT_TABLE,
        OPEN_CASE,
        post={"kind": "recount", "stage": "open_stage", "klass": "soft"},
        elsewhere=FAR,
    ),
    "theatre-entries": Door(
        SEES_THEATRE, OPEN_CASE, post={"entries": "no_entries"}, json=True, elsewhere=FAR
    ),
    "theatre-state": Door(SEES_THEATRE, OPEN_CASE, elsewhere=FAR),
    # Theatre: implants, stop, sets that fail, signing, the record, paper
    "theatre-implants": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-box-open": Door(SEES_THEATRE, IMPLANTS, post={}, elsewhere=FAR),
    "theatre-box-in-hand": Door(SEES_THEATRE, IMPLANTS, post={"drop": "1"}, elsewhere=FAR),
    "theatre-box-down": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-decision": Door(
        SEES_THEATRE,
        IMPLANTS,
        post={"construct": "implant_construct", "surgeon_name": "Ms Surgeon", "reason": "holds well"},
        elsewhere=FAR,
        once=True,
    ),
    "theatre-explant": Door(
        SEES_THEATRE,
        IMPLANTS,
        post={"construct": "implant_construct", "what": "Old insert", "whereto": "kept"},
        elsewhere=FAR,
    ),
    "theatre-box": Door(SEES_THEATRE, {**IMPLANTS, "number": "box_opened"}, elsewhere=FAR),
    "theatre-opened": Door(SEES_THEATRE, {**IMPLANTS, "number": "box_sealed"}, post={}, elsewhere=FAR),
    "theatre-fate": Door(
        SEES_THEATRE,
        {**IMPLANTS, "number": "box_opened"},
        post={"fate": "wasted"},
        elsewhere=FAR,
        once=True,
    ),
    "theatre-card": Door(
        SEES_THEATRE,
        {**IMPLANTS, "number": "box_implanted"},
        post={"card": "given"},
        elsewhere=FAR,
        once=True,
    ),
    "theatre-box-place": Door(
        SEES_THEATRE,
        {**IMPLANTS, "number": "box_unknown"},
        post={"construct": "implant_construct"},
        elsewhere=FAR,
        once=True,
    ),
    "theatre-stop": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-stop-said": Door(
        SEES_THEATRE, {**IMPLANTS, "number": "construct_number"}, post={"said": "side"}, elsewhere=FAR
    ),
    "theatre-set-fail": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-set-answers": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "table-failures": Door(HOSPITAL | FAR),
    "table-failure-answer": Door(WORKS, {"pk": "failure"}, post={"answer": "none"}, elsewhere=FAR, once=True),
    "theatre-sets": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-sets-lack": Door(
        SEES_THEATRE,
        {**IMPLANTS, "pack": "room_pack"},
        post={"line": "lacking_line", "quantity": "1", "cause": "missing"},
        elsewhere=FAR,
    ),
    "theatre-sign": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-record-sign": Door(
        SEES_THEATRE,
        IMPLANTS,
        post={"role": "surgeon", "name": "sign_name", "pin": "sign_pin"},
        elsewhere=FAR,
        once=True,
    ),
    "theatre-unsigned": Door(
        SEES_THEATRE,
        IMPLANTS,
        post={"role": "surgeon", "name": "S. Scrub", "why": "called away"},
        elsewhere=FAR,
    ),
    "theatre-close": Door(SEES_THEATRE, IMPLANTS, post={}, elsewhere=FAR),
    "theatre-close-exception": Door(
        SEES_THEATRE,
        IMPLANTS,
        post={"reason": "emergency", "name": "quality", "pin": "sign_pin"},
        elsewhere=FAR,
        once=True,
    ),
    "theatre-record": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-record-pdf": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-record-csv": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-record-json": Door(SEES_THEATRE, IMPLANTS, elsewhere=FAR),
    "theatre-paper": Door(FROM_PAPER, IMPLANTS, elsewhere=FAR),
    "theatre-paper-box": Door(
        FROM_PAPER,
        IMPLANTS,
        post={
            "construct": "implant_construct",
            "described": "Cement restrictor",
            "fate": "implanted",
            "word_of": "S. Scrub",
            "happened_at": "paper_time",
        },
        elsewhere=FAR,
    ),
    "theatre-paper-sign": Door(
        FROM_PAPER,
        IMPLANTS,
        post={"role": "surgeon", "name": "S. Scrub", "happened_at": "paper_time"},
        elsewhere=FAR,
    ),
    "theatre-paper-stage": Door(
        FROM_PAPER,
        {**IMPLANTS, "stage": "waiting_stage"},
        post={
            "scrub": "S. Scrub",
            "circulating": "C. Circulating",
            "happened_at": "paper_time",
            "rest_agrees": "on",
        },
        elsewhere=FAR,
        once=True,
    ),
    "chase": Door(SEES_THEATRE | FAR),
    "chase-mark": Door(SEES_THEATRE, {"pk": "mark"}, elsewhere=FAR),
    "case-avoid": Door(SEES_THEATRE, CASE, elsewhere=FAR),
    "no-card": Door({"quality", "coordinator", "keeper"} | FAR),
    # Orders and their deliveries
    "orders": Door(ORDERS | FAR),
    "order-new": Door(DRAFTS | FAR, post={"item": "order_item", "quantity": "1", "kind": "stock"}),
    "order": Door(ORDERS, {"pk": "order_draft"}, elsewhere=FAR),
    "order-paper": Door(ORDERS, {"pk": "order_approved", "form": "order_form"}, elsewhere=FAR),
    "order-add": Door(
        DRAFTS, {"pk": "order_draft"}, post={"item": "order_item", "quantity": "1"}, elsewhere=FAR
    ),
    "order-line": Door(DRAFTS, {"pk": "order_line"}, post={"quantity": "2", "price": "3.50"}, elsewhere=FAR),
    "order-line-off": Door(DRAFTS, {"pk": "order_line"}, post={}, elsewhere=FAR, once=True),
    "order-approve": Door(ORDERS, {"pk": "order_draft"}, post={"pin": "pin"}, elsewhere=FAR, once=True),
    "order-send": Door(SENDS, {"pk": "order_approved"}, post={"way": "post"}, elsewhere=FAR),
    "order-confirm": Door(SENDS, {"pk": "order_sent"}, post={}, elsewhere=FAR, once=True),
    "order-end": Door(DRAFTS, {"pk": "order_draft"}, post={"reason": "mistake"}, elsewhere=FAR, once=True),
    "order-limits": Door(ORDERS | FAR),
    "order-limits-set": Door({"stores", "quality", "keeper"}, post={}),
    "order-receive": Door(SENDS, {"pk": "order_sent"}, elsewhere=FAR),
    "order-receive-begin": Door(
        SENDS, {"pk": "order_sent"}, post={"place": "shelf", "tenure": "owned"}, elsewhere=FAR, once=True
    ),
    "order-receive-hand": Door(
        SENDS,
        {"pk": "order_taking_in"},
        post={"item": "order_item", "lot": "L1", "count": "1", "condition": "good"},
        elsewhere=FAR,
    ),
    "order-receive-undo": Door(SENDS, {"pk": "order_taking_in"}, post={}, elsewhere=FAR, once=True),
    "order-receive-done": Door(SENDS, {"pk": "order_taking_in"}, post={}, elsewhere=FAR, once=True),
    # Goods
    **GOODS_DOORS,
}
