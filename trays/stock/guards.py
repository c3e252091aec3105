"""A unit changes its state only along one of the ways; what was signed and seen is never changed."""

from trays.ledger.guards import append_only, refusing, register
from trays.stock.ways import WAYS

for _table in (
    "trays_arrival", "trays_arrivalunit", "trays_sighting", "trays_pilecount", "trays_adjustment",
    "trays_adjustmentline",
):  # fmt: skip
    register(append_only(_table))

# Written as one list of pairs, so that the law in the database is the table of the program.
_PAIRS = ", ".join(f"'{before}>{after}'" for before, follows in WAYS.items() for after in follows)

UNIT_BY_WAY = register(
    refusing(
        "unit_by_way",
        "trays_unit",
        on="UPDATE OF state",
        when=f"OLD.state <> NEW.state AND OLD.state || '>' || NEW.state NOT IN ({_PAIRS})",
        message="unit_no_way",
    )
)
