"""Laws of the count that only a trigger keeps: what is only ever added, and when a stage may close."""

from trays.ledger.guards import Guard, append_only, register

for _table in (
    "cases_added",
    "cases_entry",
    "cases_recount",
    "cases_handover",
    "cases_leftin",
    "cases_wrongpacket",
    "cases_packin",
    "cases_countline",
    "cases_stagesigning",
    "cases_discrepancystep",
    "cases_discrepancysigning",
    "cases_sentfor",
    "cases_templatestage",
    "cases_templateclass",
    "cases_templatestep",
):
    register(append_only(_table))


def _law(name: str, table: str, moment: str, laws: tuple[tuple[str, str], ...]) -> Guard:
    """One trigger that refuses a row where a condition holds; the same words on both databases.

    `moment` is "BEFORE INSERT", "BEFORE UPDATE" or "BEFORE DELETE". `laws` are pairs of a name and of what
    must not be.
    """
    checks = " ".join(f"SELECT RAISE(ABORT, '{said}') WHERE {wrong};" for said, wrong in laws)
    raised = " ".join(
        f"IF {wrong} THEN RAISE EXCEPTION '{said}' USING ERRCODE = 'integrity_constraint_violation'; END IF;"
        for said, wrong in laws
    )
    row = "OLD" if moment.endswith("DELETE") else "NEW"
    return register(
        Guard(
            name=name,
            table=table,
            sqlite=(f"CREATE TRIGGER {name} {moment} ON {table} BEGIN {checks} END",),
            postgres=(
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger AS $$ BEGIN {raised} "
                f"RETURN {row}; END $$ LANGUAGE plpgsql",
                f"CREATE TRIGGER {name} {moment} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
            ),
        )
    )


# The newest number of a line at the stage that closes, as far as its class was not called again since;
# -1 where nobody has counted, or where two devices gave two numbers.
_NEWEST = (
    "COALESCE((SELECT CASE WHEN e.conflict THEN -1 ELSE e.counted END FROM cases_entry e "
    "WHERE e.stage_id = NEW.id AND e.line_id = l.id AND e.id > COALESCE((SELECT max(r.after_entry) "
    "FROM cases_recount r WHERE r.stage_id = NEW.id AND r.klass = l.klass), 0) "
    "ORDER BY e.id DESC LIMIT 1), -1)"
)
_SHOULD_BE = (
    "(COALESCE((SELECT sum(a.quantity) FROM cases_added a WHERE a.line_id = l.id), 0) "
    "- COALESCE((SELECT sum(i.quantity) FROM cases_leftin i WHERE i.line_id = l.id), 0))"
)
_SETTLED = (
    "EXISTS (SELECT 1 FROM cases_discrepancy d "  # noqa: S608 - our own words only
    "WHERE d.stage_id = NEW.id AND d.line_id = l.id "
    f"AND d.state = 'settled' AND d.settled_counted = {_NEWEST} AND d.settled_expected = {_SHOULD_BE})"
)
_UNBALANCED = (
    "EXISTS (SELECT 1 FROM cases_countline l "  # noqa: S608 - our own words only
    "JOIN cases_stageclass c ON c.klass = l.klass AND c.stage_id = NEW.id WHERE l.count_id = NEW.count_id "
    f"AND {_NEWEST} <> {_SHOULD_BE} AND NOT {_SETTLED})"
)
_UNSETTLED = (
    "EXISTS (SELECT 1 FROM cases_discrepancy d WHERE d.stage_id = NEW.id AND d.state = 'open')"
)
_CLOSES = "NEW.state = 'closed' AND OLD.state <> 'closed'"
_ENDED = "OLD.state IN ('closed', 'not_done')"
# What may still be written on a stage that has ended: that what was to follow has been done.
_KEPT = " OR ".join(
    f"NEW.{field} IS NOT OLD.{field}"
    for field in (
        "state", "count_id", "number", "turn", "mark", "word", "kind", "signers", "begun_at", "begun_by_id",
        "ended_at", "ended_by_id", "scrub_id", "circulating_id", "scrub_name", "circulating_name", "paper_at",
        "paper_sheet", "reason", "decided_by", "follow_up", "upto",
    )
)  # fmt: skip

STAGE_CLOSES = _law(
    "stage_closes",
    "cases_stage",
    "BEFORE UPDATE",
    (
        ("stage_discrepancy_open", f"{_CLOSES} AND {_UNSETTLED}"),
        ("stage_not_balanced", f"{_CLOSES} AND {_UNBALANCED}"),
    ),
)  # fmt: skip
STAGE_BEGINS = _law(
    "stage_begins",
    "cases_stage",
    "BEFORE INSERT",
    (("stage_born_ended", "NEW.state IN ('closed', 'not_done')"),),
)
ENTRY_BELONGS = _law(
    "entry_belongs",
    "cases_entry",
    "BEFORE INSERT",
    (
        ("entry_of_another_case", "NOT EXISTS (SELECT 1 FROM cases_countline l JOIN cases_stage s "
         "ON s.count_id = l.count_id WHERE l.id = NEW.line_id AND s.id = NEW.stage_id)"),
        ("entry_of_a_stage_not_begun", "EXISTS (SELECT 1 FROM cases_stage s WHERE s.id = NEW.stage_id "
         "AND s.state = 'waiting')"),
    ),
)  # fmt: skip
ADDED_BELONGS = _law(
    "added_belongs",
    "cases_added",
    "BEFORE INSERT",
    (
        ("added_of_another_case", "NEW.stage_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM cases_countline l "
         "JOIN cases_stage s ON s.count_id = l.count_id WHERE l.id = NEW.line_id AND s.id = NEW.stage_id)"),
        ("added_below_nothing", "NEW.quantity < 0 AND NEW.quantity + COALESCE((SELECT sum(a.quantity) "
         "FROM cases_added a WHERE a.line_id = NEW.line_id), 0) < COALESCE((SELECT sum(i.quantity) "
         "FROM cases_leftin i WHERE i.line_id = NEW.line_id), 0)"),
    ),
)  # fmt: skip
LEFT_IN_BELONGS = _law(
    "left_in_belongs",
    "cases_leftin",
    "BEFORE INSERT",
    (
        ("left_in_more_than_came", "NEW.quantity + COALESCE((SELECT sum(i.quantity) FROM cases_leftin i "
         "WHERE i.line_id = NEW.line_id), 0) > COALESCE((SELECT sum(a.quantity) FROM cases_added a "
         "WHERE a.line_id = NEW.line_id), 0)"),
    ),
)  # fmt: skip
DISCREPANCY_BELONGS = _law(
    "discrepancy_belongs",
    "cases_discrepancy",
    "BEFORE INSERT",
    (
        ("discrepancy_born_settled", "NEW.state <> 'open'"),
        ("discrepancy_of_another_case", "NOT EXISTS (SELECT 1 FROM cases_countline l JOIN cases_stage s "
         "ON s.count_id = l.count_id WHERE l.id = NEW.line_id AND s.id = NEW.stage_id)"),
    ),
)  # fmt: skip
DISCREPANCY_STAYS = _law(
    "discrepancy_stays",
    "cases_discrepancy",
    "BEFORE UPDATE",
    (("discrepancy_settled_already", "OLD.state = 'settled'"),),
)
DISCREPANCY_KEPT = _law(
    "discrepancy_kept", "cases_discrepancy", "BEFORE DELETE", (("discrepancy_is_kept", "OLD.id IS NOT NULL"),)
)
STAGE_KEPT = _law("stage_kept", "cases_stage", "BEFORE DELETE", (("stage_is_kept", "OLD.id IS NOT NULL"),))
SIGNED_WHEN_ENDED = _law(
    "stage_signing_ended",
    "cases_stagesigning",
    "BEFORE INSERT",
    (
        ("stage_signed_too_early", "NOT EXISTS (SELECT 1 FROM cases_stage s WHERE s.id = NEW.stage_id "
         "AND s.state IN ('closed', 'not_done'))"),
    ),
)  # fmt: skip


def _stage_stays() -> Guard:
    """An ended stage stays as it was agreed; each database compares in its own words."""
    postgres_kept = _KEPT.replace(" IS NOT OLD.", " IS DISTINCT FROM OLD.")
    name = "stage_stays"
    return register(
        Guard(
            name=name,
            table="cases_stage",
            sqlite=(
                f"CREATE TRIGGER {name} BEFORE UPDATE ON cases_stage WHEN {_ENDED} BEGIN "
                f"SELECT RAISE(ABORT, 'stage_has_ended') WHERE {_KEPT}; END",
            ),
            postgres=(
                f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger AS $$ BEGIN "
                f"IF {_ENDED} AND ({postgres_kept}) THEN "
                "RAISE EXCEPTION 'stage_has_ended' USING ERRCODE = 'integrity_constraint_violation'; "
                "END IF; RETURN NEW; END $$ LANGUAGE plpgsql",
                f"CREATE TRIGGER {name} BEFORE UPDATE ON cases_stage FOR EACH ROW EXECUTE FUNCTION {name}()",
            ),
        )
    )


STAGE_STAYS = _stage_stays()
