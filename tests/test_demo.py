"""What the demo prints of an answer, for people to read."""

from io import StringIO
from typing import Any

from rich.console import Console

from service.demo.showing import show_impact
from service.demo.trail import what_moved

RETAKE = {
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
