"""Laws of the implant record that only a trigger keeps: a fate is set once, what was taken down stays.

A case becomes closed only by its closing, and a closing without exception only where nothing is open.
"""

from collections.abc import Sequence

from trays.ledger.guards import Guard, append_only, kept, register

for _table in ("cases_explant", "cases_surgeondecision", "cases_stopmoment", "cases_caseclosing"):
    register(append_only(_table))
for _table in ("cases_brought", "cases_mark", "cases_recordsigning", "cases_setfailure"):
    register(kept(_table))


def _law(name: str, table: str, when: str, tests: Sequence[tuple[str, str]]) -> Guard:
    """A trigger that refuses a row with the first message whose condition holds, on either database.

    Conditions are written with IS DISTINCT FROM; older SQLite knows it as IS NOT.
    """
    sqlite = " ".join(
        f"SELECT RAISE(ABORT, '{message}') WHERE {condition.replace('IS DISTINCT FROM', 'IS NOT')};"
        for message, condition in tests
    )
    postgres = " ".join(
        f"IF {condition} THEN RAISE EXCEPTION '{message}' "
        "USING ERRCODE = 'integrity_constraint_violation'; END IF;"
        for message, condition in tests
    )
    return register(
        Guard(
            name=name,
            table=table,
            sqlite=(f"CREATE TRIGGER {name} BEFORE {when} ON {table} BEGIN {sqlite} END",),
            postgres=(
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger AS $$ BEGIN "
                f"{postgres} RETURN NEW; END $$ LANGUAGE plpgsql",
                f"CREATE TRIGGER {name} BEFORE {when} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
            ),
        )
    )


def _changed(*columns: str) -> str:
    return " OR ".join(f"OLD.{column} IS DISTINCT FROM NEW.{column}" for column in columns)


def _changed_once_set(column: str) -> str:
    return f"(OLD.{column} IS NOT NULL AND OLD.{column} IS DISTINCT FROM NEW.{column})"


def _any(*conditions: str) -> str:
    return " OR ".join(conditions)


# What was brought in stays as it was taken down; its place in the construct may still be found out, once.
_TAKEN_DOWN = _changed(
    "case_id", "number", "unit_id", "pile_id", "component_id", "raw", "agency", "di", "pis", "lot", "serial",
    "expires", "made_on", "typed_reason", "described", "source", "owner_id", "tenure", "fits", "overridden",
    "override_reason", "override_name", "brought_at", "recorded_at", "by_id", "corrects_id",
)  # fmt: skip
# JSON has no equality on PostgreSQL before it is made jsonb; Django's JSONField is jsonb there.
_FATE = _changed("fate", "why", "why_words", "fate_at", "fate_by_id", "title_passed")

BROUGHT_KEPT = _law(
    "brought_kept", "cases_brought", "UPDATE",
    (
        ("brought_stays_as_taken_down", _TAKEN_DOWN),
        ("brought_fate_once", f"OLD.fate <> '' AND ({_FATE})"),
        (
            "brought_replaced_stays",
            _any(
                _changed_once_set("replaced_at"), _changed_once_set("construct_id"),
                _changed_once_set("slot_id"), _changed_once_set("opened_at"),
                _changed_once_set("opened_by_id"),
            ),
        ),
        ("brought_card_once", "OLD.card <> '' AND OLD.card <> NEW.card"),
    ),
)  # fmt: skip

MARK_KEPT = _law(
    "mark_kept", "cases_mark", "UPDATE",
    (
        (
            "mark_stays",
            _changed("case_id", "brought_id", "construct_id", "kind", "words", "made_at", "by_id"),
        ),
        ("mark_cleared_once", _any(_changed_once_set("cleared_at"), _changed_once_set("cleared_by_id"))),
    ),
)  # fmt: skip

SIGNING_KEPT = _law(
    "record_signing_kept", "cases_recordsigning", "UPDATE",
    (
        (
            "record_signing_stays",
            _changed(
                "construct_id", "role", "person_id", "name", "signature_id", "unsigned_why", "signed_at",
                "at",
                "by_id",
            ),
        ),
        ("record_signing_replaced_once", _changed_once_set("replaced_at")),
    ),
)  # fmt: skip

FAILURE_KEPT = _law(
    "set_failure_kept", "cases_setfailure", "UPDATE",
    (
        (
            "set_failure_stays",
            _changed(
                "case_id", "site_id", "pack_id", "round", "cause", "words", "opened", "wanted_id", "at",
                "recorded_at", "by_id",
            ),
        ),
        (
            "set_failure_answered_once",
            "OLD.answer <> '' AND ("
            + _changed("answer", "answer_words", "replacement_id", "answered_at", "answered_by_id")
            + ")",
        ),
    ),
)  # fmt: skip

# A closing without exception: no piece without a fate, no pack of the case still in the room, the final stage
# of the count ended and none under way.
_NO_FATE = (
    "EXISTS (SELECT 1 FROM cases_brought WHERE case_id = NEW.case_id AND replaced_at IS NULL AND fate = '')"
)
_IN_ROOM = (
    "EXISTS (SELECT 1 FROM cases_packfor h JOIN trays_pack p ON p.id = h.pack_id "
    "WHERE h.case_id = NEW.case_id AND h.returned_at IS NULL AND p.round = h.round "
    "AND p.state IN ('issued', 'opened'))"
)
_STAGES = (
    "SELECT 1 FROM cases_theatrecount t JOIN cases_stage s ON s.count_id = t.id "
    "WHERE t.case_id = NEW.case_id AND "
)
_NOT_COUNTED = (
    f"NOT EXISTS ({_STAGES} s.kind = 'final' AND s.state IN ('closed', 'not_done')) "
    f"OR EXISTS ({_STAGES} s.state = 'open')"
)
CLOSING_NOTHING_OPEN = _law(
    "closing_nothing_open", "cases_caseclosing", "INSERT",
    (
        ("closing_without_fate", f"NOT NEW.by_exception AND {_NO_FATE}"),
        ("closing_pack_in_room", f"NOT NEW.by_exception AND {_IN_ROOM}"),
        ("closing_not_counted", f"NOT NEW.by_exception AND ({_NOT_COUNTED})"),
    ),
)  # fmt: skip
CASE_CLOSED_BY_CLOSING = _law(
    "case_closed_by_closing", "cases_case", "UPDATE OF status",
    (
        (
            "case_closed_without_closing",
            "OLD.status <> 'closed' AND NEW.status = 'closed' AND NOT EXISTS ("
            "SELECT 1 FROM cases_caseclosing WHERE case_id = NEW.id)",
        ),
        ("case_closed_stays", "OLD.status = 'closed' AND NEW.status <> 'closed'"),
    ),
)  # fmt: skip
