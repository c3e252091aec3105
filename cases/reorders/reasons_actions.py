"""Plans in words: what each thing is, by when it is here, what it buys, and what the cases come to."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from cases.bookings.models import Case
from cases.readiness.figures import short_figures
from cases.readiness.kinds import Level, Word
from cases.reorders.models import ActKind, ProposalAct
from cases.reorders.plans import Act, Offered, Plan
from cases.reorders.queries_proposals import Kept
from cases.reorders.reasons import capital, count_word
from cases.reorders.reasons_budget import money
from trays.web.wording import sitetime, verdict_word


@dataclass(frozen=True, slots=True)
class ActWords:
    """One thing of a plan as the table shows it."""

    what: str
    source: str
    here: date
    cost: str
    buys: str


@dataclass(frozen=True, slots=True)
class PlanWords:
    """One plan as the page shows it."""

    title: str
    says: str
    how: str
    acts: tuple[ActWords, ...]
    order: str
    cost: str
    refs: str
    holds: bool


@dataclass(frozen=True, slots=True)
class CaseLine:
    """One case of the list: as it stands, and with what is on its way; `here` is the one asked about."""

    case_id: int
    reference: str
    starts: str
    now: Level | None
    coming: Level | None
    changed: bool
    here: bool


@dataclass(frozen=True, slots=True)
class AcceptedWords:
    """An accepted plan, and how far each thing has come."""

    says: str
    acts: tuple[tuple[str, str], ...]
    ended: bool


def says(case: Case, offered: Offered) -> str:
    """The sentence under the title."""
    if offered.fault:
        return offered.fault
    now, coming = offered.low(offered.now), offered.low(offered.coming)
    if not now:
        return _("Every case of this list is covered on site. Nothing is to be done.")
    if not coming:
        return _("With what is on its way every case of this list is covered. Nothing more is to be done.")
    count = len(coming)
    first = ngettext(
        "%(count)s case of this list does not reach its target.",
        "%(count)s cases of this list do not reach their target.",
        count,
    ) % {"count": capital(count_word(count))}
    if not offered.plans:
        return f"{first} " + _("Nothing that can still come in time would help: move a case, or the list.")
    best = offered.plans[0]
    if best.holds and not best.hopeless:
        second = _("The cheapest way to mend that costs %(cost)s.") % {
            "cost": money(best.cost, offered.doings.currency)
        }
    else:
        second = ngettext(
            "No plan lifts it all the way; the best one costs %(cost)s.",
            "No plan lifts all of them; the best one costs %(cost)s.",
            count,
        ) % {"cost": money(best.cost, offered.doings.currency)}
    return f"{first} {second}"


def case_lines(case: Case, offered: Offered) -> list[CaseLine]:
    """The cases of the list in order."""
    return [
        CaseLine(
            case_id=one.id,
            reference=one.reference,
            starts=sitetime(one.starts_at, "time"),
            now=offered.now.get(one.id),
            coming=offered.coming.get(one.id),
            changed=_changed(offered.now.get(one.id), offered.coming.get(one.id)),
            here=one.id == case.pk,
        )
        for one in offered.cases
    ]


def _changed(now: Level | None, then: Level | None) -> bool:
    if now is None or then is None:
        return False
    return now.word is not then.word or short_figures(now) != short_figures(then)


def plan_words(offered: Offered, plan: Plan) -> PlanWords:
    """A plan with its title, its sentence and its lines."""
    currency = offered.doings.currency
    names = {one.id: one.reference for one in offered.cases}
    acts = tuple(_act(act, names, currency) for act in plan.acts)
    order = ""
    if plan.order is not None:
        order = _("Case %(up)s goes before %(down)s.") % {"up": plan.order.up, "down": plan.order.down}
    return PlanWords(
        title=_title(plan),
        says=_plan_says(plan, names),
        how=_how(plan, currency),
        acts=acts,
        order=order,
        cost=money(plan.cost, currency),
        refs=plan.refs,
        holds=plan.holds,
    )


def _title(plan: Plan) -> str:
    kinds = {act.doing.kind for act in plan.acts}
    words = {"loan": _("borrow"), "order": _("order"), "transfer": _("have sent from another site")}
    named = [words[kind] for kind in ("loan", "transfer", "order") if kind in kinds]
    if plan.order is not None:
        named.append(_("change the order of the list"))
    return capital(_(" and ").join([", ".join(named[:-1]), named[-1]]) if len(named) > 1 else named[0])


def _plan_says(plan: Plan, names: dict[int, str]) -> str:
    parts = [
        _("%(case)s %(word)s, %(figures)s")
        % {"case": names[pk], "word": verdict_word(level.word), "figures": short_figures(level)}
        for pk, level in plan.after.items()
        if pk in names
    ]
    sentences = [_("Then: %(cases)s.") % {"cases": "; ".join(parts)}] if parts else []
    lost = [names[pk] for pk in plan.hopeless if pk in names]
    if lost:
        sentences.append(_("Nothing on offer lifts %(cases)s to the target.") % {"cases": ", ".join(lost)})
    elif not plan.holds:
        left = [level for level in plan.after.values() if level.word is not Word.COVERED]
        sentences.append(
            _("What is then left is sizes without a fit rule on file; nothing that comes helps against that.")
            if all(level.word is Word.UNKNOWN for level in left)
            else _("By the full count that does not quite reach the target.")
        )
    if plan.others:
        sentences.append(
            ngettext(
                "%(count)s other case of the site fares worse for it.",
                "%(count)s other cases of the site fare worse for it.",
                plan.others,
            )
            % {"count": plan.others}
        )
    return " ".join(sentences)


def _how(plan: Plan, currency: str) -> str:
    if not plan.holds or plan.hopeless:
        return _("It serves as much as anything on offer can, found by a search.")
    if plan.proven:
        return _("No choice of these things that reaches the targets costs less.")
    least = money(Decimal(str(plan.least)).quantize(Decimal("0.01")), currency)
    return _("Found by a search; none that reaches the targets costs less than %(least)s.") % {"least": least}


def _act(act: Act, names: dict[int, str], currency: str) -> ActWords:
    doing = act.doing
    pieces = sum(doing.brings.values()) * act.times
    what = {
        "loan": _("Borrow: %(name)s") if act.times == 1 else _("Borrow %(times)s times: %(name)s"),
        "order": _("Order %(pieces)s: %(name)s"),
        "transfer": _("Send %(pieces)s: %(name)s"),
    }[doing.kind] % {"name": doing.name, "times": act.times, "pieces": pieces}
    source = _("from %(site)s") % {"site": doing.source} if doing.kind == "transfer" else doing.source
    cost = money(act.cost, currency)
    if not doing.priced:
        cost = _("no price on file")
    elif doing.kind == "transfer":
        cost = _("%(cost)s, reckoned") % {"cost": cost}
    return ActWords(what, source, doing.here, cost, _buys(act, names))


def _buys(act: Act, names: dict[int, str]) -> str:
    if act.case_id is None or act.without is None:
        return _("keeps the target together with the others")
    return _("without it %(case)s is %(word)s, %(figures)s") % {
        "case": names.get(act.case_id, ""),
        "word": verdict_word(act.without.word),
        "figures": short_figures(act.without),
    }


def accepted_words(kept: Kept) -> AcceptedWords:
    """An accepted plan and what has become of each thing."""
    proposal = kept.proposal
    head = _("Accepted %(at)s by %(by)s, for %(cost)s.") % {
        "at": sitetime(proposal.at, "full"),
        "by": proposal.by.name,
        "cost": money(proposal.cost, proposal.currency),
    }
    return AcceptedWords(head, tuple(_made(act) for act in kept.acts), proposal.ended_at is not None)


def _made(act: ProposalAct) -> tuple[str, str]:
    if act.kind == ActKind.LOAN and act.loan is not None:
        return (
            _("Loan %(number)s from %(supplier)s")
            % {"number": act.loan.number, "supplier": act.loan.supplier.name},
            str(act.loan.get_status_display()),
        )
    if act.kind == ActKind.ORDER and act.order_line is not None:
        line = act.order_line
        words = _("%(order)s: %(count)s of %(item)s") % {
            "order": line.order.number,
            "count": line.quantity,
            "item": line.component.name,
        }
        return words, str(line.get_end_display() if line.end else line.order.get_state_display())
    if act.kind == ActKind.TRANSFER and act.transfer is not None:
        words = _("Transfer %(number)s from %(site)s") % {
            "number": act.transfer.number,
            "site": act.transfer.source.name,
        }
        return words, str(act.transfer.get_status_display())
    return _("The order of the list was changed"), _("Done")
