"""Eight scripts post at once, one is killed in mid-post, PostgreSQL is killed: nothing is lost."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from service.client import Client
from service.log.embedded import ensure_running
from tests.crash.independent import Claims, contradictions
from tests.places import TOP
from tests.serving import command, issued, postmaster_pid, served
from tests.telling import office_facts
from tests.waiting import wait_until

POSTERS, NOTES = 8, 30


def _lines(file: Path) -> list[str]:
    return file.read_text().splitlines() if file.exists() else []


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
        nothing = "nothing is acknowledged any more"
        wait_until(lambda: len(_lines(files[0])) >= 5, nothing)
        posters[0].send_signal(signal.SIGKILL)
        wait_until(lambda: len(_lines(files[1])) >= 15, nothing)
        assert any(poster.poll() is None for poster in posters[1:]), "all have posted already"
        os.kill(postmaster_pid(data), signal.SIGKILL)
        assert [poster.wait(timeout=120) for poster in posters[1:]] == [0] * (POSTERS - 1)
        assert posters[0].wait() == -signal.SIGKILL
        acknowledged: dict[int, dict[str, Any]] = {}
        for line in (line for file in files for line in _lines(file)):
            position, _, posted = line.partition(" ")
            acknowledged[int(position)] = json.loads(posted)
        assert len(acknowledged) >= (POSTERS - 1) * NOTES
        assert contradictions(data, "paper", Claims(acknowledged)) == []
        _check_repeats(url, supervisor, acknowledged)
        assert contradictions(data, "paper", Claims(acknowledged)) == []


def _check_repeats(url: str, token: str, acknowledged: dict[int, dict[str, Any]]) -> None:
    """Post everything again that was acknowledged."""
    with Client(url, token) as ledger:
        receipts = ledger.post(list(acknowledged.values()))
    assert [receipt["position"] for receipt in receipts] == list(acknowledged)
    assert all(receipt["repeated"] for receipt in receipts)
