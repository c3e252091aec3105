"""The whole line without a page: pick lists, count sheets, labels and alerts, written into files."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from django.utils import timezone

from cases.bookings.models import Case
from cases.counts.queries import views_of
from cases.counts.services import count_sheets_make
from cases.counts.sheet import count_sheets_pdf
from cases.picks.queries import whole_lists
from cases.picks.reading import sheet_of
from cases.picks.services import pick_list_make
from cases.picks.sheet import pick_list_pdf
from cases.reorders.alerts import alerts
from cases.reorders.tables import AlertTable, alert_lines
from trays.exchange.writer import write_csv
from trays.instruments.models import Pack
from trays.labels.services import labels_print
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.staff.models import Person
from trays.web.errors import Refusal

# What is being done, how far it has come, how much there is.
Tell = Callable[[str, int, int], None]


@dataclass
class Written:
    """What was written, by kind, and what could not be, with its reason."""

    pick_lists: int = 0
    count_sheets: int = 0
    labels: int = 0
    alerts: int = 0
    refused: list[str] = field(default_factory=list)


def papers_write(
    *, out: Path, by: Person, at: datetime, days: int, stock: str, tell: Tell | None = None
) -> Written:
    """Make the papers of the next `days` operating days of each site, and every site's alerts.

    Writes `pick-lists/`, `count-sheets/`, `labels/` and `reorder-SITE.csv` under `out`, which is made if
    it is not there. Each list holds its units as it would from a page, in the order of the cases. `stock`
    is the label stock's code. What one case cannot have is told and the rest goes on.
    """
    written = Written()
    sites = list(Site.objects.order_by("code"))
    for name in ("pick-lists", "count-sheets", "labels"):
        (out / name).mkdir(parents=True, exist_ok=True)
    # The alerts first: they tell what the shelf wants before these lists are picked.
    for site in sites:
        with timezone.override(ZoneInfo(site.zone)):
            written.alerts += _write_alerts(out, site, at)
    work = [case for site in sites for case in _next_cases(site, at, days)]
    for number, case in enumerate(work, start=1):
        if tell:
            tell(case.reference, number, len(work))
        with timezone.override(ZoneInfo(case.site.zone)):
            _write_case(out, case, by=by, at=at, stock=stock, written=written)
    return written


def _next_cases(site: Site, at: datetime, days: int) -> Iterable[Case]:
    today = site_day(site, at)
    booked = Case.objects.filter(site=site, status=Case.Status.BOOKED, list__day__gte=today)
    wanted: list[date] = list(
        booked.order_by("list__day").values_list("list__day", flat=True).distinct()[:days]
    )
    return (
        booked.filter(list__day__in=wanted)
        .select_related("site", "list")
        .order_by("list__day", "starts_at", "pk")
    )


def _write_alerts(out: Path, site: Site, at: datetime) -> int:
    found = alerts(site=site, at=at)
    lines = alert_lines(found.rows, found.day, site=site.code)
    heads, *rows = AlertTable(lines).as_values()
    (out / f"reorder-{site.code}.csv").write_bytes(write_csv(rows, heads))
    return len(lines)


def _write_case(out: Path, case: Case, *, by: Person, at: datetime, stock: str, written: Written) -> None:
    try:
        pick_list = whole_lists().get(pk=pick_list_make(by=by, case=case, at=at).pk)
        name = pick_list.number
        (out / "pick-lists" / f"{name}.pdf").write_bytes(pick_list_pdf(sheet_of(pick_list, at=at)))
        written.pick_lists += 1
        sheets = count_sheets_make(by=by, case=case, at=at)
        pdf = count_sheets_pdf(views_of(case, sheets, at=at))
        (out / "count-sheets" / f"{name}-counts.pdf").write_bytes(pdf)
        written.count_sheets += len(sheets)
        packs = list(
            Pack.objects.filter(pk__in=pick_list.lines.exclude(pack=None).values("pack"))
            .order_by("number")
            .values_list("pk", flat=True)
        )
        if packs:
            made = labels_print(by=by, kind="pack", ids=packs, stock=stock, start=1, at=at)
            (out / "labels" / f"{name}-labels.pdf").write_bytes(made.pdf)
            written.labels += made.labels
    except Refusal as refusal:
        written.refused.append(f"{case.reference}: {refusal.sentence} {refusal.next_step}")
