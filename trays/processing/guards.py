"""A pack changes its state only by a step on record; steps, logs and signatures are never changed."""

from trays.ledger.guards import Guard, append_only, register

register(append_only("trays_move"))
register(append_only("trays_runlog"))
register(append_only("trays_signature"))

# A step starts from the state in which the pack is, and is the next of its steps.
_STEP_STARTS = (
    "SELECT RAISE(ABORT, 'move_from_elsewhere') WHERE NOT EXISTS ("
    "SELECT 1 FROM trays_pack WHERE id = NEW.pack_id AND state = NEW.before) "
    "OR NEW.sequence <> 1 + COALESCE((SELECT max(sequence) FROM trays_move WHERE pack_id = NEW.pack_id), 0)"
)
# A change of state is the latest step's.
_STATE_BY_STEP = (
    "SELECT RAISE(ABORT, 'state_without_move') WHERE NOT EXISTS ("
    "SELECT 1 FROM trays_move WHERE pack_id = NEW.id AND before = OLD.state AND after = NEW.state "
    "AND sequence = (SELECT max(sequence) FROM trays_move WHERE pack_id = NEW.id))"
)

MOVE_STARTS = register(
    Guard(
        name="move_starts",
        table="trays_move",
        sqlite=(f"CREATE TRIGGER move_starts BEFORE INSERT ON trays_move BEGIN {_STEP_STARTS}; END",),
        postgres=(
            "CREATE OR REPLACE FUNCTION move_starts() RETURNS trigger AS $$ BEGIN "
            "IF NOT EXISTS (SELECT 1 FROM trays_pack WHERE id = NEW.pack_id AND state = NEW.before) "
            "OR NEW.sequence <> 1 + COALESCE((SELECT max(sequence) FROM trays_move "
            "WHERE pack_id = NEW.pack_id), 0) THEN "
            "RAISE EXCEPTION 'move_from_elsewhere' USING ERRCODE = 'integrity_constraint_violation'; "
            "END IF; RETURN NEW; END $$ LANGUAGE plpgsql",
            "CREATE TRIGGER move_starts BEFORE INSERT ON trays_move FOR EACH ROW "
            "EXECUTE FUNCTION move_starts()",
        ),
    )
)
STATE_BY_MOVE = register(
    Guard(
        name="state_by_move",
        table="trays_pack",
        sqlite=(
            "CREATE TRIGGER state_by_move BEFORE UPDATE OF state ON trays_pack "
            f"WHEN OLD.state <> NEW.state BEGIN {_STATE_BY_STEP}; END",
        ),
        postgres=(
            "CREATE OR REPLACE FUNCTION state_by_move() RETURNS trigger AS $$ BEGIN "
            "IF OLD.state <> NEW.state AND NOT EXISTS (SELECT 1 FROM trays_move WHERE pack_id = NEW.id "
            "AND before = OLD.state AND after = NEW.state AND sequence = "
            "(SELECT max(sequence) FROM trays_move WHERE pack_id = NEW.id)) THEN "
            "RAISE EXCEPTION 'state_without_move' USING ERRCODE = 'integrity_constraint_violation'; "
            "END IF; RETURN NEW; END $$ LANGUAGE plpgsql",
            "CREATE TRIGGER state_by_move BEFORE UPDATE OF state ON trays_pack FOR EACH ROW "
            "EXECUTE FUNCTION state_by_move()",
        ),
    )
)

# A run is decided only when nothing in it is open any more, and a sterilizer's only with a signature.
_DECIDED = "NEW.state IN ('passed', 'failed', 'broken_off')"
_STILL_OPEN = "EXISTS (SELECT 1 FROM trays_runpack WHERE run_id = NEW.id AND open)"
_UNSIGNED = (
    "NEW.state <> 'broken_off' AND NEW.signature_id IS NULL AND EXISTS ("
    "SELECT 1 FROM trays_machine WHERE id = NEW.machine_id AND kind = 'sterilizer')"
)

RUN_DECIDED = register(
    Guard(
        name="run_decided",
        table="trays_run",
        sqlite=(
            "CREATE TRIGGER run_decided BEFORE UPDATE OF state ON trays_run "
            f"WHEN OLD.state <> NEW.state AND {_DECIDED} BEGIN "
            f"SELECT RAISE(ABORT, 'run_still_open') WHERE {_STILL_OPEN}; "
            f"SELECT RAISE(ABORT, 'run_unsigned') WHERE {_UNSIGNED}; END",
        ),
        postgres=(
            "CREATE OR REPLACE FUNCTION run_decided() RETURNS trigger AS $$ BEGIN "
            f"IF OLD.state <> NEW.state AND {_DECIDED} THEN "
            f"IF {_STILL_OPEN} THEN "
            "RAISE EXCEPTION 'run_still_open' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
            f"IF {_UNSIGNED} THEN "
            "RAISE EXCEPTION 'run_unsigned' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
            "END IF; RETURN NEW; END $$ LANGUAGE plpgsql",
            "CREATE TRIGGER run_decided BEFORE UPDATE OF state ON trays_run FOR EACH ROW "
            "EXECUTE FUNCTION run_decided()",
        ),
    )
)
