"""What was made of an accepted plan stays as it was written."""

from trays.ledger.guards import append_only, register

register(append_only("cases_proposalact"))
