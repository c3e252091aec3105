"""Writing down what a loan's packs and units have done since its last step, within the act that needs it."""

from trays.ledger.append import Line
from trays.loans.acting import Who
from trays.loans.models import Loan
from trays.loans.moving import loan_step_within
from trays.loans.queries import followed_steps


def catch_up(loan: Loan, who: Who) -> list[Line]:
    """Bring a locked loan to where its packs and units are; each step with the moment at which it came so."""
    steps = followed_steps([loan])[loan.pk]
    return [
        loan_step_within(loan=loan, after=after, by=who.by, at=who.at, happened_at=at) for after, at in steps
    ]
