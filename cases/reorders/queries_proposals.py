"""Plans that were accepted for a case, and how far what they set going has come."""

from collections.abc import Mapping
from dataclasses import dataclass
from uuid import UUID

from cases.bookings.models import Case
from cases.reorders.models import Proposal, ProposalAct
from trays.ledger.models import Event, EventLine


@dataclass(frozen=True, slots=True)
class Kept:
    """One accepted plan with its acts; `key` is that of the press that accepted it."""

    proposal: Proposal
    acts: tuple[ProposalAct, ...]
    key: UUID | None


def proposals_of(case: Case) -> tuple[Kept, ...]:
    """The plans that were accepted for a case, the newest first. Three queries."""
    rows = list(Proposal.objects.filter(case=case).select_related("by").order_by("-at", "-pk"))
    acts = ProposalAct.objects.filter(proposal__in=rows).select_related(
        "loan__supplier", "order_line__order__supplier", "order_line__component__family", "transfer__source"
    )
    by_proposal: dict[int, list[ProposalAct]] = {}
    for act in acts.order_by("proposal", "number"):
        by_proposal.setdefault(act.proposal_id, []).append(act)
    keys = _keys([row.pk for row in rows])
    return tuple(Kept(row, tuple(by_proposal.get(row.pk, ())), keys.get(row.pk)) for row in rows)


def _keys(proposal_ids: list[int]) -> Mapping[int, UUID | None]:
    lines = EventLine.objects.filter(subject="proposal", subject_id__in=proposal_ids)
    return {
        pk: key
        for pk, key in lines.filter(event__in=Event.objects.filter(verb="plan.accept")).values_list(
            "subject_id", "event__client_key"
        )
    }
