"""A studio's own name, as it stands on its papers."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Studios that were made before have none: their code stands for it."""
    op.add_column("studio", sa.Column("title", sa.Text(collation="C"), nullable=True))
