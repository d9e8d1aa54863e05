"""Checkpoints that were signed, and other parties' signatures below them."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

_GUARD = (
    "CREATE TRIGGER {table}_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
    "FOR EACH STATEMENT EXECUTE FUNCTION refuse_rewriting()",
    "ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_stays",
    "GRANT SELECT, INSERT ON {table} TO retake_ledger_service",
)


def _text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(collation="C"), nullable=False)


def _size() -> sa.Column[int]:
    return sa.Column("size", sa.BigInteger, nullable=False, autoincrement=False)


def _octets(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary, nullable=False)


def upgrade() -> None:
    """Make the tables; what is in them stays as it is."""
    op.create_table(
        "checkpoint",
        _text("studio"),
        _size(),
        _octets("key_id"),
        sa.Column("made_at", sa.DateTime(timezone=True), nullable=False),
        _text("text"),
        _text("signature"),
        sa.PrimaryKeyConstraint("studio", "size", "key_id", name=op.f("checkpoint_pk")),
        sa.CheckConstraint("size >= 0", name=op.f("checkpoint_size_check")),
    )
    op.create_table(
        "cosignature",
        _text("studio"),
        _size(),
        _octets("key_id"),
        _text("name"),
        _text("key"),
        _text("signature"),
        sa.PrimaryKeyConstraint("studio", "size", "key_id", "name", name=op.f("cosignature_pk")),
    )
    for table in ("checkpoint", "cosignature"):
        for statement in _GUARD:
            op.execute(statement.format(table=table))
