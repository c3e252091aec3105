"""Laws that only a trigger can keep, written for both databases and put back after each migrate.

SQLite rebuilds a table when a column changes: its triggers go with the old table, silently, and those of
other tables that read it refuse the rebuilding. So all stand aside while there is something to migrate and
are installed again after it, and the verify command asserts that each is there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper


@dataclass(frozen=True, slots=True)
class Guard:
    """One law: its table and name, and the statements that make it on either database.

    `sqlite` creates triggers named `name` or `name_…`; `postgres` likewise, or an exclusion constraint.
    """

    name: str
    table: str
    sqlite: tuple[str, ...]
    postgres: tuple[str, ...]

    @property
    def sqlite_names(self) -> tuple[str, ...]:
        """Names of the triggers, read from the statements."""
        return tuple(statement.split()[2] for statement in self.sqlite)


_guards: dict[str, Guard] = {}


def register(guard: Guard) -> Guard:
    """Add a law to those kept. A second registration under one name must be the same law."""
    if _guards.get(guard.name, guard) != guard:
        raise ValueError(f"two different guards are named {guard.name}")
    _guards[guard.name] = guard
    return guard


def registered() -> Sequence[Guard]:
    """All laws known, in the order they were registered."""
    return tuple(_guards.values())


def append_only(table: str) -> Guard:
    """A guard that refuses UPDATE and DELETE (and TRUNCATE, where it exists) on one table."""
    name = f"keep_{table}"
    message = f"{table} is append-only"
    sqlite = tuple(
        f"CREATE TRIGGER {name}_{act.lower()} BEFORE {act} ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{message}'); END"
        for act in ("UPDATE", "DELETE")
    )
    postgres = (
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger AS $$ "
        f"BEGIN RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END $$ "
        f"LANGUAGE plpgsql",
        f"CREATE TRIGGER {name} BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        f"CREATE TRIGGER {name}_truncate BEFORE TRUNCATE ON {table} "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {name}()",
    )
    return Guard(name, table, sqlite, postgres)


def refusing(name: str, table: str, *, on: str, when: str, message: str) -> Guard:
    """A guard that refuses what `when` says of OLD and NEW, in words that both databases understand.

    `on` is the act, such as "INSERT" or "UPDATE OF state".
    """
    return Guard(
        name=name,
        table=table,
        sqlite=(
            f"CREATE TRIGGER {name} BEFORE {on} ON {table} WHEN {when} "
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END",
        ),
        postgres=(
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger AS $$ BEGIN IF {when} THEN "
            f"RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END IF; "
            "RETURN NEW; END $$ LANGUAGE plpgsql",
            f"CREATE TRIGGER {name} BEFORE {on} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        ),
    )


def kept(table: str) -> Guard:
    """A guard that refuses DELETE: rows that change and end, but never vanish."""
    name = f"kept_{table}"
    message = f"{table} is never deleted"
    return Guard(
        name=name,
        table=table,
        sqlite=(
            f"CREATE TRIGGER {name} BEFORE DELETE ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{message}'); END",
        ),
        postgres=(
            f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger AS $$ "
            f"BEGIN RAISE EXCEPTION '{message}' USING ERRCODE = 'integrity_constraint_violation'; END $$ "
            f"LANGUAGE plpgsql",
            f"CREATE TRIGGER {name} BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()",
        ),
    )


register(append_only("trays_event"))
register(append_only("trays_eventline"))


def _present(connection: BaseDatabaseWrapper, guard: Guard) -> bool:
    """Whether the law is in force as it is written: a trigger may be there and do nothing."""
    return _on_sqlite(connection, guard) if connection.vendor == "sqlite" else _on_postgres(connection, guard)


def _on_sqlite(connection: BaseDatabaseWrapper, guard: Guard) -> bool:
    with connection.cursor() as cursor:
        marks = ",".join(["%s"] * len(guard.sqlite_names))
        cursor.execute(
            f"SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name IN ({marks})",  # noqa: S608 - only marks
            list(guard.sqlite_names),
        )
        return {sql for (sql,) in cursor.fetchall()} == set(guard.sqlite)


def _on_postgres(connection: BaseDatabaseWrapper, guard: Guard) -> bool:
    """Each trigger there and not switched off, its function as it was given; or the constraint."""
    triggers = [words[2] for words in map(str.split, guard.postgres) if words[1] == "TRIGGER"]
    bodies = [text.split("$$")[1].strip() for text in guard.postgres if "$$" in text]
    with connection.cursor() as cursor:
        if not triggers:
            cursor.execute("SELECT count(*) FROM pg_constraint WHERE conname = %s", [guard.name])
            return bool(cursor.fetchone()[0] >= 1)
        cursor.execute(
            "SELECT t.tgname, p.prosrc FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
            "WHERE t.tgrelid = to_regclass(%s) AND t.tgname = ANY(%s) AND t.tgenabled IN ('O', 'A')",
            [guard.table, triggers],
        )
        found = cursor.fetchall()
    names, sources = {name for name, _body in found}, {body.strip() for _name, body in found}
    return names == set(triggers) and sources == set(bodies)


def install(connection: BaseDatabaseWrapper) -> list[str]:
    """Put back every guard that is missing and whose table exists; return the names put back."""
    tables = set(connection.introspection.table_names())
    made = []
    for guard in registered():
        if guard.table in tables and not _present(connection, guard):
            remove(connection, guard)
            with connection.cursor() as cursor:
                for statement in guard.sqlite if connection.vendor == "sqlite" else guard.postgres:
                    cursor.execute(statement)
            made.append(guard.name)
    return made


def remove(connection: BaseDatabaseWrapper, guard: Guard) -> None:
    """Take one guard away; only the test of the guard itself, and a re-install, do so."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in guard.sqlite_names:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
            return
        cursor.execute(f"DROP TRIGGER IF EXISTS {guard.name} ON {guard.table}")
        cursor.execute(f"DROP TRIGGER IF EXISTS {guard.name}_truncate ON {guard.table}")
        if any(statement.startswith("ALTER TABLE") for statement in guard.postgres):
            cursor.execute(f"ALTER TABLE {guard.table} DROP CONSTRAINT IF EXISTS {guard.name}")


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Names of guards that are not in force on this database."""
    return [guard.name for guard in registered() if not _present(connection, guard)]


def all_removed(connection: BaseDatabaseWrapper) -> None:
    """Take away every trigger on the project's tables, those of an older version too."""
    if connection.vendor == "sqlite":
        found = "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'"
    else:
        found = (
            "SELECT t.tgname, c.relname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
            "WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace"
        )
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        cursor.execute(found)
        for name, table in cursor.fetchall():
            if table.startswith(("trays_", "cases_")):
                on = "" if connection.vendor == "sqlite" else f" ON {quote(table)}"
                cursor.execute(f"DROP TRIGGER {quote(name)}{on}")


def stand_aside_before_migrate(using: str = "default", plan: Sequence[Any] = (), **_: Any) -> None:
    """Receiver of pre_migrate. A migrate that fails leaves them aside: /readyz says so until one succeeds."""
    if plan:
        all_removed(connections[using])


def install_after_migrate(using: str = "default", **_: Any) -> None:
    """Receiver of post_migrate."""
    install(connections[using])
