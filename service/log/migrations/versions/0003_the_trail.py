"""The trail of each episode's projected delivery, and how far projections have been built."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make the tables, and let the service write and clear them."""
    text = sa.Text(collation="C")
    op.create_table(
        "projection",
        sa.Column("studio", text, nullable=False),
        sa.Column("name", text, nullable=False),
        sa.Column("position", sa.BigInteger, nullable=False),
        sa.Column("at_min", sa.BigInteger, nullable=False),
        sa.Column("rules", text, nullable=False),
        sa.PrimaryKeyConstraint("studio", "name", name=op.f("projection_pk")),
        sa.CheckConstraint("position >= 0", name=op.f("projection_position_check")),
    )
    op.create_table(
        "trail",
        sa.Column("studio", text, nullable=False),
        sa.Column("episode", text, nullable=False),
        sa.Column("number", sa.BigInteger, nullable=False, autoincrement=False),
        sa.Column("at_min", sa.BigInteger, nullable=False),
        sa.Column("position", sa.BigInteger, nullable=False),
        sa.Column("cause", text, nullable=False),
        sa.Column("type", text),
        sa.Column("subject", text),
        sa.Column("retake", text),
        sa.Column("retake_kind", text),
        sa.Column("department", text),
        sa.Column("waited_for", text),
        sa.Column("before_min", sa.BigInteger),
        sa.Column("after_min", sa.BigInteger),
        sa.Column("delta_min", sa.BigInteger),
        sa.PrimaryKeyConstraint("studio", "episode", "number", name=op.f("trail_pk")),
        sa.CheckConstraint("number > 0", name=op.f("trail_number_check")),
        sa.CheckConstraint("cause IN ('event', 'time')", name=op.f("trail_cause_check")),
    )
    op.execute("GRANT SELECT, INSERT, UPDATE, DELETE ON projection TO retake_ledger_service")
    op.execute("GRANT SELECT, INSERT, DELETE ON trail TO retake_ledger_service")
