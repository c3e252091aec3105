"""How surely a whole theatre list is served, after the lists before it."""

from cases.planning.kinds import PlanningError
from cases.planning.served import Served, all_served
from cases.readiness.assess import Judgement
from cases.readiness.findings import rivals


def list_served(known: Judgement, list_id: int) -> Served | None:
    """P(every case of the list is served); None where it has no case to judge, or one that is too large."""
    ordered = known.ordered
    mine = [n for n, law in enumerate(ordered) if law.facts.list_id == list_id]
    found, fresh = set(mine), list(mine)
    while fresh:
        new = rivals(known.outlook, fresh.pop()) - found
        found |= new
        fresh += new
    laws = [ordered[n] for n in sorted(found)]
    try:
        return (
            all_served(
                [law.demand for law in laws],
                known.layout.shelf,
                [law.joint for law in laws],
                of={ordered[n].facts.id for n in mine},
                arrays=known.layout.arrays,
            )
            if mine
            else None
        )
    except PlanningError:
        # A case of both sides with more combinations than the planner lists.
        return None
