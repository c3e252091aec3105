"""Predictions are added, never overwritten: refused by the database.

Only UPDATE is guarded here: a case booked by mistake on the demo's database may be taken out whole.
"""

from trays.ledger.guards import Guard, register

register(
    Guard(
        name="keep_prediction",
        table="cases_prediction",
        sqlite=(
            "CREATE TRIGGER keep_prediction BEFORE UPDATE ON cases_prediction "
            "BEGIN SELECT RAISE(ABORT, 'a prediction is added, never overwritten'); END",
        ),
        postgres=(
            "CREATE OR REPLACE FUNCTION keep_prediction() RETURNS trigger AS $$ BEGIN "
            "RAISE EXCEPTION 'a prediction is added, never overwritten' "
            "USING ERRCODE = 'integrity_constraint_violation'; END $$ LANGUAGE plpgsql",
            "CREATE TRIGGER keep_prediction BEFORE UPDATE ON cases_prediction "
            "FOR EACH ROW EXECUTE FUNCTION keep_prediction()",
        ),
    )
)
