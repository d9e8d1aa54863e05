"""Seals over snapshots and clocks, and rights narrowed to what each table needs."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"

_NARROWED = (
    # of a head nothing but where it stands; of a projection all but whose it is
    "REVOKE UPDATE ON head, projection FROM retake_ledger_service",
    "GRANT UPDATE (position, recorded_at, frontier, clock_at, clock_seal) "
    "ON head TO retake_ledger_service",
    "GRANT UPDATE (position, at_min, rules) ON projection TO retake_ledger_service",
)

_GUARD = """
CREATE FUNCTION refuse_reviving() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'token % was revoked for good', OLD.token_id
        USING HINT = 'Issue another.', ERRCODE = 'insufficient_privilege';
END
$$
"""

_GUARDED = (
    "CREATE TRIGGER token_stays_revoked BEFORE UPDATE ON token FOR EACH ROW "
    "WHEN (OLD.revoked_at IS NOT NULL) EXECUTE FUNCTION refuse_reviving()",
    "ALTER TABLE token ENABLE ALWAYS TRIGGER token_stays_revoked",
)


def upgrade() -> None:
    """Snapshots made before have no seal and are made again; clocks have none until they move."""
    op.execute("DELETE FROM snapshot")
    for name in ("digest", "seal"):
        op.add_column("snapshot", sa.Column(name, sa.LargeBinary, nullable=False))
    op.add_column("head", sa.Column("clock_seal", sa.LargeBinary, nullable=True))
    for statement in (*_NARROWED, _GUARD, *_GUARDED):
        op.execute(statement)
