"""Reading loans: each with its next step and deadline, what is in it, and where it has been."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from heapq import merge

from django.db.models import Count, F, Q, QuerySet

from trays.instruments.models import Pack, PackState
from trays.ledger.models import EventLine
from trays.loans.deadlines import (
    Allowed,
    Clock,
    Deadlines,
    Lateness,
    Need,
    Next,
    deadlines,
    lateness,
    minutes_left,
    next_step,
)
from trays.loans.following import FOLLOWED, FOLLOWING, Happened, follow, steps_missing
from trays.loans.models import CheckOutcome, Loan, LoanSet, LoanStep, LoanUnit
from trays.loans.policies import allowed_by, loan_policy_on
from trays.loans.ways import EXPECTED, HERE, LoanStatus
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.processing.models import Move
from trays.processing.times import hours_of
from trays.stock.ways import FATES

# From these a pack of a loan is washed before the loan is counted out: away first.
AWAY = (PackState.ISSUED, PackState.OPENED, PackState.USED)
TO_CLEAN = (*AWAY, PackState.RECEIVED)
COUNTABLE = (LoanStatus.CHECKED, LoanStatus.PROCESSED, LoanStatus.DECONTAMINATED, LoanStatus.COUNTED_OUT)
FOLLOWS_ITSELF = (CheckOutcome.ACCEPTED, CheckOutcome.EXCEPTION)


@dataclass(frozen=True, slots=True)
class Standing:
    """One loan as it stands: by the record and, where its packs have moved on since, by these.

    `left` is in working minutes to the deadline, below nought once it is late. `asked_late`: it was asked
    later than the supplier's lead time allows.
    """

    loan: Loan
    status: str
    sets: int
    units: int
    due: Deadlines
    next: Next | None
    lateness: Lateness
    left: int
    asked_late: bool

    @property
    def late(self) -> bool:
        return self.lateness is Lateness.LATE


@dataclass(frozen=True, slots=True)
class Reckoning:
    """What deadlines at a site are reckoned with."""

    allowed: Allowed
    clock: Clock

    @classmethod
    def of(cls, site: Site, at: datetime) -> "Reckoning":
        """Two queries: the site's rules, and the hours of its sterile services."""
        return cls(allowed_by(loan_policy_on(site=site, day=site_day(site, at))), hours_of(site))


def whole_loans() -> QuerySet[Loan]:
    """Loans with what a page says of each."""
    return Loan.objects.select_related("site", "supplier", "offer", "asked_by")


def open_loans(*, site_id: int) -> QuerySet[Loan]:
    """The loans of a site that have not ended, the next case first."""
    return whole_loans().filter(site_id=site_id, ended_at__isnull=True).order_by("needed_from", "pk")


def ended_loans(*, site_id: int) -> QuerySet[Loan]:
    """The loans of a site that have ended, the latest first."""
    return whole_loans().filter(site_id=site_id, ended_at__isnull=False).order_by("-ended_at", "-pk")


def late_or_due(*, site: Site, at: datetime) -> tuple[Standing, ...]:
    """Every open loan of a site with its next step, the earliest deadline first. Ten queries at most."""
    return standings(list(open_loans(site_id=site.pk)), site=site, at=at)


def standings(loans: Collection[Loan], *, site: Site, at: datetime) -> tuple[Standing, ...]:
    """The same for the loans that are named, all of one site."""
    reckoning = Reckoning.of(site, at)
    ids = [loan.pk for loan in loans]
    counts = _counts(ids)
    followed = statuses_followed(loans)
    found = []
    for loan in loans:
        sets, units, unfamiliar = counts.get(loan.pk, (0, 0, False))
        status = followed.get(loan.pk, loan.status)
        found.append(_standing(loan, status, sets, units, unfamiliar, reckoning, at))
    return tuple(sorted(found, key=_earliest))


def _standing(
    loan: Loan,
    status: str,
    sets: int,
    units: int,
    unfamiliar: bool,
    reckoning: Reckoning,
    at: datetime,
) -> Standing:
    need = Need(loan.needed_from, loan.needed_until, lead_days(loan), sets > 0, unfamiliar)
    due = deadlines(need, reckoning.allowed, reckoning.clock)
    step = next_step(status, due, need, at) if loan.ended_at is None else None
    promised = loan.arrives_at if status == LoanStatus.CONFIRMED else None
    if step is None:
        how, left = Lateness.IN_TIME, 0
    else:
        how = lateness(step, at, reckoning.allowed, reckoning.clock, promised=promised)
        left = minutes_left(step, at, reckoning.clock, promised=promised)
    return Standing(loan, status, sets, units, due, step, how, left, loan.asked_at > due.ask)


def lead_days(loan: Loan) -> int:
    """Working days from asking to arrival: by the offer, else as the supplier is known for."""
    return loan.offer.lead_working_days if loan.offer else loan.supplier.lead_working_days


def _earliest(one: Standing) -> tuple[bool, datetime, int]:
    return one.next is None, one.next.by if one.next else one.loan.needed_from, one.loan.pk


def _counts(loan_ids: Collection[int]) -> dict[int, tuple[int, int, bool]]:
    """By loan: sets, sealed units (come, or else asked for), whether a set is new here. Three queries."""
    sets: dict[int, tuple[int, int]] = {
        pk: (total, unfamiliar)
        for pk, total, unfamiliar in LoanSet.objects.filter(loan_id__in=loan_ids)
        .exclude(outcome=CheckOutcome.REFUSED)
        .order_by()
        .values_list("loan_id")
        .annotate(n=Count("pk"), new=Count("pk", filter=Q(unfamiliar=True)))
    }
    came = LoanUnit.objects.filter(loan_id__in=loan_ids).order_by().values_list("loan_id")
    units = dict(came.annotate(n=Count("pk")))
    asked: dict[int, int] = defaultdict(int)
    rows = Loan.objects.filter(pk__in=loan_ids, items__isnull=False).order_by()
    for pk, quantity in rows.values_list("pk", "items__quantity"):
        asked[pk] += quantity
    return {
        pk: (sets.get(pk, (0, 0))[0], units.get(pk, 0) or asked.get(pk, 0), sets.get(pk, (0, 0))[1] > 0)
        for pk in loan_ids
    }


def countable(one: Standing) -> bool:
    """Whether a loan may be counted out as it stands: checked, and nothing of it still to be cleaned.

    One query where it is in use, else none.
    """
    if one.loan.ended_at is not None:
        return False
    if one.status != LoanStatus.IN_USE:
        return one.status in COUNTABLE
    packs = Pack.objects.filter(set__loan_sets__loan=one.loan, set__loan_sets__open=True)
    return not packs.filter(state__in=TO_CLEAN).exists()


def statuses_followed(loans: Iterable[Loan]) -> dict[int, str]:
    """By loan the status in which it really stands, where its packs and units have moved on since the last
    step on record. Four queries.
    """
    missing = followed_steps([loan for loan in loans if loan.status in FOLLOWED])
    return {pk: steps[-1][0] for pk, steps in missing.items() if steps}


def followed_steps(loans: Collection[Loan]) -> dict[int, list[tuple[str, datetime]]]:
    """By loan the steps that what happened to its packs and units still has to leave on its record.

    Four queries, whatever there is; none without loans.
    """
    if not loans:
        return {}
    ids = [loan.pk for loan in loans]
    packs, moves = _moves_since(ids)
    uses = _uses(ids)
    recorded = _recorded(ids)
    found = {}
    for loan in loans:
        events = merge(moves[loan.pk], uses[loan.pk], key=lambda one: one[0])
        followed = follow(packs[loan.pk], (event for _recorded_at, event in events))
        found[loan.pk] = steps_missing(loan.status, recorded[loan.pk], followed)
    return found


Taken = tuple[datetime, Happened]
"""When something was taken down, and what it was."""


def _moves_since(ids: Collection[int]) -> tuple[dict[int, set[int]], dict[int, list[Taken]]]:
    """By loan the packs of its accepted sets, and what they went through since they came. Two queries."""
    of_loan = LoanSet.objects.filter(loan_id__in=ids, outcome__in=FOLLOWS_ITSELF, open=True)
    packs: dict[int, set[int]] = defaultdict(set)
    came: dict[int, tuple[int, datetime]] = {}
    for loan_id, pack_id, arrived in of_loan.values_list("loan_id", "set__packs", "arrived_at"):
        if pack_id is not None and arrived is not None:
            packs[loan_id].add(pack_id)
            came[pack_id] = (loan_id, arrived)
    events: dict[int, list[Taken]] = defaultdict(list)
    moves = Move.objects.filter(pack_id__in=came).order_by("pk")
    for pack_id, state, at, recorded_at in moves.values_list("pack_id", "after", "at", "recorded_at"):
        loan_id, arrived = came[pack_id]
        if recorded_at >= arrived:
            events[loan_id].append((recorded_at, Happened(at, pack_id, state)))
    return packs, events


def _uses(ids: Collection[int]) -> dict[int, list[Taken]]:
    """By loan when sealed units of it were opened, implanted or wasted. Two queries."""
    loans = dict(LoanUnit.objects.filter(loan_id__in=ids).values_list("unit_id", "loan_id"))
    found: dict[int, list[Taken]] = defaultdict(list)
    lines = EventLine.objects.filter(subject="unit", subject_id__in=list(loans), after__in=FATES)
    rows = lines.order_by("event").values_list("subject_id", "event__happened_at", "event__recorded_at")
    for unit_id, at, recorded_at in rows:
        found[loans[unit_id]].append((recorded_at, Happened(at)))
    return found


def _recorded(ids: Collection[int]) -> dict[int, list[str]]:
    """By loan the statuses that following has written since it was last checked. One query."""
    found: dict[int, list[str]] = defaultdict(list)
    steps = LoanStep.objects.filter(loan_id__in=ids).order_by("loan", "sequence")
    for loan_id, before, after in steps.values_list("loan_id", "before", "after"):
        if after == LoanStatus.CHECKED and before != LoanStatus.PROCESSED:
            found[loan_id] = []
        elif after in FOLLOWING:
            found[loan_id].append(after)
    return found


def loans_of_case(case_key: str) -> QuerySet[Loan]:
    """The loans that were asked for a case, kept for good."""
    return whole_loans().filter(case_key=case_key).order_by("pk")


def loans_of_sets(set_ids: Iterable[int]) -> QuerySet[LoanSet]:
    """Every time that one of the sets was lent to us, the latest first."""
    rows = LoanSet.objects.filter(set_id__in=list(set_ids)).select_related("loan__supplier", "loan__site")
    return rows.order_by("-arrived_at", "-pk")


def loan_with_set(*, set_id: int, at: datetime) -> Loan | None:
    """The loan under which a set was here at a moment; None where it was not lent then (one query)."""
    here = Q(ended_at__isnull=True) | Q(ended_at__gte=at)
    row = loans_of_sets([set_id]).filter(here, arrived_at__lte=at).first()
    return row.loan if row else None


def loan_with_unit(*, unit_id: int) -> LoanUnit | None:
    """The open loan, else the latest one, with which a sealed unit came (one query)."""
    rows = LoanUnit.objects.filter(unit_id=unit_id).select_related("loan__supplier")
    return rows.order_by(F("open").desc(), "-pk").first()


def expected_loans(*, site_id: int) -> QuerySet[Loan]:
    """What is asked or confirmed and not here yet."""
    return open_loans(site_id=site_id).filter(status__in=EXPECTED)


def loans_here(*, site_id: int) -> QuerySet[Loan]:
    """What stands on the premises."""
    return open_loans(site_id=site_id).filter(status__in=(*HERE, LoanStatus.REFUSED))
