"""Replays by both clocks: what was known at a time, and what is known of it now."""

from typing import Any

import pytest
from sqlalchemy import Engine

from ..paper import Paper, another_worker

REPLAY = "/episodes/KESTREL-1/replay"


@pytest.fixture
def recorded_late(opened: Paper) -> tuple[Paper, dict[str, int]]:
    """Layout was handed off on Monday at one, but recorded on Tuesday; started on time."""
    at: dict[str, int] = {}
    opened.move_clock("2031-03-03T10:00:00Z")
    start = opened.event("work.started", "KESTREL-1/1", {"department": "layout"})
    at["started"] = opened.record(start | {"time": "2031-03-03T09:00:00Z"})
    opened.move_clock("2031-03-03T15:00:00Z")
    at["other"] = opened.tell(
        "note.given", "KESTREL-2/1", {"note": "N1", "to": "paint", "text": "x"}
    )
    opened.move_clock("2031-03-04T09:00:00Z")
    done = opened.event("hand-off.made", "KESTREL-1/1", {"department": "layout"})
    at["handed_off"] = opened.record(done | {"time": "2031-03-03T13:00:00Z"})
    return opened, at


def layout(shown: dict[str, Any]) -> dict[str, Any]:
    visit: dict[str, Any] = shown["scenes"][0]["visits"][0]
    assert visit["department"] == "layout"
    return visit


def test_as_it_was_known_at_a_position(recorded_late: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded_late
    shown = paper.get(f"{REPLAY}?position={at['other']}")
    assert (shown["position"], shown["now"]) == (at["other"], "2031-03-03T15:00:00Z")
    assert (shown["clock"], shown["set_aside"]) == ("recorded", [])
    visit = layout(shown)
    assert (visit["state"], visit["started_at"]) == ("on_desk", "2031-03-03T09:00:00Z")
    # overdue by then, so it was to end in the next minute
    assert visit["projected_finish_at"] == "2031-03-03T15:01:00Z"
    assert shown["then"]["visits"]["on_desk"] == 1
    assert len(shown["scenes"]) == 3


def test_as_it_was_known_at_an_instant(recorded_late: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded_late
    shown = paper.get(f"{REPLAY}?at=2031-03-03T14:00:00%2B00:00")
    # the last event recorded by then; the plan is that of the instant
    assert (shown["position"], shown["now"]) == (at["started"], "2031-03-03T14:00:00Z")
    assert layout(shown)["projected_finish_at"] == "2031-03-03T14:01:00Z"


def test_as_it_is_now_known_to_have_been(recorded_late: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded_late
    shown = paper.get(f"{REPLAY}?at=2031-03-03T14:00:00Z&clock=happened")
    assert (shown["position"], shown["now"]) == (at["handed_off"], "2031-03-03T14:00:00Z")
    visit = layout(shown)
    assert (visit["state"], visit["handed_off_at"]) == ("handed_off", "2031-03-03T13:00:00Z")
    assert shown["scenes"][0]["visits"][2]["projected_start_at"] == "2031-03-03T14:00:00Z"
    before = paper.get(f"{REPLAY}?at=2031-03-03T12:00:00Z&clock=happened")
    assert layout(before)["state"] == "on_desk"
    by_position = paper.get(f"{REPLAY}?position={at['other']}&clock=happened")
    assert by_position["now"] == "2031-03-03T15:00:00Z"
    assert layout(by_position)["state"] == "handed_off"


def test_the_present_is_a_past_too(recorded_late: tuple[Paper, dict[str, int]]) -> None:
    paper, _ = recorded_late
    recorded, happened = paper.get(REPLAY), paper.get(f"{REPLAY}?clock=happened")
    assert recorded["then"] == happened["then"] == paper.get("/episodes")["items"][0]
    assert recorded["scenes"] == happened["scenes"]
    assert recorded["scenes"] == paper.get("/episodes/KESTREL-1/scenes")["items"]


def test_a_past_is_the_same_in_another_worker(
    recorded_late: tuple[Paper, dict[str, int]], engine: Engine
) -> None:
    paper, at = recorded_late
    paths = [f"{REPLAY}?position={position}&clock={clock}" for position in at.values()
             for clock in ("recorded", "happened")]  # fmt: skip
    warm = [paper.get(path) for path in paths]
    for path, shown in zip(paths, warm, strict=True):
        paper.app = another_worker(engine)
        assert paper.get(path) == shown


def test_what_does_not_fit_is_set_aside_and_listed(opened: Paper) -> None:
    opened.move_clock("2031-03-04T12:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    # listed on Tuesday, but begun on Monday: only late, yet on Monday it cannot have been there
    listed = opened.tell("scene.listed", "KESTREL-1/9", {"frames": 16}, who="office")
    begun = opened.event("work.started", "KESTREL-1/9", {"department": "layout"})
    position = opened.record(begun | {"time": "2031-03-03T10:00:00Z"})
    shown = opened.get(f"{REPLAY}?at=2031-03-03T14:00:00Z&clock=happened")
    assert [scene["number"] for scene in shown["scenes"]] == ["1", "2", "3"]
    (aside,) = shown["set_aside"]
    assert (aside["position"], aside["type"]) == (position, "work.started")
    assert aside["subject"] == "KESTREL-1/9"
    assert [reason["code"] for reason in aside["reasons"]] == ["unknown"]
    events = opened.get(f"{REPLAY}/events?at=2031-03-03T14:00:00Z&clock=happened")["items"]
    assert not {listed, position} & {event["position"] for event in events}


def test_a_strike_counts_from_when_it_was_recorded(opened: Paper) -> None:
    opened.move_clock("2031-03-03T10:00:00Z")
    start = opened.tell("work.started", "KESTREL-1/1", {"department": "layout"})
    strike = opened.tell("event.struck", "studio", {"position": start, "why": "Wrong scene."})

    def seen(query: str) -> tuple[str, bool]:
        events = opened.get(f"{REPLAY}/events?{query}")["items"]
        state = layout(opened.get(f"{REPLAY}?{query}"))["state"]
        return state, start in [event["position"] for event in events]

    assert seen(f"position={start}") == ("on_desk", True)
    assert seen(f"position={strike}") == ("in_tray", False)
    assert seen("at=2031-03-03T10:00:00Z&clock=happened") == ("in_tray", False)


def test_the_events_that_led_there(opened: Paper) -> None:
    opened.tell("element.listed", "KESTREL:BG-7", {"kind": "background"}, who="office")
    opened.tell("element.listed", "KESTREL:BG-8", {"kind": "background"}, who="office")
    opened.tell("element.used", "KESTREL:BG-7", {"scenes": ["KESTREL-1/1"]}, who="office")
    opened.move_clock("2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end=opened.now)
    call = {
        "retake": "R1",
        "kind": "retake",
        "urgency": "must-fix",
        "back_to": "layout",
        "strands": ["character"],
        "share": 1,
        "items": ["KESTREL-1/1"],
        "why": "Too dark.",
    }
    opened.tell("retake.called", "KESTREL", call)
    last = opened.tell("note.given", "KESTREL-2/1", {"note": "N1", "to": "paint", "text": "x"})
    events = opened.get(f"{REPLAY}/events")["items"]
    subjects = {event["subject"] for event in events}
    scenes = {f"KESTREL-1/{number}" for number in (1, 2, 3)}
    assert subjects == {"KESTREL-1", *scenes, "KESTREL:BG-7", "KESTREL"}
    assert events[-1]["type"] == "retake.called"
    assert events[-1]["data"]["why"] == "Too dark."
    positions = [event["position"] for event in events]
    assert positions == sorted(positions)
    assert opened.all_pages(f"{REPLAY}/events", 4) == events
    at = f"position={last - 2}"
    assert opened.all_pages(f"{REPLAY}/events?{at}", 3) == events[:-1]


@pytest.mark.parametrize(
    ("query", "refusal"),
    [
        ("?position=3&at=2031-03-03T08:00:00Z", (400, [("?at", "one-or-the-other")])),
        ("?at=2031-03-03T08:00:01Z", (400, [("?at", "in-future")])),
        ("?at=yesterday", (400, [("?at", "not-an-instant")])),
        ("?position=0", (400, [("?position", "not-a-whole")])),
        ("?clock=wall", (400, [("?clock", "not-a-choice")])),
        ("?position=3", (404, [])),
        ("?at=2031-03-02T00:00:00Z&clock=happened", (404, [])),
    ],
)
def test_what_cannot_be_replayed(
    opened: Paper, query: str, refusal: tuple[int, list[tuple[str, str]]]
) -> None:
    for path in (REPLAY, f"{REPLAY}/events"):
        status, _, errors = opened.refused(path + query)
        assert (status, errors) == refusal
