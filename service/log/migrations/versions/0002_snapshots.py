"""Snapshots: what folds came to, kept so that a worker starts warm. Disposable."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the table, and let the service write and clear it."""
    op.create_table(
        "snapshot",
        sa.Column("studio", sa.Text(collation="C"), nullable=False),
        sa.Column("position", sa.BigInteger, nullable=False, autoincrement=False),
        sa.Column("made_by", sa.Text(collation="C"), nullable=False),
        sa.Column("leaf", sa.LargeBinary, nullable=False),
        sa.Column("parts", sa.ARRAY(sa.LargeBinary), nullable=False),
        sa.PrimaryKeyConstraint("studio", "position", name=op.f("snapshot_pk")),
        sa.CheckConstraint("position > 0", name=op.f("snapshot_position_check")),
    )
    # megabytes that are packed already: compressing them takes longer than reading them
    op.execute("ALTER TABLE snapshot ALTER COLUMN parts SET STORAGE EXTERNAL")
    op.execute("GRANT SELECT, INSERT, DELETE ON snapshot TO retake_ledger_service")
