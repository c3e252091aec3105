"""A coordinator accepts a plan: its loans are asked for, its orders drafted, its transfers listed, its list
put into the other order, all in one act.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from uuid import UUID

from django.utils.translation import gettext as _

from cases.bookings.arrange import reorder_within
from cases.bookings.kinds import Follow
from cases.bookings.models import Case
from cases.bookings.queries import cases_on
from cases.readiness.kinds import Level
from cases.readiness.on_the_way import coming_to
from cases.reorders.doings import sendable
from cases.reorders.expecting import told
from cases.reorders.models import ActKind, Proposal, ProposalAct
from cases.reorders.plans import Act, Offered, Plan
from cases.reorders.services import draft_each, lock_site
from cases.reservations import locking
from trays.catalogue.models import Component
from trays.ledger.append import Line, record
from trays.ledger.once import act_once
from trays.loans.asking import LoanWish, ask_within
from trays.loans.models_agreements import LoanOffer
from trays.loans.queries import expected_loans
from trays.orders.drafting import OrderWish, cause_clash
from trays.orders.models import OrderKind, OrderLine
from trays.parties.models import Site
from trays.parties.queries import site_day
from trays.staff.access import require
from trays.staff.models import Person
from trays.stock.models import Unit
from trays.stock.transferring import transfer_within
from trays.web.errors import Refusal


@dataclass(frozen=True, slots=True)
class Accepted:
    """A plan as it is accepted: for which case, and on what it rests. `coming` stands for what was on its
    way when it was worked out.
    """

    case: Case
    plan: Plan
    offered: Offered
    coming: str


def plan_accept(
    *,
    by: Person,
    accepted: Accepted,
    at: datetime,
    follow: Follow | None = None,
    client_key: UUID | None = None,
) -> Proposal:
    """Do all that a plan holds, in one act.

    Raises Refusal "plan-out-of-date" (something was ordered, asked or has come since it was worked out), and
    what the halves raise, as for a list that was changed; NotAllowed. The same key gives the same proposal.
    """
    case, plan = accepted.case, accepted.plan
    require(by=by, act="decide_plan", site_id=case.site_id)
    if plan.order is not None:
        require(by=by, act="reorder_list", site_id=case.site_id)

    def work() -> Proposal:
        lock_site(case.site)
        _refuse_changed(case, accepted.coming, at)
        if plan.order is None:
            locking.lock(cases=[case.pk])
        Proposal.objects.filter(case=case, ended_at__isnull=True).update(ended_at=at)
        made = Proposal.objects.create(
            case=case, by=by, at=at, cost=plan.cost, currency=accepted.offered.doings.currency,
            chance_before=_chance(accepted.offered.coming, case), chance_after=_chance(plan.after, case),
        )  # fmt: skip
        hand = _Hand(accepted, made, by, at)
        lines = [*hand.move_list(follow), *hand.send(), *hand.ask(), *hand.order()]
        ProposalAct.objects.bulk_create(hand.acts)
        record(
            chain=case.site.code, verb="plan.accept", by=by, at=at, client_key=client_key,
            answer={"proposal": made.pk}, lines=[Line("proposal", made.pk, "", "accepted"), *lines],
        )  # fmt: skip
        return made

    return act_once(
        verb="plan.accept",
        by=by,
        client_key=client_key,
        work=work,
        replay=lambda answer: Proposal.objects.get(pk=answer["proposal"]),
        clash_said=cause_clash,
    )


class _Hand:
    """Does the parts of a plan, and notes what was made of each."""

    def __init__(self, accepted: Accepted, proposal: Proposal, by: Person, at: datetime) -> None:
        self.case, self.plan, self.offered = accepted.case, accepted.plan, accepted.offered
        self.proposal, self.by, self.at = proposal, by, at
        self.acts: list[ProposalAct] = []

    def move_list(self, follow: Follow | None) -> list[Line]:
        order = self.plan.order
        if order is None:
            return []
        _done, lines = reorder_within(
            by=self.by,
            theatre_list=self.case.list,
            order=order.ids,
            at=self.at,
            seen=order.seen,
            follow=follow,
        )
        self._note(ActKind.LIST, Decimal(0), self.case.list.day, theatre_list=self.case.list)
        return lines

    def send(self) -> list[Line]:
        """One transfer for each site that sends."""
        lines = []
        by_site: dict[int, list[Act]] = {}
        for act in self._of("transfer"):
            by_site.setdefault(act.doing.site_id or 0, []).append(act)
        for source in Site.objects.filter(pk__in=by_site).order_by("pk"):
            own = by_site[source.pk]
            last = max(case.day for case in self.offered.cases)
            units = [unit for act in own for unit in _units(source, act, last)]
            made, said = transfer_within(
                by=self.by, source=source, target=self.case.site, units=units, at=self.at,
                cause=f"plan:{self.case.pk}:{source.pk}", needed_on=own[0].doing.here,
            )  # fmt: skip
            cost = sum((act.cost for act in own), Decimal(0))
            self._note(ActKind.TRANSFER, cost, own[0].doing.here, transfer=made)
            lines += said
        return lines

    def ask(self) -> list[Line]:
        """One loan for each time an offer is taken."""
        lines = []
        starts = min(case.starts_at for case in self.offered.cases)
        ends = max(case.starts_at + timedelta(minutes=case.minutes) for case in self.offered.cases)
        for act in self._of("loan"):
            offer = LoanOffer.objects.select_related("supplier").get(pk=act.doing.pk)
            for number in range(act.times):
                wish = LoanWish(
                    supplier=offer.supplier, needed_from=starts, needed_until=ends, offer=offer,
                    case_key=key_of_case(self.case), cause=f"plan:{self.case.pk}:{offer.pk}:{number}",
                )  # fmt: skip
                loan, said = ask_within(by=self.by, site=self.case.site, wish=wish, at=self.at)
                self._note(ActKind.LOAN, act.doing.cost, act.doing.here, loan=loan)
                lines += said
        return lines

    def order(self) -> list[Line]:
        """A draft for each supplier."""
        acts = self._of("order")
        if not acts:
            return []
        day = site_day(self.case.site, self.at)
        coming = coming_to(site=self.case.site, day=day)
        components = Component.objects.select_related("supplier").in_bulk([act.doing.pk for act in acts])
        wishes = {}
        for act in acts:
            component = components[act.doing.pk]
            on_order = sum(one.pieces for one in coming.get(component.pk, ()))
            cause = f"plan:{self.case.pk}:{component.pk}:{on_order}"
            price = act.doing.cost / component.order_multiple if act.doing.priced else None
            wishes[cause] = OrderWish(
                component, component.order_multiple * act.times, cause=cause, price=price,
                currency=self.offered.doings.currency if act.doing.priced else "",
            )  # fmt: skip
        orders, lines = draft_each(
            by=self.by, site=self.case.site, wishes=wishes.values(), kind=OrderKind.STOCK, at=self.at
        )
        made = {line.cause: line for line in OrderLine.objects.filter(order__in=orders)}
        for cause, act in zip(wishes, acts, strict=True):
            self._note(ActKind.ORDER, act.cost, act.doing.here, order_line=made[cause])
        return lines

    def _of(self, kind: str) -> list[Act]:
        return [act for act in self.plan.acts if act.doing.kind == kind]

    def _note(self, kind: ActKind, cost: Decimal, arrives: date, **made: object) -> None:
        self.acts.append(
            ProposalAct(
                proposal=self.proposal,
                number=len(self.acts) + 1,
                kind=kind,
                cost=cost,
                arrives=arrives,
                **made,
            )  # fmt: skip
        )


def key_of_case(case: Case) -> str:
    """How the rooms below name a case: by a key that tells nothing."""
    return str(case.pk)


def _units(source: Site, act: Act, last: date) -> Sequence[Unit]:
    found = list(sendable(source, [act.doing.pk], last)[: act.times])
    if len(found) < act.times:
        raise _out_of_date()
    return found


def _refuse_changed(case: Case, coming: str, at: datetime) -> None:
    now = coming_to(site=case.site, day=site_day(case.site, at))
    if told(now.items(), expected_loans(site_id=case.site_id)) != coming:
        raise _out_of_date()
    if not cases_on(case.list_id).filter(pk=case.pk, status=Case.Status.BOOKED).exists():
        raise _out_of_date()


def _chance(levels: Mapping[int, Level], case: Case) -> float:
    found = levels.get(case.pk)
    return min(1.0, max(0.0, found.chance)) if found is not None else 0.0


def _out_of_date() -> Refusal:
    return Refusal(
        "plan-out-of-date",
        _("Something has been ordered, asked for or moved since this plan was worked out."),
        _("Look at the plans as they are now, and choose again."),
    )
