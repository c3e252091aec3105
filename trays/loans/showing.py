"""What the page of one loan shows of it: its sets and packs, its sealed units, charges and steps."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from django.db.models import Count, F, Q
from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.instruments.models import ContentsLine, Pack
from trays.loans.models import (
    HowBack,
    Loan,
    LoanCheck,
    LoanCheckLine,
    LoanCount,
    LoanCountLine,
    LoanSet,
    LoanUnit,
)
from trays.loans.models_charges import USE_OF_UNIT, ChargeKind, ChargeStatus, LoanCharge
from trays.loans.queries import Standing
from trays.loans.ways import LoanStatus
from trays.loans.words import reason_word, status_word, step_word
from trays.stock.ways import FATES

S = LoanStatus


@dataclass(frozen=True, slots=True)
class SetShown:
    """One set of a loan with its packs and its newest check."""

    row: LoanSet
    packs: tuple[Pack, ...]
    check: LoanCheck | None
    differs: int

    @property
    def reason(self) -> str:
        """Why it was refused, or taken with an exception, in words."""
        return reason_word(self.check.reason) if self.check and self.check.reason else ""


@dataclass(frozen=True, slots=True)
class UnitsShown:
    """One item of a loan: asked for, come, used, gone home or still here, missing."""

    component: Component
    asked: int
    units: tuple[LoanUnit, ...]

    @property
    def came(self) -> int:
        return len(self.units)

    @property
    def used(self) -> int:
        return sum(1 for one in self.units if is_used(one))

    @property
    def missing(self) -> int:
        return sum(1 for one in self.units if one.how == HowBack.MISSING)

    @property
    def home(self) -> int:
        return sum(1 for one in self.units if one.how == HowBack.RETURNED)

    @property
    def here(self) -> int:
        return self.came - self.used - self.missing - self.home


def is_used(one: LoanUnit) -> bool:
    """Whether a sealed unit was opened, implanted or wasted."""
    return one.how == HowBack.USED or (not one.how and one.unit.state in FATES)


@dataclass(frozen=True, slots=True)
class ChargeShown:
    """One charge, and for what was used how many uses of it are on record and not paid for yet."""

    row: LoanCharge
    uses: tuple[str, ...]

    @property
    def reason(self) -> str:
        """Why it was refused, in words."""
        return reason_word(self.row.reason) if self.row.reason else ""

    @property
    def acceptable(self) -> bool:
        return self.row.kind != ChargeKind.USED or len(self.uses) >= self.row.quantity


@dataclass(frozen=True, slots=True)
class StepShown:
    """One step with its deadline and, once done, its moment; `now` for the one that follows."""

    word: str
    by: datetime | None
    done: datetime | None
    who: str = ""
    now: bool = False
    late: bool = False


def sets_of(loan: Loan) -> tuple[SetShown, ...]:
    """The sets of a loan. Three queries."""
    rows = list(loan.sets.select_related("design", "set").order_by("number"))
    packs: dict[int, list[Pack]] = defaultdict(list)
    for pack in Pack.objects.filter(set__in=[row.set_id for row in rows if row.set_id]).select_related(
        "place"
    ):
        packs[pack.set_id].append(pack)
    checks: dict[int, LoanCheck] = {}
    differing = Count("lines", filter=~Q(lines__found=F("lines__expected")))
    for check in (
        LoanCheck.objects.filter(loan_set__in=rows)
        .select_related("by")
        .annotate(differs=differing)
        .order_by("number")
    ):
        checks[check.loan_set_id] = check
    return tuple(
        SetShown(
            row,
            tuple(packs.get(row.set_id or 0, ())),
            checks.get(row.pk),
            getattr(checks.get(row.pk), "differs", 0),
        )
        for row in rows
    )


def units_of(loan: Loan) -> tuple[UnitsShown, ...]:
    """The sealed units of a loan, by item. Two queries."""
    asked = {row.component_id: row for row in loan.items.select_related("component__family")}
    rows = loan.units.select_related("unit__component__family", "unit__place").order_by("pk")
    came: dict[int, list[LoanUnit]] = defaultdict(list)
    components = {pk: row.component for pk, row in asked.items()}
    for row in rows:
        came[row.unit.component_id].append(row)
        components.setdefault(row.unit.component_id, row.unit.component)
    order = sorted(components.values(), key=_order)
    return tuple(
        UnitsShown(one, asked[one.pk].quantity if one.pk in asked else 0, tuple(came[one.pk]))
        for one in order
    )


def _order(component: Component) -> tuple[Any, ...]:
    return component.family.name, component.side, component.size_rank, component.second_rank


def use_key(one: LoanUnit) -> str:
    """The name under which the use of a sealed unit is paid for, once: a unit has one fate."""
    return f"{USE_OF_UNIT}{one.unit_id}"


def charges_of(loan: Loan, items: tuple[UnitsShown, ...]) -> tuple[ChargeShown, ...]:
    """The charges of a loan, each with the recorded uses that it may be matched to. Two queries."""
    rows = list(loan.charges.select_related("component", "claimed_by", "decided_by").prefetch_related("uses"))
    paid = {use.use_key for row in rows for use in row.uses.all()}
    uses = {
        one.component.pk: tuple(
            use_key(unit) for unit in one.units if is_used(unit) and use_key(unit) not in paid
        )
        for one in items
    }
    return tuple(
        ChargeShown(row, uses.get(row.component_id or 0, ()) if row.status == ChargeStatus.CLAIMED else ())
        for row in rows
    )


@dataclass(frozen=True, slots=True)
class CountShown:
    """The newest count of a loan and what differs in it."""

    row: LoanCount
    lines: tuple[str, ...]


def count_of(loan: Loan) -> CountShown | None:
    """The newest count. Two queries, one where nothing was counted."""
    newest = loan.counts.select_related("by").order_by("-number").first()
    if newest is None:
        return None
    rows = LoanCountLine.objects.filter(count=newest).select_related(
        "loan_set__set", "line__instrument", "line__rack_stock", "loan_unit__unit__component"
    )
    return CountShown(newest, tuple(_difference(row) for row in rows.order_by("pk")))


def _difference(row: LoanCountLine) -> str:
    if row.loan_unit is not None:
        words = {"unit": row.loan_unit.unit, "code": row.loan_unit.unit.serial or row.loan_unit.unit.lot}
        if row.counted:
            return _("%(unit)s is here although it is recorded as used") % words
        return _("%(unit)s is neither here nor used") % words
    # A law of the table: of one thing, either a unit or a line of a set.
    line, loan_set = cast(ContentsLine, row.line), cast(LoanSet, row.loan_set)
    thing = line.instrument or line.rack_stock
    return _("%(set)s, line %(n)s, %(what)s: %(counted)s of %(expected)s") % {
        "set": loan_set.set.code if loan_set.set else "",
        "n": line.number,
        "what": thing.name if thing else "",
        "counted": row.counted,
        "expected": row.expected,
    }


def steps_of(loan: Loan, standing: Standing) -> tuple[StepShown, ...]:
    """The steps of a loan: those taken, the one that follows, and those after it by their deadlines.

    One query.
    """
    taken = [
        StepShown(_done_word(step.after), None, step.at, step.by.name)
        for step in loan.steps.select_related("by").order_by("sequence")
    ]
    if standing.next is None:
        return tuple(taken)
    due = standing.due
    by: dict[str, datetime] = {
        S.CONFIRMED: due.confirm, S.ARRIVED: due.arrive, S.CHECKED: due.check, S.PROCESSED: due.ready,
        S.IN_USE: due.use, S.DECONTAMINATED: due.clean, S.COUNTED_OUT: due.count, S.RETURNED: due.back,
        S.CLOSED: due.close,
    }  # fmt: skip
    if not standing.sets:
        del by[S.PROCESSED], by[S.DECONTAMINATED]
    names = list(by)
    coming = names[names.index(standing.next.status) :] if standing.next.status in names else []
    return (
        *taken,
        *(
            StepShown(step_word(name), by[name], None, now=name == standing.next.status,
                      late=name == standing.next.status and standing.late)
            for name in coming
        ),
    )  # fmt: skip


def _done_word(status: str) -> str:
    return status_word(status).capitalize()


def contents_to_count(loan: Loan) -> list[tuple[int, ContentsLine, int]]:
    """Every line of the sets that are here, with how many came: what is counted out. Two queries."""
    rows = list(
        loan.sets.filter(open=True, set__isnull=False).order_by("number").values_list("pk", flat=True)
    )
    newest: dict[tuple[int, int], tuple[int, ContentsLine, int]] = {}
    lines = LoanCheckLine.objects.filter(check_row__loan_set__in=rows).select_related(
        "line__instrument", "line__rack_stock", "check_row"
    )
    for row in lines.order_by("check_row__number", "line__tray", "line__number"):
        set_id = row.check_row.loan_set_id
        newest[set_id, row.line_id] = (set_id, row.line, row.found)
    return sorted(newest.values(), key=lambda one: (rows.index(one[0]), one[1].tray, one[1].number))
