"""Eight scripts post at once, one is killed in mid-post, PostgreSQL is killed: nothing is lost."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import orjson

from service.client import Client
from service.log.append import read_head
from service.log.embedded import ensure_running
from service.log.engine import service_engine
from service.log.read import bodies
from service.proofs.tree import append, leaf_hash
from service.settings import Settings
from tests.crash.poster import note
from tests.serving import command, issued, postmaster_pid, served
from tests.telling import office_facts

POSTERS, NOTES = 8, 60
TOP = Path(__file__).parents[2]


def _lines(file: Path) -> list[str]:
    return file.read_text().splitlines() if file.exists() else []


def _wait_for_lines(file: Path, count: int) -> None:
    deadline = time.monotonic() + 60
    while len(_lines(file)) < count:
        assert time.monotonic() < deadline, f"{file}: nothing is acknowledged any more"
        time.sleep(0.01)


def test_every_acknowledged_event_is_there_once(data: Path, tmp_path: Path) -> None:
    ensure_running(data)  # so that it outlives the service and is asked afterwards
    command(data, "studio", "make", "paper")
    office, supervisor = issued(data, "office"), issued(data, "supervisor")
    files = [tmp_path / f"{number}" for number in range(POSTERS)]
    with served(data) as url:
        with Client(url, office) as ledger:
            at = ledger.get("/clock")["now"]
            ledger.post(office_facts(scenes=1, at=at))
        posters = [
            subprocess.Popen(
                [sys.executable, "-m", "tests.crash.poster", url, supervisor, str(number),
                 str(NOTES), str(file)],
                cwd=TOP,
            )
            for number, file in enumerate(files)
        ]  # fmt: skip
        _wait_for_lines(files[0], 5)
        posters[0].send_signal(signal.SIGKILL)
        _wait_for_lines(files[1], 15)
        os.kill(postmaster_pid(data), signal.SIGKILL)
        assert [poster.wait(timeout=120) for poster in posters[1:]] == [0] * (POSTERS - 1)
        posters[0].wait()
        acknowledged = {
            key: int(position)
            for file in files
            for key, position in (line.split() for line in _lines(file))
        }
        _check_log(data, acknowledged)
        _check_repeats(url, supervisor, acknowledged)
        _check_log(data, acknowledged)


def _check_log(data: Path, acknowledged: dict[str, int]) -> None:
    engine = service_engine(
        ensure_running(data), Settings.from_environment({"RETAKE_LEDGER_DATA": str(data)})
    )
    with engine.connect() as connection:
        rows = bodies(connection, "paper", 0)
        head = read_head(connection, "paper")
    engine.dispose()
    assert [position for position, _ in rows] == list(range(1, head.position + 1))
    told = [(orjson.loads(body)["id"], position) for position, body in rows]
    assert len({id_ for id_, _ in told}) == len(told)
    assert acknowledged.items() <= dict(told).items()
    assert len(acknowledged) >= (POSTERS - 1) * NOTES
    frontier: tuple[bytes, ...] = ()
    for size, (_, body) in enumerate(rows):
        _, frontier = append(frontier, size, leaf_hash(body))
    assert frontier == head.frontier


def _check_repeats(url: str, token: str, acknowledged: dict[str, int]) -> None:
    """Post everything again that was acknowledged: as it was, by the times in the log."""
    with Client(url, token) as ledger:
        told_at = {
            members["id"]: members["time"]
            for page in ledger.pages("/events", type="note.given", limit=1000)
            for members in page
        }
        for number in range(POSTERS):
            repeats = [
                note(number, int(key.split("-")[1]), told_at[key])
                for key in acknowledged
                if key.startswith(f"{number}-")
            ]
            for receipt in ledger.post(repeats):
                assert receipt["repeated"]
                assert receipt["position"] == acknowledged[receipt["id"]]
