"""A tree that is not the log's own: found before anything is signed or appended, and where."""

from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine, text

from service.feeds.exports import ExportError, export
from service.log.append import UnknownStudioError, read_head
from service.log.checkpoints import sign_latest
from service.log.studios import make_studio
from service.log.tree import FrontierError, checked_head, derive_frontier
from tests.conftest import Database
from tests.guards import alter
from tests.log.recording import START_US, STUDIO, record

COUNT = 23  # 16, 20, 22 and 23 complete its frontier; 8, 12, 14 and 15 are left halves
SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
ORIGIN = "kestrel.example/north"


def flipped(position: int, at: int) -> str:
    """Alters one byte of the hashes beside an event."""
    value = f"set_byte(nodes, {at}, get_byte(nodes, {at}) # 1)"
    return f"UPDATE event SET nodes = {value} WHERE position = {position}"  # noqa: S608  # ours


@pytest.fixture
def studio(engine: Engine) -> Engine:
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
        record(connection, [{} for _ in range(COUNT)])
    return engine


def test_of_every_size_the_rows_give_the_frontier(engine: Engine) -> None:
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
        assert checked_head(connection, STUDIO).frontier == ()
        for size in range(1, 71):
            record(connection, [{}])
            head = checked_head(connection, STUDIO)
            assert head == read_head(connection, STUDIO)
            assert derive_frontier(connection, STUDIO, size) == head.frontier
        assert len(derive_frontier(connection, STUDIO, 23)) == 4
        with pytest.raises(UnknownStudioError):
            checked_head(connection, "nowhere")


WAYS = [
    ("UPDATE head SET frontier = set_byte(frontier, 0, get_byte(frontier, 0) # 1)", COUNT,
     "frontier in the head"),
    ("UPDATE head SET frontier = substr(frontier, 33)", COUNT, "frontier in the head"),
    ("UPDATE head SET position = 22, frontier = substr(frontier, 1, 96)", 23, "rows go to 23"),
    (flipped(23, 0), 23, "its bytes"),
    (flipped(16, 128), 16, "halves"),
    (flipped(8, 96), 16, "halves"),
    ("UPDATE event SET nodes = substr(nodes, 1, 32) WHERE position = 20", 20, "not as many"),
    ("UPDATE event SET body = body || ' ' WHERE position = 22", 22, "its bytes"),
    ("DELETE FROM event WHERE position = 23", 23, "there is no event here"),
    ("DELETE FROM event WHERE position = 12", COUNT, "no subtree"),
]  # fmt: skip


@pytest.mark.parametrize(("statement", "position", "reason"), WAYS)
def test_what_does_not_agree_is_neither_signed_nor_exported(
    studio: Engine, database: Database, tmp_path: Path, statement: str, position: int, reason: str
) -> None:
    alter(database, statement)
    with studio.begin() as connection, pytest.raises(FrontierError, match=reason) as raised:
        sign_latest(connection, STUDIO, ORIGIN, SECRET)
    assert (raised.value.studio, raised.value.position) == (STUDIO, position)
    assert f"retake-ledger mend --studio {STUDIO}" in str(raised.value)
    with studio.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM checkpoint")) == 0
    with pytest.raises(ExportError, match=reason):
        list(export(studio, STUDIO, tmp_path / "out", ORIGIN, SECRET, personal=False))


def test_what_is_signed_goes_on_from_what_was_signed(studio: Engine, database: Database) -> None:
    """A record that was made anew from its beginning is sound in itself, and another."""
    with studio.begin() as connection:
        first = sign_latest(connection, STUDIO, ORIGIN, SECRET)
        assert sign_latest(connection, STUDIO, ORIGIN, SECRET) == first
        record(connection, [{} for _ in range(3)])
        assert sign_latest(connection, STUDIO, ORIGIN, SECRET).size == COUNT + 3
    alter(database, "DELETE FROM event")
    with studio.begin() as connection:
        connection.execute(text("UPDATE head SET position = 0, frontier = '', recorded_at = now()"))
    with studio.begin() as connection:
        connection.execute(text("UPDATE head SET recorded_at = 'epoch'"))
        record(connection, [{"body": b'{"position":%d,"made":"anew"}' % at}
                            for at in range(1, COUNT + 9)])  # fmt: skip
    with studio.begin() as connection, pytest.raises(FrontierError, match="does not go on"):
        sign_latest(connection, STUDIO, ORIGIN, SECRET)
