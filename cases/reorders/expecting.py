"""What a plan takes as coming to a site: open orders and transfers, and loans that were asked for."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from cases.readiness.coming import with_coming
from cases.readiness.facts import Snapshot
from cases.readiness.on_the_way import Coming, coming_to
from trays.loans.deadlines import Need, deadlines
from trays.loans.models import Loan
from trays.loans.queries import Reckoning, expected_loans
from trays.parties.models import Site
from trays.parties.workdays import DAY

EACH = 20
"""Units of one component on one order that are reckoned with at most: no case takes more."""


def expected_at(*, site: Site, snapshot: Snapshot) -> tuple[Snapshot, str]:
    """The site's snapshot with all that is on its way, and a text that stands for what that is.

    Loans count from the moment at which they can be ready if they come when they were promised, else when
    they are wanted. Six queries, and two for each loan's sets and units together.
    """
    coming = coming_to(site=site, day=snapshot.day)
    units = [
        (component, one.due + DAY)
        for component, rows in coming.items()
        if component in snapshot.components
        for one in rows
        for _piece in range(min(one.pieces, EACH))
    ]
    loans = list(expected_loans(site_id=site.pk).prefetch_related("sets", "items"))
    sets, lent = _of_loans(loans, site, snapshot)
    return with_coming(snapshot, units=[*units, *lent], sets=sets), told(coming.items(), loans)


def told(coming: Iterable[tuple[int, tuple[Coming, ...]]], loans: Iterable[Loan]) -> str:
    """Stands for what is on its way: another text means that something was ordered, asked or has come."""
    rows = sorted((component, sum(one.pieces for one in each)) for component, each in coming)
    return repr((rows, sorted(loan.pk for loan in loans)))


def _of_loans(
    loans: Iterable[Loan], site: Site, snapshot: Snapshot
) -> tuple[list[tuple[int, datetime]], list[tuple[int, date]]]:
    sets: list[tuple[int, datetime]] = []
    units: list[tuple[int, date]] = []
    reckoning: Reckoning | None = None
    for loan in loans:
        reckoning = reckoning or Reckoning.of(site, snapshot.at)
        ready = _ready(loan, reckoning, snapshot.at)
        sets += [(one.design_id, ready) for one in loan.sets.all() if one.open]
        day = ready.astimezone(ZoneInfo(snapshot.policy.zone)).date()
        units += [(one.component_id, day) for one in loan.items.all() for _n in range(one.quantity)]
    return sets, units


def _ready(loan: Loan, reckoning: Reckoning, at: datetime) -> datetime:
    """When a loan is ready: by its case, if it comes in time for that; else as much later as it is late."""
    has_sets = any(one.open for one in loan.sets.all())
    strange = any(one.unfamiliar for one in loan.sets.all())
    need = Need(loan.needed_from, loan.needed_until, 0, sets=has_sets, unfamiliar=strange)
    by = deadlines(need, reckoning.allowed, reckoning.clock)
    promised = max(loan.arrives_at or by.arrive, at)
    return by.ready + max(promised - by.arrive, timedelta(0))
