"""Retakes: the call, its reach, its takes, and the scenes to look at."""

from typing import Any

import pytest

from ..paper import Paper

CALL: dict[str, Any] = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "should-fix",
    "back_to": "layout",
    "strands": ["background", "character"],
    "share": 0.25,
    "found_at": "screening",
    "fault_of": "layout",
    "asked_by": "client",
    "why": "The lamp is on the left.",
}


@pytest.fixture
def called(opened: Paper) -> Paper:
    """Layout of one scene in each episode handed off, animation of the first begun; then a call."""
    opened.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"}, who="office")
    opened.move_clock("2031-03-03T15:00:00Z")
    for scene in ("KESTREL-1/1", "KESTREL-2/1"):
        opened.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/1", "animation", start="2031-03-03T13:00:00Z")
    opened.tell("retake.called", "KESTREL-1/1", CALL)
    return opened


def test_a_retake_tells_its_call(called: Paper) -> None:
    shown = called.get("/retakes/R1", "camera")
    expected = {name: value for name, value in CALL.items() if name not in {"retake", "strands"}}
    assert {name: shown[name] for name in expected} == expected
    assert shown["strands"] == ["background", "character"]
    assert shown["called_by"] == "supervisor"
    assert (shown["subject"], shown["items"]) == ("KESTREL-1/1", ["KESTREL-1/1"])
    assert (shown["called_at"], shown["drawings"]) == ("2031-03-03T15:00:00Z", None)
    event = called.ask(f"/events/{shown['position_called']}").get_json()
    assert event["type"] == "retake.called"


def test_a_retake_tells_its_reach_and_the_takes_it_asks_for(called: Paper) -> None:
    shown = called.get("/retakes/R1")
    reach = [(step["item"], step["department"]) for step in shown["reach"]]
    scene = ("layout", "background", "animation", "paint", "camera")
    assert reach[:5] == [("KESTREL-1/1", name) for name in scene]
    # a picture fix reaches cutting, but not the mix behind it
    assert reach[5:] == [("KESTREL-1", "cutting")]
    assert shown["reach"][0]["via"] is None
    assert shown["reach"][1]["via"] == {"item": "KESTREL-1/1", "department": "layout"}
    layout, animation = shown["takes"]
    assert (layout["department"], layout["take"], layout["work"]) == ("layout", 2, 0.25)
    # five feet at five a day: taken back after two of eight hours, so 3.75 are left, and a quarter
    # of the 1.25 that were done
    assert (animation["take"], animation["state"], animation["work"]) == (2, "ahead", 4.0625)
    assert animation["because"][0] == {"item": "KESTREL-1/1", "department": "layout"}
    assert (shown["reopened"], shown["open"], shown["unanswered"]) == (2, 2, 1)


def test_takes_go_on_and_are_handed_off(called: Paper) -> None:
    called.move_clock("2031-03-03T16:00:00Z")
    called.desk("KESTREL-1/1", "layout", start="2031-03-03T15:00:00Z", end=called.now)
    shown = called.get("/retakes/R1")
    layout = shown["takes"][0]
    assert (layout["state"], layout["handed_off_at"]) == ("handed_off", "2031-03-03T16:00:00Z")
    assert layout["projected_finish_at"] is None
    assert shown["open"] == 1
    # a second call takes the next take; the first call's stays as it ended
    called.tell("retake.called", "KESTREL-1/1", CALL | {"retake": "R2"})
    old, new = called.get("/retakes/R1"), called.get("/retakes/R2")
    assert [take["take"] for take in old["takes"] if take["department"] == "layout"] == [2]
    assert [take["take"] for take in new["takes"] if take["department"] == "layout"] == [3]


def test_scenes_to_look_at_and_their_answers(called: Paper) -> None:
    (look,) = called.get("/retakes/R1")["to_look_at"]
    assert look == {
        "scene": "KESTREL-1/2",
        "reason": "hook-up",
        "beside": ["KESTREL-1/1"],
        "via": [],
        "answer": None,
    }
    called.tell("look-at.answered", "KESTREL-1/2", {"retake": "R1", "answer": "fine"})
    shown = called.get("/retakes/R1")
    assert (shown["to_look_at"][0]["answer"], shown["unanswered"]) == ("fine", 0)


def test_retakes_by_show_episode_and_standing(called: Paper) -> None:
    called.tell("retake.called", "KESTREL-2/1", CALL | {"retake": "R2", "urgency": "if-time"})
    called.tell("retake.withdrawn", "KESTREL-1/1", {"retake": "R1"})

    def codes(query: str) -> list[str]:
        return [one["retake"] for one in called.get(f"/retakes{query}")["items"]]

    assert codes("") == ["R2", "R1"]
    assert codes("?show=KESTREL") == ["R2", "R1"]
    assert codes("?show=ASTER") == []
    assert codes("?episode=KESTREL-1") == ["R1"]
    assert codes("?standing=standing") == ["R2"]
    assert codes("?standing=withdrawn&episode=KESTREL-2") == []
    assert called.get("/retakes/R1")["standing"] == "withdrawn"


def test_what_is_not_there_or_wrong(opened: Paper) -> None:
    assert opened.refused("/retakes/R1") == (404, "not-found", [])
    assert opened.refused("/retakes?standing=open")[2] == [("?standing", "not-a-choice")]
