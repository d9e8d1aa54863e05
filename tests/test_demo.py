"""What the demo prints of an answer, for people to read."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import httpx
import pytest
from rich.console import Console

import seed
from service.client import Client
from service.demo import _make_studio, call
from service.demo.showing import show_impact
from service.demo.trail import what_moved
from service.settings import Settings
from tests.conftest import Database

RETAKE: dict[str, Any] = {
    "subject": "TIDEWICK-110",
    "data": {"retake": "R-1", "kind": "retake", "urgency": "must-fix", "back_to": "layout"},
}


def printed(scenes: list[dict[str, Any]]) -> str:
    """An impact with these scenes, as it is printed."""
    text = StringIO()
    impact = {"reopened": [], "departments": [], "scenes": scenes, "episodes": []}
    show_impact(Console(file=text, width=120), RETAKE, impact)
    return text.getvalue()


def scene(number: int, *, before: bool, after: bool, slip: int | None) -> dict[str, Any]:
    return {
        "scene": f"TIDEWICK-110/{number}",
        "finish_before": "2031-05-06T15:00:00Z",
        "finish_after": "2031-06-06T15:00:00Z",
        "open_before": before,
        "open_after": after,
        "slip_workdays": slip,
    }


def test_scenes_done_and_open_again_are_told_apart_from_those_that_move() -> None:
    text = printed(
        [
            scene(1, before=False, after=True, slip=None),
            scene(2, before=True, after=True, slip=3),
            scene(3, before=True, after=True, slip=0),
            scene(4, before=True, after=False, slip=None),
        ]
    )
    assert "TIDEWICK-110/1: done, open again" in text
    assert "TIDEWICK-110/2: 3 working days later" in text
    assert "TIDEWICK-110/3" not in text
    assert "done and open again: 1" in text
    assert "by a day or more: 1" in text


def test_a_scene_that_comes_in_was_not_done() -> None:
    added = scene(5, before=False, after=True, slip=None) | {"finish_before": None}
    assert "open again" not in printed([added]).replace("done and open again: 0", "")


def test_a_delivery_that_was_made_and_is_open_again() -> None:
    move = {"cause": "event", "type": "retake.called", "subject": "TIDEWICK-110", "retake": "R-1"}
    shown = "retake.called TIDEWICK-110 (R-1)"
    assert what_moved(move | {"reopened": False}) == shown
    assert what_moved(move | {"reopened": True}) == f"{shown}: done, open again"


def test_as_json_the_impact_alone_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    impact = {"position": 8, "episodes": [{"episode": "TIDEWICK-110", "date_holds": True}]}
    asked = []

    def answer(request: httpx.Request) -> httpx.Response:
        asked.append(f"{request.method} {request.url.raw_path.decode()}")
        posted = {"receipts": [{"position": 8}]}
        return (
            httpx.Response(201, json=posted)
            if request.method == "POST"
            else httpx.Response(200, json=impact)
        )

    http = httpx.Client(transport=httpx.MockTransport(answer))
    supervisor = Client("http://127.0.0.1:1", "secret", http)
    call(Console(stderr=True), {"supervisor": supervisor}, RETAKE, as_json=True)
    assert json.loads(capsys.readouterr().out) == impact
    assert asked == ["POST /events", "GET /retakes/R-1/impact?min_position=8"]


def test_each_demo_has_a_studio_of_its_own(database: Database, tmp_path: Path) -> None:
    settings = Settings.from_environment({"RETAKE_LEDGER_DATA": str(tmp_path)})
    names = [_make_studio(settings, database.service_url)[0] for _ in range(3)]
    assert names == [seed.STUDIO, f"{seed.STUDIO}-2", f"{seed.STUDIO}-3"]
