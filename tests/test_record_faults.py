"""A fault at every statement of an append: all of a post is in the log afterwards, or nothing.

Whatever the write path sends goes through one function of `prepared`. It is made to fail right
behind the n-th statement, which is right before the next one, in two ways: this process breaks off,
or the server's process for this connection is ended.
"""

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from psycopg.pq.abc import PGresult
from sqlalchemy import Engine, create_engine, text
from sqlalchemy.pool import NullPool

from service.log import prepared
from service.log.append import read_head
from service.log.read import bodies
from service.production.refusal import Refusal
from service.proofs.tree import Frontier, append, leaf_hash
from service.record import OpenStudio, Receipt
from tests import recording
from tests.recording import NAME, fact, post, posted, worker
from tests.telling import office_facts

MOST_STATEMENTS = 24


class BrokenOffError(RuntimeError):
    """What a test raises where the process is to break off."""


class Faults:
    """Counts statements once armed, and does something right behind one of them."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.seen = 0
        self._at = 0
        self._do: Callable[[], None] = lambda: None
        checked = prepared._checked

        def watched(result: PGresult) -> PGresult:
            found = checked(result)
            if result.command_status:  # preparing a statement has none, and changes nothing
                self.seen += 1
                if self.seen == self._at:
                    self._do()
            return found

        monkeypatch.setattr(prepared, "_checked", watched)

    def arm(self, at: int, do: Callable[[], None]) -> None:
        self.seen, self._at, self._do = 0, at, do

    def disarm(self) -> None:
        self._at = 0


@pytest.fixture
def faults(monkeypatch: pytest.MonkeyPatch) -> Iterator[Faults]:
    made = Faults(monkeypatch)
    yield made
    made.disarm()


@pytest.fixture
def studio(engine: Engine) -> OpenStudio:
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    posted(opened, [_note(0)])
    return opened


def _note(number: int) -> dict[str, Any]:
    data = {"note": f"N{number}", "to": "layout", "text": f"Slower, please ({number})."}
    return fact("note.given", "KESTREL-1/1", data, id=f"n{number}")


def _strike(position: int) -> dict[str, Any]:
    data = {"position": position, "why": "Said twice."}
    return fact("event.struck", "studio", data, id="strike")


def _posts(studio: OpenStudio) -> dict[str, list[dict[str, Any]]]:
    last = studio.view().position
    return {
        "two": [_note(1), _note(2)],
        "one that was posted before": [_note(0), _note(1)],
        "a strike": [_strike(last), _note(1)],
    }


def end_backends(engine: Engine, admin: Engine) -> None:
    ended = text(
        "SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity "
        "WHERE datname = :name AND pid <> pg_backend_pid()"
    )
    with admin.connect() as connection:
        connection.execute(ended, {"name": engine.url.database})


def assert_log_and_tree_agree(engine: Engine) -> int:
    """Rows, nodes, frontier and personal text are those of one and the same log."""
    query = text("SELECT position, nodes FROM event WHERE studio = :studio ORDER BY position")
    aside = text(
        "SELECT count(*) FROM personal p LEFT JOIN event e USING (studio, position) "
        "WHERE e.position IS NULL OR strpos(convert_from(e.body, 'UTF8'), '\"personal\":') = 0"
    )
    lost = text(
        "SELECT count(*) FROM event e LEFT JOIN personal p USING (studio, position) "
        "WHERE p.position IS NULL AND strpos(convert_from(e.body, 'UTF8'), '\"personal\":') > 0"
    )
    # by a connection of its own: those of the pool may be ended
    with create_engine(engine.url, poolclass=NullPool).connect() as connection:
        head = read_head(connection, NAME)
        stored = bodies(connection, NAME, 0)
        kept = connection.execute(query, {"studio": NAME}).all()
        assert connection.execute(aside).scalar_one() == 0
        assert connection.execute(lost).scalar_one() == 0
    assert [position for position, _ in stored] == list(range(1, head.position + 1))
    frontier: Frontier = ()
    for (position, body), (_, nodes) in zip(stored, kept, strict=True):
        completed, frontier = append(frontier, position - 1, leaf_hash(body))
        assert bytes(nodes) == completed
    assert head.frontier == frontier
    return head.position


def attempt(studio: OpenStudio, events: list[dict[str, Any]]) -> tuple[Receipt, ...] | None:
    """The receipts, or None where a fault came up."""
    try:
        answer = post(studio, events)
    except Exception:
        return None
    assert not isinstance(answer, Refusal), answer
    return answer


@pytest.mark.parametrize("way", ["broken off", "backend ended"])
@pytest.mark.parametrize("name", ["two", "one that was posted before", "a strike"])
def test_all_or_nothing_at_every_statement(
    studio: OpenStudio, engine: Engine, server_admin: Engine, faults: Faults, way: str, name: str
) -> None:
    events = _posts(studio)[name]
    new = [event for event in events if event["id"] != "n0"]
    before = assert_log_and_tree_agree(engine)

    def broken_off() -> None:
        raise BrokenOffError

    def ended() -> None:
        end_backends(engine, server_admin)

    for at in range(1, MOST_STATEMENTS):
        faults.arm(at, broken_off if way == "broken off" else ended)
        receipts = attempt(studio, events)
        sent = faults.seen
        faults.disarm()
        after = assert_log_and_tree_agree(engine)
        assert after in {before, before + len(new)}
        if receipts is not None:
            assert after == before + len(new)
        if after != before:
            break  # it came through, or failed behind the commit
    else:
        pytest.fail("never committed")
    # lock, catching up, tokens, the rows and the commit: faults were set at each of them
    assert at >= 4
    assert sent >= at
    # the same again is answered with the first receipts, by this worker and by a new one
    again = attempt(studio, events) or posted(studio, events)  # the first finds its connection lost
    assert all(receipt.repeated for receipt in again)
    assert [receipt.position for receipt in again[-len(new) :]] == list(
        range(before + 1, before + len(new) + 1)
    )
    other = worker(engine)
    assert posted(other, events) == again
    assert assert_log_and_tree_agree(engine) == before + len(new)
    assert studio.view().state == other.view().state
