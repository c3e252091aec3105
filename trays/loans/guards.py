"""A loan changes its status only by a step on record, and ends when all of it is accounted for; it stays."""

from trays.ledger.guards import append_only, kept, refusing, register

for _table in ("trays_loan", "trays_loanset", "trays_loanunit", "trays_loancharge", "trays_agreement"):
    register(kept(_table))
for _table in (
    "trays_loanstep",
    "trays_loancheck",
    "trays_loancheckline",
    "trays_loancount",
    "trays_loancountline",
    "trays_loanchargeuse",
    "trays_loangone",
    "trays_agreementcount",
    "trays_agreementcountline",
):
    register(append_only(_table))

# Only names of our own stand in these.
_LAST = "SELECT max(sequence) FROM trays_loanstep WHERE loan_id"
_NOT_NEXT = f"NEW.sequence <> 1 + COALESCE(({_LAST} = NEW.loan_id), 0)"  # noqa: S608
_NO_STEP = (
    "NOT EXISTS (SELECT 1 FROM trays_loanstep WHERE loan_id = NEW.id AND before = OLD.status "  # noqa: S608
    f"AND after = NEW.status AND sequence = ({_LAST} = NEW.id))"
)

# A step starts from the status in which the loan is, and is the next of its steps; the first one asks.
LOAN_STEP_STARTS = register(
    refusing(
        "loan_step_starts",
        "trays_loanstep",
        on="INSERT",
        when=f"{_NOT_NEXT} OR NOT EXISTS (SELECT 1 FROM trays_loan WHERE id = NEW.loan_id "  # noqa: S608
        "AND (status = NEW.before OR (NEW.sequence = 1 AND NEW.before = '' AND status = NEW.after)))",
        message="loan_step_from_elsewhere",
    )
)
# A change of status is the latest step's.
LOAN_BY_STEP = register(
    refusing(
        "loan_by_step",
        "trays_loan",
        on="UPDATE OF status",
        when=f"OLD.status <> NEW.status AND {_NO_STEP}",
        message="loan_without_step",
    )
)
# It ends when no set and no unit of it is open, and no claim is undecided.
LOAN_ACCOUNTED = register(
    refusing(
        "loan_accounted",
        "trays_loan",
        on="UPDATE OF ended_at",
        when="NEW.ended_at IS NOT NULL AND ("
        "EXISTS (SELECT 1 FROM trays_loanset WHERE loan_id = NEW.id AND open) "
        "OR EXISTS (SELECT 1 FROM trays_loanunit WHERE loan_id = NEW.id AND open) "
        "OR EXISTS (SELECT 1 FROM trays_loancharge WHERE loan_id = NEW.id AND status = 'claimed'))",
        message="loan_not_accounted_for",
    )
)
# What has ended stays ended: nothing comes with it, nothing is claimed for it any more.
LOAN_ENDED = register(
    refusing(
        "loan_ended",
        "trays_loan",
        on="UPDATE",
        when="OLD.ended_at IS NOT NULL AND (NEW.ended_at IS NULL OR NEW.ended_at <> OLD.ended_at "
        "OR NEW.status <> OLD.status OR NEW.case_key <> OLD.case_key)",
        message="loan_has_ended",
    )
)
# A case that a loan was for is never taken off it: it is told anew only while nothing has come.
LOAN_KEEPS_CASE = register(
    refusing(
        "loan_keeps_case",
        "trays_loan",
        on="UPDATE OF case_key",
        when="OLD.case_key <> '' AND NEW.case_key <> OLD.case_key "
        "AND OLD.status NOT IN ('asked', 'confirmed')",
        message="loan_keeps_its_case",
    )
)
# What was used is paid for only as often as its use is on record.
CHARGE_MATCHED = register(
    refusing(
        "charge_matched",
        "trays_loancharge",
        on="UPDATE OF status",
        when="NEW.status = 'accepted' AND NEW.kind = 'used' AND NEW.quantity <> "
        "(SELECT count(*) FROM trays_loanchargeuse WHERE charge_id = NEW.id)",
        message="charge_without_use",
    )
)
# What was decided about a claim stands.
CHARGE_DECIDED = register(
    refusing(
        "charge_decided",
        "trays_loancharge",
        on="UPDATE",
        when="OLD.status <> 'claimed' OR NEW.kind <> OLD.kind OR NEW.amount <> OLD.amount "
        "OR NEW.quantity <> OLD.quantity OR NEW.loan_id <> OLD.loan_id",
        message="charge_is_decided",
    )
)
