"""Departments and their trays: who has what, what is next, when it is due."""

from typing import Any

import pytest

from ..paper import Paper


def tray(paper: Paper, department: str = "layout", query: str = "") -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = paper.get(f"/departments/{department}/tray{query}")["items"]
    return items


def named(items: list[dict[str, Any]]) -> list[str]:
    return [row["item"] for row in items]


def test_departments_in_the_order_of_the_line(opened: Paper) -> None:
    opened.move_clock("2031-03-03T11:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z")
    opened.tell("scene.held", "KESTREL-1/2", {"owes": "client", "by_on": "2031-03-05"})
    stopped = {"department": "camera", "expected_end_at": "2031-03-04T09:00:00Z"}
    opened.tell("department.stopped", "studio", stopped)
    shown = opened.get("/departments")["items"]
    line = ["storyboard", "layout", "background", "animation", "paint", "camera", "cutting", "mix"]
    assert [one["department"] for one in shown if one["department"] != "design"] == line
    by_name = {one["department"]: one for one in shown}
    layout = by_name["layout"]
    assert layout["crew"] == {
        "artists": 1,
        "units_per_artist_day": 2,
        "minutes_per_artist_day": 480,
        "from_on": "2031-01-01",
    }
    assert layout["visits"] == {"on_desk": 1, "in_tray": 4, "held": 1, "ahead": 0}
    # of the one on a desk half is left: two of its four hours are over
    assert (layout["open_work"], layout["open_artist_days"]) == (5.5, 2.75)
    assert layout["stopped"] is None
    assert by_name["camera"]["stopped"] == {
        "since_at": "2031-03-03T11:00:00Z",
        "expected_end_at": "2031-03-04T09:00:00Z",
        "taken_to_end_at": "2031-03-04T09:00:00Z",
        "overdue_since_at": None,
    }
    assert by_name["camera"]["visits"] == {"on_desk": 0, "in_tray": 0, "held": 0, "ahead": 6}
    assert by_name["storyboard"]["open_work"] == 0
    opened.tell("department.resumed", "studio", {"department": "camera"})
    assert opened.get("/departments")["items"][-4]["stopped"] is None


def test_the_crew_in_force_is_the_one_of_today(opened: Paper) -> None:
    crew = {
        "department": "layout",
        "artists": 4,
        "units_per_artist_day": 6.5,
        "minutes_per_artist_day": 450,
        "from_on": "2031-03-05",
    }
    opened.tell("crew.set", "studio", crew, who="office")

    def artists() -> int:
        items = opened.get("/departments")["items"]
        layout = next(one for one in items if one["department"] == "layout")
        return int(layout["crew"]["artists"])

    assert artists() == 1
    opened.move_clock("2031-03-05T00:00:00Z")
    assert artists() == 4


def test_the_tray_is_in_working_order(opened: Paper) -> None:
    items = tray(opened)
    # the first episode is due a month before the second
    order = [f"KESTREL-{episode}/{scene}" for episode in (1, 2) for scene in (1, 2, 3)]
    assert named(items) == order
    assert [row["projected_start_at"] for row in items[:3]] == [
        "2031-03-03T09:00:00Z",
        "2031-03-03T13:00:00Z",
        "2031-03-04T09:00:00Z",
    ]
    first = items[0]
    assert (first["state"], first["due_on"]) == ("in_tray", "2031-04-15")
    assert (first["episodes"], first["put_first"], first["priority"]) == (["KESTREL-1"], False, 0)
    assert first["float_workdays"] > 0
    assert first["latest_finish_at"] > first["projected_finish_at"]


def test_orders_and_priorities_go_before_dates(opened: Paper) -> None:
    opened.tell("priority.set", "KESTREL-2/2", {"priority": 1})
    opened.tell("visit.put-first", "KESTREL-2/3", {"department": "layout"})
    items = tray(opened)
    assert named(items)[:3] == ["KESTREL-2/3", "KESTREL-2/2", "KESTREL-1/1"]
    assert [row["put_first"] for row in items[:3]] == [True, False, False]
    assert [row["priority"] for row in items[:3]] == [0, 1, 0]


def test_a_must_fix_retake_goes_before_the_scenes_of_its_date(opened: Paper) -> None:
    opened.move_clock("2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/3", "layout", start="2031-03-03T09:00:00Z", end=opened.now)
    call = {
        "retake": "R1",
        "kind": "retake",
        "urgency": "must-fix",
        "back_to": "layout",
        "strands": ["background", "character"],
        "share": 1,
    }
    opened.tell("retake.called", "KESTREL-1/3", call)
    first = tray(opened)[0]
    assert (first["item"], first["take"], first["must_fix"]) == ("KESTREL-1/3", 2, True)
    assert first["retakes"] == ["R1"]


def test_sections_and_their_order(opened: Paper) -> None:
    opened.move_clock("2031-03-03T11:00:00Z")
    opened.desk("KESTREL-2/1", "layout", start="2031-03-03T09:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T10:00:00Z")
    for scene, by_on in (("KESTREL-1/2", "2031-03-06"), ("KESTREL-2/2", "2031-03-05")):
        opened.tell("scene.held", scene, {"owes": "client", "by_on": by_on})
    items = tray(opened)
    assert [(row["state"], row["item"]) for row in items] == [
        ("on_desk", "KESTREL-2/1"),
        ("on_desk", "KESTREL-1/1"),
        ("in_tray", "KESTREL-1/3"),
        ("in_tray", "KESTREL-2/3"),
    ]
    assert items[0]["artist"] == "layout-7"
    assert items[0]["projected_finish_at"] == "2031-03-03T13:00:00Z"
    held = tray(opened, query="?section=held")
    assert named(held) == ["KESTREL-2/2", "KESTREL-1/2"]
    assert held[0]["hold"]["by_on"] == "2031-03-05"
    both = tray(opened, query="?section=held&section=on_desk")
    assert [row["state"] for row in both] == ["held", "held", "on_desk", "on_desk"]
    ahead = tray(opened, "animation", "?section=ahead")
    starts = [row["projected_start_at"] for row in ahead]
    assert len(ahead) == 6
    assert starts == sorted(starts)
    assert tray(opened, "animation") == []


def test_the_tray_counts_everything_whatever_is_asked_for(opened: Paper) -> None:
    shown = opened.get("/departments/layout/tray?section=held&limit=1")
    assert shown["visits"] == {"on_desk": 0, "in_tray": 6, "held": 0, "ahead": 0}
    assert (shown["department"], shown["unit"], shown["items"]) == ("layout", "scenes", [])


def test_what_is_on_my_desk_and_what_was_given_to_me(opened: Paper) -> None:
    opened.move_clock("2031-03-03T11:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z")
    for scene, artist in (("KESTREL-1/2", "layout-7"), ("KESTREL-1/3", "layout-8")):
        opened.tell("hand-out.made", scene, {"department": "layout", "artist": artist})
    mine = tray(opened, query="?artist=layout-7")
    assert [(row["state"], row["item"]) for row in mine] == [
        ("on_desk", "KESTREL-1/1"),
        ("in_tray", "KESTREL-1/2"),
    ]


def test_only_what_is_for_one_episode(opened: Paper) -> None:
    opened.tell("element.listed", "KESTREL:BG-7", {"kind": "background"}, who="office")
    opened.tell("element.used", "KESTREL:BG-7", {"scenes": ["KESTREL-2/1"]}, who="office")
    assert named(tray(opened, query="?episode=KESTREL-2")) == [
        f"KESTREL-2/{scene}" for scene in (1, 2, 3)
    ]
    assert named(tray(opened, "background", "?episode=KESTREL-2")) == ["KESTREL:BG-7"]


@pytest.mark.parametrize(
    ("path", "refusal"),
    [
        ("/departments/lighting/tray", (404, "not-found", [])),
        (
            "/departments/layout/tray?section=desk",
            (400, "invalid-query", [("?section", "not-a-choice")]),
        ),
        (
            "/departments/layout/tray?artist=a%20b",
            (400, "invalid-query", [("?artist", "wrong-form")]),
        ),
    ],
)
def test_what_is_not_there_or_wrong(
    opened: Paper, path: str, refusal: tuple[int, str, list[tuple[str, str]]]
) -> None:
    assert opened.refused(path) == refusal
