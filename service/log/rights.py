"""Whether the service's login can do more to the record than it should.

What a login may become counts as its own: it acts as the service's role by SET ROLE, which it can
take back at any time.
"""

from sqlalchemy import create_engine, text
from sqlalchemy.pool import NullPool

from service.log.schema import SERVICE_ROLE

KEPT = ("event", "personal", "checkpoint", "cosignature")
"""The tables whose rows stay as they were recorded."""

_GUARD = "refuse_rewriting"
_FORBIDDEN = ("UPDATE", "DELETE", "TRUNCATE", "TRIGGER")
_POWERS = ("pg_execute_server_program", "pg_write_server_files")  # as good as the whole server

_ASKED = text(
    """
WITH self AS (SELECT oid, rolname FROM pg_roles WHERE rolname = session_user),
may_be AS (SELECT r.* FROM pg_roles r, self WHERE pg_has_role(self.oid, r.oid, 'MEMBER')),
kept AS (
    SELECT c.oid, c.relname, c.relowner, n.nspname, n.nspowner
    FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace
    WHERE c.oid IN (SELECT to_regclass(name) FROM unnest(CAST(:kept AS text[])) AS name)
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
    WHERE proname = :guard AND pronamespace = 'public'::regnamespace
    AND proowner IN (SELECT oid FROM may_be)
UNION ALL SELECT DISTINCT 'may ' || asked || ' ' || relname
    FROM kept, unnest(CAST(:forbidden AS text[])) AS asked, may_be
    WHERE has_table_privilege(may_be.oid, kept.oid, asked)
    OR asked = 'UPDATE' AND has_any_column_privilege(may_be.oid, kept.oid, 'UPDATE')
"""
)


class TooManyRightsError(Exception):
    """The login can change or delete what is recorded; the message names the right and remedy."""


def rights_too_many(url: str) -> list[str]:
    """What the login of a database's URL can do beyond the service's work, in words.

    A superuser, who can do everything, is told as that alone.
    """
    engine = create_engine(url, poolclass=NullPool)
    asked = {
        "kept": list(KEPT),
        "powers": list(_POWERS),
        "guard": _GUARD,
        "forbidden": list(_FORBIDDEN),
    }
    try:
        with engine.connect() as connection:
            found = list(connection.execute(_ASKED, asked).scalars())
    finally:
        engine.dispose()
    supreme = [told for told in found if "superuser" in told]
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
