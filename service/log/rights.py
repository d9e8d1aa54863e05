"""Whether the service's login can do more to its tables than its work needs.

What a login may become counts as its own: it acts as the service's role by SET ROLE, which it can
take back at any time.

The owner migrates, in a process that ends before workers start. Workers act as
`retake_ledger_service`, which may insert and select events and nothing else; a trigger refuses
update, delete and truncate to everybody. On the embedded server both roles are within reach of who
runs it: only checkpoints kept elsewhere protect the record there.
"""

from sqlalchemy import create_engine, text
from sqlalchemy.pool import NullPool

from service.log.engine import connect_args_of
from service.log.schema import SERVICE_ROLE, metadata

MAY_UPDATE: dict[str, frozenset[str]] = {
    "head": frozenset({"position", "recorded_at", "frontier", "clock_at", "clock_seal"}),
    "projection": frozenset({"position", "at_min", "rules"}),
    "token": frozenset({"revoked_at"}),
}
"""The columns that the service's work writes anew, by table; no others of these, none elsewhere."""

MAY_DELETE = frozenset({"snapshot", "projection", "trail"})
"""The tables from which it deletes: what it makes again by itself."""

_GUARDS = ("refuse_rewriting", "refuse_reviving")
_ROWS, _VERSION = ("UPDATE", "DELETE", "TRUNCATE", "TRIGGER"), "alembic_version"
_POWERS = ("pg_execute_server_program", "pg_write_server_files")  # as good as the whole server

_QUERY = text(
    """
WITH self AS (SELECT oid, rolname FROM pg_roles WHERE rolname = session_user),
may_be AS (SELECT r.* FROM pg_roles r, self WHERE pg_has_role(self.oid, r.oid, 'MEMBER')),
kept AS (
    SELECT c.oid, c.relname, c.relowner, n.nspname, n.nspowner
    FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
    WHERE c.oid IN (SELECT to_regclass(name) FROM unnest(CAST(:kept AS text[])) AS name)
),
forbidden AS (
    SELECT * FROM unnest(CAST(:tables AS text[]), CAST(:rights AS text[])) AS f (relname, asked)
),
may_write AS (
    SELECT * FROM unnest(CAST(:written AS text[]), CAST(:columns AS text[])) AS w (relname, attname)
)
SELECT 'is a superuser, or may become one' FROM may_be WHERE rolsuper
UNION ALL SELECT 'may act as ' || rolname FROM may_be WHERE rolname = ANY (:powers)
UNION ALL SELECT 'may give itself other roles (CREATEROLE)' FROM may_be
    WHERE rolcreaterole AND current_setting('server_version_num')::int < 160000
UNION ALL SELECT 'owns the table ' || relname FROM kept
    WHERE relowner IN (SELECT oid FROM may_be)
UNION ALL SELECT DISTINCT 'owns the schema ' || nspname FROM kept
    WHERE nspowner IN (SELECT oid FROM may_be)
UNION ALL SELECT 'owns the function ' || proname FROM pg_proc
    WHERE proname = ANY (:guards) AND pronamespace = 'public'::regnamespace
    AND proowner IN (SELECT oid FROM may_be)
UNION ALL SELECT DISTINCT 'may ' || asked || ' ' || kept.relname
    FROM kept JOIN forbidden USING (relname), may_be
    WHERE has_table_privilege(may_be.oid, kept.oid, asked)
UNION ALL SELECT DISTINCT 'may UPDATE ' || kept.relname || ' (' || a.attname || ')'
    FROM kept JOIN pg_attribute a ON a.attrelid = kept.oid AND a.attnum > 0 AND NOT attisdropped,
    may_be
    WHERE has_column_privilege(may_be.oid, kept.oid, a.attnum, 'UPDATE')
    AND NOT has_table_privilege(may_be.oid, kept.oid, 'UPDATE')
    AND NOT EXISTS (SELECT FROM may_write w
                    WHERE w.relname = kept.relname AND w.attname = a.attname)
"""
)


class TooManyRightsError(Exception):
    """The login can change or delete what is recorded; the message names the right and remedy."""


def rights_too_many(url: str) -> list[str]:
    """What the login of a database's URL can do beyond the service's work, in words.

    A superuser, who can do everything, is told as that alone.
    """
    engine = create_engine(url, poolclass=NullPool, connect_args=connect_args_of(url))
    tables = [*metadata.tables, _VERSION]
    forbidden = [
        (table, right)
        for table in tables
        for right in (*_ROWS, *(("INSERT",) if table == _VERSION else ()))
        if right != "DELETE" or table not in MAY_DELETE
    ]
    written = [(table, column) for table, columns in MAY_UPDATE.items() for column in columns]
    parameters = {
        "kept": tables,
        "powers": list(_POWERS),
        "guards": list(_GUARDS),
        "tables": [table for table, _ in forbidden],
        "rights": [right for _, right in forbidden],
        "written": [table for table, _ in written],
        "columns": [column for _, column in written],
    }
    try:
        with engine.connect() as connection:
            found = list(connection.execute(_QUERY, parameters).scalars())
    finally:
        engine.dispose()
    supreme = [right for right in found if "superuser" in right]
    return supreme[:1] or list(dict.fromkeys(found))


def refuse_too_many_rights(url: str) -> None:
    """Raise TooManyRightsError for a login that could alter what is recorded."""
    found = rights_too_many(url)
    if found:
        more = f" and {len(found) - 3} more" if len(found) > 3 else ""
        raise TooManyRightsError(
            f"the login of RETAKE_LEDGER_DATABASE_URL {'; '.join(found[:3])}{more}: it could "
            "change or delete what is recorded. Name a login of its own there, a member of "
            f"{SERVICE_ROLE} alone, and the owner in RETAKE_LEDGER_OWNER_DATABASE_URL, for "
            "`retake-ledger migrate` (README.md, Run it for your studio); or set "
            "RETAKE_LEDGER_MORE_RIGHTS=yes to serve all the same"
        )
