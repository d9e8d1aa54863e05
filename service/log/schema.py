"""The tables of the log, as SQLAlchemy Core knows them; migrations make them.

The studio leads every key, so that the tables can be distributed by it.
"""

from sqlalchemy import (
    ARRAY,
    BigInteger,
    CheckConstraint,
    Column,
    DateTime,
    Index,
    LargeBinary,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

SERVICE_ROLE = "retake_ledger_service"

metadata = MetaData(
    naming_convention={
        "pk": "%(table_name)s_pk",
        "uq": "%(table_name)s_%(column_0_N_name)s_key",
        "ix": "%(table_name)s_%(column_0_N_name)s_ix",
        "ck": "%(table_name)s_%(constraint_name)s_check",
    }
)

# In the order of code points, whatever the database's own collation: a prefix is then a range.
_TEXT = Text(collation="C")
_INSTANT = DateTime(timezone=True)

studio = Table(
    "studio",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("clock", _TEXT, nullable=False),
    Column("made_at", _INSTANT, nullable=False),
    Column("title", _TEXT),
    CheckConstraint("clock IN ('real', 'simulated')", name="clock"),
)

head = Table(
    "head",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("position", BigInteger, nullable=False),
    Column("recorded_at", _INSTANT, nullable=False),
    Column("frontier", LargeBinary, nullable=False),
    Column("clock_at", _INSTANT),
    # over kind and instant of the clock, by a key that lies elsewhere
    Column("clock_seal", LargeBinary),
    CheckConstraint("position >= 0", name="position"),
    CheckConstraint("octet_length(frontier) % 32 = 0", name="frontier"),
    # The row is written at each commit: room for that on its own page.
    postgresql_with={"fillfactor": "20"},
)

event = Table(
    "event",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("position", BigInteger, primary_key=True, autoincrement=False),
    Column("source", _TEXT, nullable=False),
    Column("id", _TEXT, nullable=False),
    Column("type", _TEXT, nullable=False),
    Column("subject", _TEXT, nullable=False),
    Column("department", _TEXT),
    Column("time_at", _INSTANT, nullable=False),
    Column("recorded_at", _INSTANT, nullable=False),
    Column("poster", _TEXT, nullable=False),
    Column("content_hash", LargeBinary, nullable=False),
    Column("body", LargeBinary, nullable=False),
    Column("nodes", LargeBinary, nullable=False),
    UniqueConstraint("studio", "source", "id"),
    CheckConstraint("position > 0", name="position"),
    CheckConstraint("octet_length(content_hash) = 32", name="content_hash"),
    CheckConstraint("octet_length(nodes) >= 32 AND octet_length(nodes) % 32 = 0", name="nodes"),
    Index(None, "studio", "subject", "position"),
    Index(None, "studio", "type", "position"),
    Index(None, "studio", "department", "position"),
    Index(None, "studio", "time_at"),
)

personal = Table(
    "personal",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("position", BigInteger, primary_key=True, autoincrement=False),
    Column("salt", LargeBinary, nullable=False),
    Column("content", LargeBinary, nullable=False),
)

# What folds came to. Disposable, and only ever read by the release that wrote it.
snapshot = Table(
    "snapshot",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("position", BigInteger, primary_key=True, autoincrement=False),
    Column("made_by", _TEXT, nullable=False),
    Column("leaf", LargeBinary, nullable=False),
    Column("parts", ARRAY(LargeBinary), nullable=False),
    # the last part, which is a digest of the others, and a seal by a key that lies elsewhere
    Column("digest", LargeBinary, nullable=False),
    Column("seal", LargeBinary, nullable=False),
    CheckConstraint("position > 0", name="position"),
)

# What the log said of itself, signed; and what others signed below it. Never changed either.
checkpoint = Table(
    "checkpoint",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("size", BigInteger, primary_key=True, autoincrement=False),
    Column("key_id", LargeBinary, primary_key=True),
    Column("made_at", _INSTANT, nullable=False),
    Column("text", _TEXT, nullable=False),
    Column("signature", _TEXT, nullable=False),
    CheckConstraint("size >= 0", name="size"),
)

cosignature = Table(
    "cosignature",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("size", BigInteger, primary_key=True, autoincrement=False),
    Column("key_id", LargeBinary, primary_key=True),
    Column("name", _TEXT, primary_key=True),
    Column("key", _TEXT, nullable=False),
    Column("signature", _TEXT, nullable=False),
)

# How far a projection has been built: the last minute and position in it, and by which rules.
projection = Table(
    "projection",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("name", _TEXT, primary_key=True),
    Column("position", BigInteger, nullable=False),
    Column("at_min", BigInteger, nullable=False),
    Column("rules", _TEXT, nullable=False),
    CheckConstraint("position >= 0", name="position"),
)

# What moved each episode's projected delivery. Follows from the log; a rebuild gives it again.
trail = Table(
    "trail",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("episode", _TEXT, primary_key=True),
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    Column("at_min", BigInteger, nullable=False),
    Column("position", BigInteger, nullable=False),
    Column("cause", _TEXT, nullable=False),
    Column("type", _TEXT),
    Column("subject", _TEXT),
    Column("retake", _TEXT),
    Column("retake_kind", _TEXT),
    Column("department", _TEXT),
    Column("waited_for", _TEXT),
    Column("before_min", BigInteger),
    Column("after_min", BigInteger),
    Column("delta_min", BigInteger),
    CheckConstraint("number > 0", name="number"),
    CheckConstraint("cause IN ('event', 'time')", name="cause"),
)

token = Table(
    "token",
    metadata,
    Column("studio", _TEXT, primary_key=True),
    Column("token_id", _TEXT, primary_key=True),
    Column("name", _TEXT, nullable=False),
    Column("role", _TEXT, nullable=False),
    Column("departments", ARRAY(_TEXT), nullable=False),
    Column("source_prefix", _TEXT, nullable=False),
    Column("token_hash", LargeBinary, nullable=False),
    Column("issued_at", _INSTANT, nullable=False),
    Column("revoked_at", _INSTANT),
    # Not led by the studio: a request brings the secret alone. The table is small, so that a
    # cluster keeps a copy of it on every node.
    UniqueConstraint("token_hash"),
)
