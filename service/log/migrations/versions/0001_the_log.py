"""The log: its tables, what the service may do with them, and the guard over events."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_GRANTS = (
    "GRANT SELECT, INSERT ON event, personal, studio, head, token TO retake_ledger_service",
    "GRANT UPDATE ON head TO retake_ledger_service",
    "GRANT UPDATE (revoked_at) ON token TO retake_ledger_service",
    "GRANT SELECT ON alembic_version TO retake_ledger_service",
)

_GUARD = """
CREATE FUNCTION refuse_rewriting() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% on %: an event that is recorded stays as it is', TG_OP, TG_TABLE_NAME
        USING HINT = 'Record event.struck to take a mistake out of account.',
              ERRCODE = 'insufficient_privilege';
END
$$
"""

# Always: also for a session that says it replays what a replica sent.
_GUARDED = (
    "CREATE TRIGGER event_stays BEFORE UPDATE OR DELETE OR TRUNCATE ON event "
    "FOR EACH STATEMENT EXECUTE FUNCTION refuse_rewriting()",
    "ALTER TABLE event ENABLE ALWAYS TRIGGER event_stays",
)


def upgrade() -> None:
    """Make the tables, the grants and the guard."""
    _make_studio_and_head()
    _make_event()
    _make_personal()
    _make_token()
    for statement in (*_GRANTS, _GUARD, *_GUARDED):
        op.execute(statement)


def _text(name: str, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(collation="C"), nullable=nullable)


def _instant(name: str, *, nullable: bool = False) -> sa.Column[object]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _number(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.BigInteger, nullable=False, autoincrement=False)


def _octets(name: str) -> sa.Column[bytes]:
    return sa.Column(name, sa.LargeBinary, nullable=False)


def _make_studio_and_head() -> None:
    op.create_table(
        "studio",
        _text("studio"),
        _text("clock"),
        _instant("made_at"),
        sa.PrimaryKeyConstraint("studio", name=op.f("studio_pk")),
        sa.CheckConstraint("clock IN ('real', 'simulated')", name=op.f("studio_clock_check")),
    )
    op.create_table(
        "head",
        _text("studio"),
        _number("position"),
        _instant("recorded_at"),
        _octets("frontier"),
        _instant("clock_at", nullable=True),
        sa.PrimaryKeyConstraint("studio", name=op.f("head_pk")),
        sa.CheckConstraint("position >= 0", name=op.f("head_position_check")),
        sa.CheckConstraint("octet_length(frontier) % 32 = 0", name=op.f("head_frontier_check")),
        postgresql_with={"fillfactor": "20"},
    )


def _make_event() -> None:
    op.create_table(
        "event",
        _text("studio"),
        _number("position"),
        _text("source"),
        _text("id"),
        _text("type"),
        _text("subject"),
        _text("department", nullable=True),
        _instant("time_at"),
        _instant("recorded_at"),
        _text("poster"),
        _octets("content_hash"),
        _octets("body"),
        _octets("nodes"),
        sa.PrimaryKeyConstraint("studio", "position", name=op.f("event_pk")),
        sa.UniqueConstraint("studio", "source", "id", name=op.f("event_studio_source_id_key")),
        sa.CheckConstraint("position > 0", name=op.f("event_position_check")),
        sa.CheckConstraint(
            "octet_length(content_hash) = 32", name=op.f("event_content_hash_check")
        ),
        sa.CheckConstraint(
            "octet_length(nodes) >= 32 AND octet_length(nodes) % 32 = 0",
            name=op.f("event_nodes_check"),
        ),
    )
    for columns in (
        ("subject", "position"),
        ("type", "position"),
        ("department", "position"),
        ("time_at",),
    ):
        name = f"event_studio_{'_'.join(columns)}_ix"
        op.create_index(op.f(name), "event", ["studio", *columns])


def _make_personal() -> None:
    op.create_table(
        "personal",
        _text("studio"),
        _number("position"),
        _octets("salt"),
        _octets("content"),
        sa.PrimaryKeyConstraint("studio", "position", name=op.f("personal_pk")),
    )


def _make_token() -> None:
    op.create_table(
        "token",
        _text("studio"),
        _text("token_id"),
        _text("name"),
        _text("role"),
        sa.Column("departments", sa.ARRAY(sa.Text(collation="C")), nullable=False),
        _text("source_prefix"),
        _octets("token_hash"),
        _instant("issued_at"),
        _instant("revoked_at", nullable=True),
        sa.PrimaryKeyConstraint("studio", "token_id", name=op.f("token_pk")),
        sa.UniqueConstraint("token_hash", name=op.f("token_token_hash_key")),
    )
