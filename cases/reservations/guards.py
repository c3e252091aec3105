"""No two open holds of one set overlap: kept by the database, in each one's own way."""

from trays.ledger.guards import Guard, register

_CLASH = (
    "SELECT RAISE(ABORT, 'set_hold_overlap') WHERE NEW.ended_at IS NULL AND EXISTS ("
    "SELECT 1 FROM cases_sethold AS other WHERE other.set_id = NEW.set_id "
    "AND other.ended_at IS NULL AND other.id <> COALESCE(NEW.id, -1) "
    "AND other.starts_at < NEW.ends_at AND NEW.starts_at < other.ends_at)"
)

SET_HOLD_OVERLAP = register(
    Guard(
        name="set_hold_overlap",
        table="cases_sethold",
        sqlite=(
            f"CREATE TRIGGER set_hold_overlap_insert AFTER INSERT ON cases_sethold BEGIN {_CLASH}; END",
            f"CREATE TRIGGER set_hold_overlap_update AFTER UPDATE ON cases_sethold BEGIN {_CLASH}; END",
        ),
        postgres=(
            "CREATE EXTENSION IF NOT EXISTS btree_gist",
            "ALTER TABLE cases_sethold ADD CONSTRAINT set_hold_overlap EXCLUDE USING gist "
            "(set_id WITH =, tstzrange(starts_at, ends_at) WITH &&) WHERE (ended_at IS NULL)",
        ),
    )
)
