"""Scenes and their visits, and all that concerns one scene."""

from typing import Any

from ..paper import Paper

CALL = {
    "retake": "R1",
    "kind": "correction",
    "urgency": "must-fix",
    "back_to": "layout",
    "strands": ["background", "character"],
    "share": 0.2,
    "why": "The lamp is on the left.",
}


def visits(shown: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {visit["department"]: visit for visit in shown["visits"]}


def test_scenes_come_as_people_count(opened: Paper) -> None:
    for number in ("10", "2A"):
        opened.tell("scene.listed", f"KESTREL-1/{number}", {"frames": 16}, who="office")
    numbers = [scene["number"] for scene in opened.get("/episodes/KESTREL-1/scenes")["items"]]
    assert numbers == ["1", "2", "2A", "3", "10"]


def test_a_visit_through_its_states(opened: Paper) -> None:
    path = "/episodes/KESTREL-1/scenes/1"

    def states() -> dict[str, str]:
        return {name: visit["state"] for name, visit in visits(opened.get(path)).items()}

    behind = dict.fromkeys(("background", "animation", "paint", "camera"), "ahead")
    assert states() == {"layout": "in_tray", **behind}
    opened.tell("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": "2031-03-05"})
    assert states() == {"layout": "held", **behind}
    opened.tell("scene.freed", "KESTREL-1/1")
    opened.move_clock("2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z")
    assert states() == {"layout": "on_desk", **behind}
    opened.tell("hand-off.made", "KESTREL-1/1", {"department": "layout"})
    assert states() == {
        "layout": "handed_off",
        "background": "in_tray",
        "animation": "in_tray",
        "paint": "ahead",
        "camera": "ahead",
    }
    opened.tell("scene.omitted", "KESTREL-1/1")
    assert set(states().values()) == {"omitted"}
    shown = opened.get(path)
    assert shown["omitted_at"] == "2031-03-03T13:00:00Z"
    assert shown["projected_finish_at"] is None


def test_dates_of_a_visit_by_hand(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    paper.move_clock("2031-03-03T10:00:00Z")
    paper.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z")
    shown = paper.get("/episodes/KESTREL-1/scenes/1")
    found = visits(shown)
    # one scene at 2 a day is 4 hours, of which one is over
    layout = found["layout"]
    assert layout["projected_start_at"] is None
    assert layout["projected_finish_at"] == "2031-03-03T13:00:00Z"
    assert (layout["started_at"], layout["artist"]) == ("2031-03-03T09:00:00Z", "layout-7")
    animation = found["animation"]
    assert animation["projected_start_at"] == "2031-03-03T13:00:00Z"
    assert animation["projected_finish_at"] == "2031-03-04T13:00:00Z"
    assert (animation["work"], animation["unit"]) == (5, "feet")
    # due by the end of Tuesday 15 April: mix begins on Tuesday, so cutting on Monday at nine, which
    # is eight in UTC by then
    camera = found["camera"]
    assert camera["latest_finish_at"] == "2031-04-14T08:00:00Z"
    # what may end on Monday at opening ends on Friday at closing: (6 March, 11 April] are 17
    # working days of March and 9 of April
    assert camera["float_workdays"] == 26
    assert shown["projected_finish_at"] == camera["projected_finish_at"] == "2031-03-06T15:00:00Z"


def test_a_reopened_visit_says_because_of_what(opened: Paper) -> None:
    opened.move_clock("2031-03-04T12:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/1", "animation", start="2031-03-03T13:00:00Z")
    opened.tell("retake.called", "KESTREL-1/1", CALL)
    found = visits(opened.get("/episodes/KESTREL-1/scenes")["items"][0])
    layout, animation, paint = found["layout"], found["animation"], found["paint"]
    assert (layout["take"], layout["state"], layout["work"]) == (2, "in_tray", 0.2)
    assert layout["retakes"] == ["R1"]
    assert layout["because"] == [{"item": "KESTREL-1/1", "department": "layout"}]
    assert (animation["take"], animation["state"], animation["must_fix"]) == (2, "ahead", True)
    assert [node["department"] for node in animation["because"]] == ["layout", "animation"]
    # not begun, so only later
    assert (paint["take"], "because" in paint, paint["must_fix"]) == (1, False, False)


def test_what_was_recorded_late_or_out_of_order_is_marked(opened: Paper) -> None:
    opened.desk("KESTREL-1/1", "camera", start="2031-03-03T08:00:00Z")
    camera = visits(opened.get("/episodes/KESTREL-1/scenes/1"))["camera"]
    assert camera["marks"] == ["upstream-missing"]


def test_a_scene_tells_what_it_uses_and_what_uses_it(opened: Paper) -> None:
    opened.tell("element.listed", "KESTREL:BG-7", {"kind": "background"}, who="office")
    opened.tell("element.used", "KESTREL:BG-7", {"scenes": ["KESTREL-1/1"]}, who="office")
    opened.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"}, who="office")
    same = {"source": "KESTREL-1/1", "joins": "camera", "strands": ["character"]}
    opened.tell("same-as.declared", "KESTREL-2/1", same, who="office")
    shown = opened.get("/episodes/KESTREL-1/scenes/1")
    assert shown["elements"] == [
        {
            "element": "KESTREL:BG-7",
            "kind": "background",
            "title": None,
            "feeds": "camera",
            "approval": None,
        }
    ]
    assert "background" not in visits(shown)
    assert shown["hook_ups"] == ["KESTREL-1/2"]
    assert shown["reused_by"] == ["KESTREL-2/1"]
    assert opened.get("/episodes/KESTREL-2/scenes/1")["same_as"] == [same | {"levels": []}]


def test_open_notes_and_holds_are_read_by_those_who_may(opened: Paper) -> None:
    note = {"note": "N1", "to": "layout", "text": "Lamp is left."}
    opened.tell("note.given", "KESTREL-1/1", note)
    opened.tell("note.given", "KESTREL-1/1", {"note": "N2", "to": "camera", "text": "Pan."})
    opened.tell("note.answered", "KESTREL-1/1", {"note": "N2", "text": "Done."})
    held = {"owes": "client", "by_on": "2031-03-05", "why": "Client wants another fox."}
    opened.tell("scene.held", "KESTREL-1/1", held)
    path = "/episodes/KESTREL-1/scenes/1"
    shown = opened.get(path)
    assert [(one["note"], one["text"]) for one in shown["notes"]] == [("N1", "Lamp is left.")]
    assert shown["hold"] == {
        "owes": "client",
        "by_on": "2031-03-05",
        "since_at": "2031-03-03T08:00:00Z",
        "overdue_since_at": None,
        "why": "Client wants another fox.",
    }
    to_a_desk = opened.get(path, "camera")
    assert to_a_desk["hold"]["why"] is None
    assert to_a_desk["notes"] == shown["notes"]
    assert "why" not in opened.get("/episodes/KESTREL-1/scenes")["items"][0]["hold"]


def test_retakes_that_touch_a_scene(opened: Paper) -> None:
    opened.move_clock("2031-03-03T13:00:00Z")
    opened.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"}, who="office")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end=opened.now)
    opened.tell("retake.called", "KESTREL-1/1", CALL)
    (reached,) = opened.get("/episodes/KESTREL-1/scenes/1")["retakes"]
    assert (reached["retake"], reached["reaches"], reached["to_look_at"]) == ("R1", True, False)
    (beside,) = opened.get("/episodes/KESTREL-1/scenes/2")["retakes"]
    assert (beside["reaches"], beside["to_look_at"], beside["answer"]) == (False, True, None)
    opened.tell("look-at.answered", "KESTREL-1/2", {"retake": "R1", "answer": "fine"})
    (beside,) = opened.get("/episodes/KESTREL-1/scenes/2")["retakes"]
    assert beside["answer"] == "fine"
    assert opened.get("/episodes/KESTREL-1/scenes/3")["retakes"] == []


def test_what_is_not_there(opened: Paper) -> None:
    for path in ("/episodes/KESTREL-9/scenes", "/episodes/KESTREL-1/scenes/99"):
        assert opened.refused(path) == (404, "not-found", [])
