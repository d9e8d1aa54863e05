"""What the README promises: the demo, and every example on the studio that it leaves behind."""

import json
import os
import re
import shlex
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from tests import places
from tests.serving import COMMAND, data_folder, environ_of, free_port, memory_disk, served

README = places.README.read_text()


# of the demo's retake, as printed by an earlier run: nothing in it depends on machine or day
DELIVERIES = [
    ("TIDEWICK-108", "2031-06-09", "2031-06-10", -5),
    ("TIDEWICK-109", "2031-06-12", "2031-06-17", -4),
    ("TIDEWICK-110", "2031-06-20", "2031-06-20", -4),
    ("TIDEWICK-111", "2031-06-24", "2031-06-24", -1),
    ("TIDEWICK-112", "2031-06-26", "2031-06-26", 2),
    ("TIDEWICK-113", "2031-07-01", "2031-07-03", 2),
]
ADDED_WORK = {
    "design": 3,
    "ink-and-paint": 6493.5013,
    "animation-check": 95.1379,
    "camera": 93,
    "cutting": 0.145,
}


@dataclass(frozen=True)
class Shown:
    """What the demo printed, and the service started again on what it left."""

    text: str
    url: str
    tokens: dict[str, str]
    data: Path
    folder: Path

    def write_headers(self, folder: Path) -> None:
        """A file for each token, as the README has them."""
        for name, token in self.tokens.items():
            (folder / f"{name}.header").write_text(f"Authorization: Bearer {token}\n")

    def environ(self) -> dict[str, str]:
        tokens = {f"{name.upper()}_TOKEN": token for name, token in self.tokens.items()}
        return {**os.environ, **tokens, "LEDGER": self.url}


def blocks(language: str, heading: str) -> list[str]:
    """Code of the README's section."""
    section = README.split(f"\n## {heading}\n")[1].split("\n## ")[0]
    return re.findall(rf"```{language}\n(.*?)```", section, re.DOTALL)


def _demo(data: Path, *words: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [*COMMAND, "demo", *words],
        env=environ_of(data),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shown]:
    with data_folder(memory_disk()) as data:
        text = _demo(data, "--port", str(free_port())).stdout
        tokens = dict(re.findall(r"^  (\w+) +(rl_\S+)$", text, re.MULTILINE))
        with served(data) as url:
            shown = Shown(text, url, tokens, data, tmp_path_factory.mktemp("shown"))
            shown.write_headers(shown.folder)
            yield shown


def _run(demo: Shown, code: str) -> list[str]:
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", code],
        env=demo.environ(),
        cwd=demo.folder,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def _answers(demo: Shown, code: str) -> list[dict[str, Any]]:
    """The JSON documents that commands print one after the other."""
    return _documents("".join(_run(demo, code)))


def _documents(printed: str) -> list[dict[str, Any]]:
    decoder, found = json.JSONDecoder(), []
    while printed:
        value, end = decoder.raw_decode(printed)
        found.append(value)
        printed = printed[end:].lstrip()
    return found


def test_the_demo_shows_what_a_retake_moves(demo: Shown) -> None:
    assert "What went back, and why" in demo.text
    assert "Added work" in demo.text
    assert "is missed" in demo.text
    assert "holds" in demo.text
    assert re.search(r"[\d,]+ events over HTTP", demo.text)
    assert {"supervisor", "office", "producer", "auditor", "layout"} <= demo.tokens.keys()


def test_the_demo_shows_what_an_order_costs(demo: Shown) -> None:
    assert "Change order CO-1, approved" in demo.text
    (total,) = re.findall(r"in all +(\d+\.\d\d)$", demo.text, re.MULTILINE)
    shown = demo.text.split("Change order")[1].split("Retake R-")[0]
    amounts = re.findall(r"^[1-9] .* (-?\d+\.\d\d)$", shown, re.MULTILINE)
    assert len(amounts) == 5
    assert sum(map(Decimal, amounts)) == Decimal(total)


def test_the_curl_lines_it_prints_work(demo: Shown) -> None:
    lines = [line for line in demo.text.splitlines() if line.startswith("curl ")]
    assert len(lines) == 3
    assert not any(token in line for line in lines for token in demo.tokens.values())
    for line in lines:
        (answer,) = _answers(demo, re.sub(r"http://127\.0\.0\.1:\d+", demo.url, line))
        assert "position" in answer, answer


def test_it_shows_the_same_every_day_and_everywhere(demo: Shown) -> None:
    (line,) = [line for line in demo.text.splitlines() if line.endswith("/impact")]
    (impact,) = _answers(demo, re.sub(r"http://127\.0\.0\.1:\d+", demo.url, line))
    assert impact["now"] == "2031-06-04T06:28:00Z"
    members = ("episode", "delivery_before", "delivery_after", "margin_workdays_after")
    assert [tuple(map(episode.get, members)) for episode in impact["episodes"]] == DELIVERIES
    assert {one["department"]: one["added_work"] for one in impact["departments"]} == ADDED_WORK
    assert len(impact["reopened"]) == 306
    assert {episode["date_holds"] for episode in impact["episodes"]} == {True, False}


def test_the_script_of_a_department(demo: Shown) -> None:
    (code,) = blocks("python", "A department's script posts")
    done = subprocess.run(
        [sys.executable, "-c", code],
        env=demo.environ(),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "recorded once: True" in done.stdout
    (refused,) = blocks("sh", "A department's script posts")
    (problem,) = _answers(demo, refused)
    assert problem["status"] == 422
    assert "TIDEWICK-101/999" in str(problem["errors"])


def test_the_questions_of_a_supervisor(demo: Shown) -> None:
    (code,) = blocks("sh", "A supervisor asks")
    tray, episodes, designs, impact = _answers(demo, code)
    assert tray["department"] == "animation"
    assert len(episodes["items"]) == 13
    assert len(designs["items"]) == 1
    assert impact["reopened"]
    assert impact["cautions"]


def test_the_price_of_a_change(demo: Shown) -> None:
    (code,) = blocks("sh", "A change is priced")
    raised, quote = _answers(demo, code)
    assert len(raised["receipts"]) == 1
    assert quote["order"] == "CO-31"
    (script,) = blocks("python", "A change is priced")
    done = subprocess.run(
        [sys.executable, "-c", script],
        env=demo.environ(),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    ids = [line.split()[1] for line in done.stdout.splitlines()]
    assert ids == ["co-31-a", "co-31-a/1", "co-31-a/2"]


def test_what_retakes_cost_and_a_price_on_paper(demo: Shown, tmp_path: Path) -> None:
    queries, printed = blocks("sh", "What retakes cost, and a price on paper")
    demo.write_headers(tmp_path)
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", queries + printed],
        env=demo.environ(),
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    rates, totals = _documents(done.stdout)
    assert rates["currency"] == "EUR"
    assert len(totals["items"]) > 3
    assert (tmp_path / "may.csv").read_bytes().startswith(b"retake,show,episode,called_on,month,")
    page = (tmp_path / "quotation.html").read_text()
    assert "Quotation CO-1, Saltmarsh Pictures" in page
    assert "180.00" in page
    assert (tmp_path / "quotation.pdf").read_bytes().startswith(b"%PDF-")


def test_what_moved_each_date(demo: Shown) -> None:
    # on a slow machine the demo does not wait for it
    assert re.search(r"What moved the delivery of TIDEWICK-|is still being built", demo.text)
    (code,) = blocks("sh", "What moved each date")
    trail, totals = _answers(demo, code)
    assert len(trail["items"]) == 20
    assert totals["by_cause"]


def test_the_replay_of_an_auditor(demo: Shown) -> None:
    code, diary = blocks("sh", "An auditor replays")
    then, led_there = _answers(demo, code)
    assert then["scenes"]
    assert led_there
    lines = _run(demo, diary)
    assert lines[0].startswith("TIDEWICK-108: what happened")
    assert any("was listed" in line for line in lines)


def test_the_record_proves_itself_with_and_without_our_program(demo: Shown, tmp_path: Path) -> None:
    heading = "A record that proves itself"
    ours, theirs = blocks("sh", heading)
    (script,) = blocks("python", heading)
    assert len(script.splitlines()) <= 40
    (tmp_path / "root.py").write_text(script)
    demo.write_headers(tmp_path)
    typed = ours.replace(".venv/bin/retake-ledger", shlex.join(COMMAND))
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", typed + theirs],
        env={**demo.environ(), **environ_of(demo.data), "PYTHONPATH": str(Path.cwd())},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.count("events, as they were; checkpoints that agree: 1") == 1
    unread = "none of them read (--every-event reads them); checkpoints that agree: 1"
    assert done.stdout.count(unread) == 1
    assert '"leaf_index":4710' in done.stdout
    assert done.stdout.endswith("Signature Verified Successfully\n")
    edited = (
        (tmp_path / "audit" / "events.jsonl").read_bytes().replace(b"scene.held", b"scene.helD", 1)
    )
    (tmp_path / "audit" / "events.jsonl").write_bytes(edited)
    again = subprocess.run(
        ["bash", "-c", theirs],
        env={**os.environ, "KEY": "x"},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert again.returncode != 0
    assert "is not the checkpoint's" in again.stderr


def test_the_commands_for_a_studio_of_ones_own(demo: Shown) -> None:
    code, _in_containers = blocks("sh", "Run it for your studio")
    lines = [line for line in code.splitlines() if not line.endswith(" serve")]
    assert len(lines) == 4
    for line in lines:
        words = shlex.split(line.removeprefix(".venv/bin/retake-ledger "))
        done = subprocess.run(
            [*COMMAND, *words],
            env=environ_of(demo.data),
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stderr


def _each_runs(demo: Shown, heading: str, count: int) -> None:
    """Run the lines of a section one by one, in a folder of their own."""
    (code,) = blocks("sh", heading)
    lines = code.splitlines()
    assert len(lines) == count
    with tempfile.TemporaryDirectory() as folder:
        for line in lines:
            words = line.removeprefix(".venv/bin/retake-ledger ").split()
            done = subprocess.run(
                [*COMMAND, *words],
                env=environ_of(demo.data),
                cwd=folder,
                capture_output=True,
                text=True,
                check=False,
            )
            assert done.returncode == 0, done.stderr


def test_the_commands_that_move_a_record(demo: Shown) -> None:
    _each_runs(demo, "Move a record", 3)


def test_the_backup(demo: Shown) -> None:
    _each_runs(demo, "Back up and restore", 1)


def test_the_two_commands_stand_in_it() -> None:
    first, second = blocks("sh", "Two commands")
    assert first.strip() == (
        "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' "
        "&& .venv/bin/retake-ledger demo"
    )
    assert second.strip() == ".venv/bin/pytest"
