"""Rounds of faults: clients at work, a fault at a random moment, and again when all have recovered.

What clients were told is then held against the tables by the independent reader.
"""

import json
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, fields
from datetime import UTC, datetime
from pathlib import Path
from random import Random

from service.client import Client
from service.feeds.exports import CHECKPOINT
from service.keys import ensure_seal_key
from service.log import tokens
from service.log.embedded import ensure_running
from service.log.engine import owner_engine
from service.log.migrate import migrate
from service.log.studios import make_studio
from tests.crash.clients import GIVEN_UP_S, LoopingClient, Reader, Writer, at_work
from tests.crash.clock import Clock
from tests.crash.faults import Fault, Installation
from tests.crash.independent import Claims, contradictions, contradictions_of, read_tables
from tests.crash.poster import until_answered
from tests.serving import Service
from tests.telling import office_facts

STUDIO = "paper"
QUIET_S = (0.05, 1.0)
"""How long after everybody has recovered the next fault comes."""


@dataclass
class Outcome:
    """What rounds came to. `recoveries_s` has, for each, the wait until all posts were answered.

    `wrong` names what the tables contradict; it is empty where the service held.
    """

    recoveries_s: list[float] = field(default_factory=list)
    acknowledged: int = 0
    repeated: int = 0
    recorded_before: int = 0
    read: int = 0
    lost: int = 0
    refused: Counter[int] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def __iadd__(self, more: "Outcome") -> "Outcome":
        for one in fields(self):
            setattr(self, one.name, getattr(self, one.name) + getattr(more, one.name))
        return self


def run_rounds(
    data: Path, faults: Iterable[tuple[Fault, Random]], draw: Random, *, writers: int, readers: int
) -> Outcome:
    """Bring about faults one after the other, each with its source of chance.

    Raises AssertionError where clients do not recover, or get answers that cannot be.
    """
    office, supervisor = _installed(data)
    clock = Clock(data.parent / "clock")
    service = Service(data, workers=2, log=data.parent / "service.log", environ=clock.environ)
    with _running(service, clock):
        with Client(service.url, office) as ledger:
            at = ledger.get("/clock")["now"]
            ledger.post(office_facts(scenes=1, at=at))
        writing = [
            Writer(service.url, supervisor, number, at, Random(draw.random()))
            for number in range(writers)
        ]
        reading = [Reader(service.url, supervisor) for _ in range(readers)]
        used, outcome, checkpoints = Installation(data, service, clock), Outcome(), list[str]()
        with Client(service.url, supervisor) as ledger, _at_work([*writing, *reading]):
            _wait_for_all(service, writing, reading, time.monotonic())
            for fault, chance in faults:
                time.sleep(chance.uniform(*QUIET_S))
                clock.remove_leftovers()
                since = fault(used, chance)
                outcome.recoveries_s.append(_wait_for_all(service, writing, reading, since))
                checkpoints.append(until_answered(lambda: ledger.get_text("/checkpoints/latest")))
        _sum_up(outcome, writing, reading)
        checkpoints += _checkpoints_of(used.backups)
        outcome.wrong = contradictions(data, STUDIO, _claims(writing, reading, checkpoints))
        outcome.wrong += _wrong_imports(used)
    return outcome


def _installed(data: Path) -> tuple[str, str]:
    """Make the database with a studio in it; the secrets of its office and its supervisor.

    The server outlives the service then, until it is killed.
    """
    url = ensure_running(data)
    migrate(url)
    engine = owner_engine(url)
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "real", seal_key=ensure_seal_key(data / "keys"))
        now = datetime.now(UTC)
        office, supervisor = (
            tokens.issue(connection, STUDIO, role, role, [], "/tests", now)[1]
            for role in ("office", "supervisor")
        )
    engine.dispose()
    return office, supervisor


@contextmanager
def _running(service: Service, clock: Clock) -> Iterator[None]:
    service.start()
    try:
        service.wait_until_ready()
        yield
        service.end()
    finally:
        if service.running.poll() is None:
            service.kill()
        clock.remove_leftovers()


@contextmanager
def _at_work(clients: Sequence[LoopingClient]) -> Iterator[None]:
    with at_work(clients, GIVEN_UP_S):
        yield
    _check(clients)


def _check(clients: Sequence[LoopingClient]) -> None:
    for client in clients:
        if client.error is not None:
            raise AssertionError(f"a client failed: {client.error!r}") from client.error


def _wait_for_all(
    service: Service, writers: Sequence[Writer], readers: Sequence[Reader], since: float
) -> float:
    """Wait until each writer was answered a post sent after a moment; how long the last took, s."""
    deadline = time.monotonic() + GIVEN_UP_S
    while True:
        answers = [writer.first_answer_since(since) for writer in writers]
        found = [answered_at for answered_at in answers if answered_at is not None]
        if len(found) == len(writers):
            return max(found) - since
        _check([*writers, *readers])
        assert service.running.poll() is None, f"the service ended: {service.log_tail()}"
        assert time.monotonic() < deadline, "posts are not answered any more"
        time.sleep(0.01)


def _sum_up(outcome: Outcome, writers: Sequence[Writer], readers: Sequence[Reader]) -> None:
    for writer in writers:
        outcome.acknowledged += len(writer.acknowledged)
        outcome.repeated += writer.repeated
        outcome.recorded_before += writer.recorded_before
    outcome.read = sum(reader.read for reader in readers)
    clients: list[LoopingClient] = [*writers, *readers]
    outcome.lost = sum(client.lost for client in clients)
    for client in clients:
        outcome.refused += client.refused


def _claims(
    writers: Sequence[Writer], readers: Sequence[Reader], checkpoints: Sequence[str]
) -> Claims:
    acknowledged = {
        position: event for writer in writers for position, event in writer.acknowledged.items()
    }
    assert len(acknowledged) == sum(len(writer.acknowledged) for writer in writers), (
        "two events were acknowledged at one position"
    )
    seen: dict[int, tuple[str, str]] = {}
    for reader in readers:
        for position, name in reader.seen.items():
            assert seen.setdefault(position, name) == name, f"two readers differ at {position}"
    return Claims(acknowledged, seen, checkpoints)


def _wrong_imports(used: Installation) -> list[str]:
    """Where a studio that was imported is not the whole of what was exported."""
    wrong = []
    for folder, studio in used.imports:
        checkpoint = (folder / CHECKPOINT).read_text()
        tables = read_tables(used.data, studio)
        size = int(checkpoint.split("\n")[1])
        if len(tables.rows) != size:
            wrong.append(f"{studio}: {len(tables.rows)} of {size} events")
        found = contradictions_of(tables, Claims({}, checkpoints=[checkpoint]))
        wrong += [f"{studio}: {one}" for one in found]
    return wrong


def _checkpoints_of(backups: Sequence[Path]) -> list[str]:
    """The checkpoints that backups were signed with."""
    return [
        studio["checkpoint"]
        for folder in backups
        for studio in json.loads((folder / "manifest.json").read_text())["studios"]
    ]
