"""The list of every address: what it needs to be opened, and which roles get in."""

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from cases.counts.services import count_sheets_make
from cases.picks.services import pick_list_make
from tests.world import World
from trays.exchange.models import ImportRun

HOSPITAL = frozenset(
    {"coordinator", "technician", "scrub", "circulating", "surgeon", "stores", "quality", "keeper"}
)
EVERYBODY = HOSPITAL | {"supplier", "stranger", "far_coordinator"}


@dataclass(frozen=True)
class Door:
    """`kwargs` and `post` name things that `furnish` makes; `open` needs no sign-in.

    `elsewhere` are people with the right role at another site: for them the row is not there.
    """

    roles: frozenset[str] | set[str]
    kwargs: dict[str, str] = field(default_factory=dict)
    post: dict[str, str] | None = None
    open: bool = False
    elsewhere: frozenset[str] | set[str] = frozenset()


FAR = frozenset({"far_coordinator"})
BOOKS = {"coordinator", "surgeon", "keeper"}
PICKS = {"coordinator", "stores", "technician", "keeper"}
COUNTS = {"coordinator", "technician", "scrub", "circulating", "keeper"}
LABELS = {"technician", "stores", "keeper"}
ORDERS = {"stores", "coordinator", "quality", "keeper"}
IMPORTS = {"coordinator", "stores", "technician", "keeper"}


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
    count_sheets_make(by=keeper, case=case, at=now)
    run = ImportRun.objects.create(kind="units", file_name="units.csv", by=keeper, at=now, state="faulty")
    unit = world.unit(world.component("tibial", "1"))[0]
    unit.code_reads = False
    unit.save()
    return {
        "case": case.pk,
        "list": case.list_id,
        "pick_list": pick_list.pk,
        "family": world.families["femoral"].code,
        "set": "general-01",
        "run": run.pk,
        "unread_unit": unit.pk,
        "kind": "units",
        "ext": "csv",
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
    "fortnight": Door(HOSPITAL | FAR),
    "case": Door(HOSPITAL, CASE, elsewhere=FAR),
    "case-book": Door(BOOKS | FAR),
    "case-change": Door(BOOKS, CASE, elsewhere=FAR),
    "case-predict": Door(BOOKS, CASE, elsewhere=FAR),
    "case-move": Door(BOOKS, CASE, elsewhere=FAR),
    "case-cancel": Door(BOOKS, CASE, elsewhere=FAR),
    "list-order": Door({"coordinator", "keeper"}, {"pk": "list"}, elsewhere=FAR),
    "pick-lists": Door(HOSPITAL | FAR),
    "pick-list": Door(HOSPITAL, {"pk": "pick_list"}, elsewhere=FAR),
    "pick-list-pdf": Door(HOSPITAL, {"pk": "pick_list"}, elsewhere=FAR),
    "case-pick-list": Door(HOSPITAL, CASE, elsewhere=FAR),
    "pick-list-make": Door(PICKS, CASE, post={}, elsewhere=FAR),
    "count-sheets": Door(HOSPITAL, CASE, elsewhere=FAR),
    "count-sheets-pdf": Door(COUNTS, CASE, elsewhere=FAR),
    "stock": Door(HOSPITAL | FAR),
    "stock-family": Door(HOSPITAL | FAR, {"code": "family"}),
    "sets": Door(HOSPITAL | FAR),
    "set": Door(HOSPITAL, {"code": "set"}, elsewhere=FAR),
    "reorders": Door(ORDERS | FAR),
    "labels": Door(LABELS),
    "labels-pdf": Door(
        LABELS, post={"kind": "unit", "site": "larkmere", "stock": "roll-300", "ids": "unread_unit"}
    ),
    "imports": Door(IMPORTS | FAR),
    "import-new": Door(IMPORTS | FAR),
    "import-run": Door({"keeper"}, {"pk": "run"}),
    "import-template": Door({"stores", "keeper"}, {"kind": "kind", "ext": "ext"}),
}
