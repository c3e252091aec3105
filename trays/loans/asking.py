"""Asking for a loan, the supplier's word, and giving it up again."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import TypeVar
from uuid import UUID, uuid4

from django.utils.translation import gettext as _

from trays.catalogue.models import Component
from trays.instruments.models import InstrumentSet, SetDesign
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.loans.acting import Locked, Who, act_on
from trays.loans.models import Loan, LoanItem, LoanSet
from trays.loans.models_agreements import LoanOffer
from trays.loans.moving import loan_step_within, step_write
from trays.loans.ways import BEGIN, LoanStatus
from trays.loans.words import CANCEL, DECLINE
from trays.parties.models import Party, PartyKind, Site
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.web.errors import Refusal

MOST = 200
T = TypeVar("T", SetDesign, Component)


@dataclass(frozen=True, slots=True)
class LoanWish:
    """What is asked of a supplier, and when it is wanted.

    With an `offer` and neither `designs` nor `items` all that the offer holds is asked for. `cause` names
    what asked (one cause has one open loan), `case_key` the case, both as the caller writes them.
    """

    supplier: Party
    needed_from: datetime
    needed_until: datetime
    offer: LoanOffer | None = None
    designs: Sequence[tuple[SetDesign, int]] = ()
    items: Sequence[tuple[Component, int]] = ()
    case_key: str = ""
    cause: str = ""
    fee: Decimal | None = None
    currency: str = ""
    note: str = ""


def loan_ask(*, by: Person, site: Site, wish: LoanWish, at: datetime, client_key: UUID | None = None) -> Loan:
    """Ask a supplier for a loan.

    Raises Refusal "loan-of-nothing", "not-a-supplier", "not-their-offer", "offer-not-valid",
    "not-their-item", "too-many", "needed-backwards", "asked-already"; NotAllowed "not-your-act".
    """
    require(by=by, act="ask_loan", site_id=site.pk)

    def work() -> Loan:
        loan, lines = ask_within(by=by, site=site, wish=wish, at=at)
        record(
            chain=site.code, verb="loan.ask", by=by, at=at, client_key=client_key,
            answer={"loan": loan.pk}, lines=lines,
        )  # fmt: skip
        return loan

    return act_once(
        verb="loan.ask",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Loan.objects.get(pk=answer["loan"]),
    )


def ask_within(*, by: Person, site: Site, wish: LoanWish, at: datetime) -> tuple[Loan, list[Line]]:
    """The same within a larger act, with no event written."""
    designs, items = _wanted(wish)
    _check(wish, site=site, at=at, designs=designs, items=items)
    offer = wish.offer
    loan = Loan.objects.create(
        number=f"new-{uuid4().hex[:12]}",
        site=site,
        supplier=wish.supplier,
        offer=offer,
        case_key=wish.case_key,
        cause=wish.cause,
        needed_from=wish.needed_from,
        needed_until=wish.needed_until,
        fee=offer.fee if wish.fee is None and offer else wish.fee,
        currency=wish.currency or (offer.currency if offer else site.currency),
        note=wish.note,
        asked_at=at,
        asked_by=by,
    )
    loan.number = f"LN{loan.pk:05d}"
    loan.save(update_fields=["number"])
    step_write(loan=loan, before=BEGIN, after=LoanStatus.ASKED, by=by, at=at, recorded_at=at)
    known = known_designs(site_id=site.pk, design_ids=[design.pk for design, _n in designs])
    each = [design for design, count in designs for _n in range(count)]
    LoanSet.objects.bulk_create(
        [
            LoanSet(loan=loan, number=number, design=design, unfamiliar=design.pk not in known)
            for number, design in enumerate(each, start=1)
        ]
    )
    LoanItem.objects.bulk_create(
        [LoanItem(loan=loan, component=component, quantity=count) for component, count in items]
    )
    return loan, [Line("loan", loan.pk, BEGIN, LoanStatus.ASKED)]


def loan_confirm(
    *,
    by: Person,
    loan: Loan,
    arrives_at: datetime,
    supplier_reference: str = "",
    fee: Decimal | None = None,
    at: datetime,
    client_key: UUID | None = None,
) -> Loan:
    """Take down the supplier's word: when it will be here, under which of their numbers, for how much.

    Said again of a loan that is confirmed, the new word counts. Raises Refusal "no-way-loan", "loan-ended",
    "promised-for-the-past"; NotAllowed.
    """
    require(by=by, act="ask_loan", site_id=loan.site_id)
    if arrives_at < at:
        raise Refusal(
            "promised-for-the-past",
            _("This moment has passed."),
            _("Give the day and time at which it will be brought. If it is here, take its arrival down."),
        )

    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        again = own.status == LoanStatus.CONFIRMED
        before = own.arrives_at
        own.arrives_at = arrives_at
        own.supplier_reference = supplier_reference or own.supplier_reference
        own.fee = own.fee if fee is None else fee
        own.save(update_fields=["arrives_at", "supplier_reference", "fee"])
        if again:
            return [Line("loan", own.pk, before.isoformat() if before else "", arrives_at.isoformat())]
        return [loan_step_within(loan=own, after=LoanStatus.CONFIRMED, by=by, at=at)]

    return act_on(loan, Who(by, at, client_key), "loan.confirm", change)


def loan_refuse(*, by: Person, loan: Loan, reason: str, at: datetime, client_key: UUID | None = None) -> Loan:
    """The supplier says no. `reason` is one of `words.DECLINE`.

    Raises Refusal "loan-is-here", "loan-ended"; NotAllowed "not-your-act".
    """
    require(by=by, act="ask_loan", site_id=loan.site_id)
    return _ended("loan.refuse", LoanStatus.REFUSED, _one_of(reason, DECLINE), loan, Who(by, at, client_key))


def loan_cancel(*, by: Person, loan: Loan, reason: str, at: datetime, client_key: UUID | None = None) -> Loan:
    """Give up a loan that is not here yet. `reason` is one of `words.CANCEL`.

    Raises Refusal "loan-is-here", "loan-ended"; NotAllowed "not-your-act".
    """
    require(by=by, act="ask_loan", site_id=loan.site_id)
    return _ended("loan.cancel", LoanStatus.CANCELLED, _one_of(reason, CANCEL), loan, Who(by, at, client_key))


def known_designs(*, site_id: int, design_ids: Sequence[int]) -> set[int]:
    """The designs of which a set has been at the site before: those are familiar (one query)."""
    rows = InstrumentSet.objects.filter(site_id=site_id, version__design_id__in=list(design_ids))
    return set(rows.order_by().values_list("version__design_id", flat=True).distinct())


def _ended(verb: str, after: str, reason: str, loan: Loan, who: Who) -> Loan:
    def change(locked: Locked) -> list[Line]:
        own = locked.loan
        if own.status not in (LoanStatus.ASKED, LoanStatus.CONFIRMED):
            raise Refusal(
                "loan-is-here",
                _("Something of loan %(loan)s is here already.") % {"loan": own.number},
                _("Count it out and send it home; that it was not needed needs no word."),
            )
        own.sets.filter(open=True).update(open=False, ended_at=who.at)
        line = loan_step_within(loan=own, after=after, by=who.by, at=who.at, reason=reason)
        if own.ended_at is None:
            own.ended_at = who.at
            own.save(update_fields=["ended_at"])
        return [line]

    return act_on(loan, who, verb, change, reason=reason)


def _one_of(reason: str, words: Mapping[str, object]) -> str:
    if reason not in words:
        raise ValueError(f"{reason!r} is no reason of ours")
    return reason


def _wanted(wish: LoanWish) -> tuple[list[tuple[SetDesign, int]], list[tuple[Component, int]]]:
    """What is asked for: what is named, or all of the offer; each thing once."""
    designs, items = list(wish.designs), list(wish.items)
    if wish.offer is not None and not designs and not items:
        designs = [(row.design, row.quantity) for row in wish.offer.sets.select_related("design")]
        items = [(row.component, row.quantity) for row in wish.offer.units.select_related("component")]
    return _summed(designs), _summed(items)


def _summed(rows: Sequence[tuple[T, int]]) -> list[tuple[T, int]]:
    found: dict[int, tuple[T, int]] = {}
    for thing, count in rows:
        found[thing.pk] = (thing, count + (found[thing.pk][1] if thing.pk in found else 0))
    return list(found.values())


def _check(
    wish: LoanWish,
    *,
    site: Site,
    at: datetime,
    designs: Sequence[tuple[SetDesign, int]],
    items: Sequence[tuple[Component, int]],
) -> None:
    if wish.supplier.kind != PartyKind.SUPPLIER:
        raise Refusal(
            "not-a-supplier", _("%(who)s is no supplier.") % {"who": wish.supplier}, _("Choose a supplier.")
        )
    if not designs and not items:
        raise Refusal("loan-of-nothing", _("Nothing is asked for."), _("Choose an offer, a set or a size."))
    if any(not 1 <= count <= MOST for _thing, count in (*designs, *items)):
        raise Refusal(
            "too-many",
            _("One loan holds 1 to %(most)s of a thing.") % {"most": MOST},
            _("Correct the count."),
        )
    if wish.needed_until < wish.needed_from:
        raise Refusal(
            "needed-backwards",
            _("It is wanted until before it is wanted."),
            _("Correct one of the two moments."),
        )
    others = [component for component, _n in items if component.supplier_id != wish.supplier.pk]
    if others:
        raise Refusal(
            "not-their-item",
            _("%(what)s is not an item of %(who)s.") % {"what": others[0], "who": wish.supplier},
            _("Take it out, or ask its own supplier."),
        )
    _check_offer(wish, site=site, at=at)
    if wish.cause and Loan.objects.filter(cause=wish.cause, ended_at__isnull=True).exists():
        raise Refusal(
            "asked-already",
            _("For this a loan has been asked already."),
            _("Look at the list of loans; give that one up first if another is wanted."),
        )


def _check_offer(wish: LoanWish, *, site: Site, at: datetime) -> None:
    offer = wish.offer
    if offer is None:
        return
    if offer.supplier_id != wish.supplier.pk:
        raise Refusal(
            "not-their-offer",
            _("%(offer)s is not lent by %(who)s.") % {"offer": offer, "who": wish.supplier},
            _("Choose an offer of this supplier."),
        )
    day = site_day(site, at)
    if offer.valid_from > day or (offer.valid_until is not None and offer.valid_until < day):
        raise Refusal(
            "offer-not-valid",
            _("%(offer)s is not offered today.") % {"offer": offer},
            _("Choose another offer, or ask without one."),
        )
