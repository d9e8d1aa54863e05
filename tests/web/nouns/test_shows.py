"""Shows, routes and elements as they are read."""

from ..paper import Paper

SHEET = "KESTREL:FOX"
PAINTING = "KESTREL:BG-7"


def with_elements(paper: Paper) -> None:
    sheet = {"kind": "model-sheet", "title": "Fox", "drawings": 4}
    paper.tell("element.listed", SHEET, sheet, who="office")
    paper.tell("element.listed", PAINTING, {"kind": "background"}, who="office")
    paper.tell("element.used", PAINTING, {"scenes": ["KESTREL-1/1", "KESTREL-2/2"]}, who="office")
    paper.tell("element.used", SHEET, {"scenes": ["KESTREL-1/1"]}, who="office")


def test_shows_are_listed(opened: Paper) -> None:
    opened.tell("show.opened", "ASTER", {"title": "Aster", "frames_per_second": 25}, who="office")
    shown = opened.get("/shows", "layout")
    assert shown["items"] == [
        {
            "show": "ASTER",
            "title": "Aster",
            "frames_per_second": 25,
            "timecode": None,
            "episodes_opened": 0,
            "elements_listed": 0,
        },
        {
            "show": "KESTREL",
            "title": "Kestrel",
            "frames_per_second": 24,
            "timecode": None,
            "episodes_opened": 2,
            "elements_listed": 0,
        },
    ]
    assert shown["now"] == "2031-03-03T08:00:00Z"
    assert "next" not in shown


def test_a_show_has_its_route_kinds_gates_and_episodes(opened: Paper) -> None:
    shown = opened.get("/shows/KESTREL")
    assert shown["episodes"] == ["KESTREL-1", "KESTREL-2"]
    assert [one["department"] for one in shown["route"]][:3] == [
        "storyboard",
        "layout",
        "background",
    ]
    camera = next(one for one in shown["route"] if one["department"] == "camera")
    assert camera == {
        "department": "camera",
        "grain": "scene",
        "unit": "scenes",
        "follows": [
            {"department": "background", "strands": ["background"]},
            {"department": "paint", "strands": ["character"]},
        ],
        "redo": "whole",
        "least": 0,
        "drawings_part": 1,
    }
    assert shown["gates"] == [
        {"gate": "rough-cut", "department": "camera", "takes": "first"},
        {"gate": "delivery", "department": "mix", "takes": "final"},
    ]
    assert [kind["kind"] for kind in shown["kinds"]] == ["background", "model-sheet"]


def test_a_show_without_a_route_yet(paper: Paper) -> None:
    paper.tell("show.opened", "ASTER", {"title": "Aster"}, who="office")
    shown = paper.get("/shows/ASTER")
    assert (shown["route"], shown["kinds"], shown["gates"]) == ([], [], [])


def test_elements_have_visits_users_and_a_projected_finish(opened: Paper) -> None:
    with_elements(opened)
    shown = opened.get("/shows/KESTREL/elements")
    assert [one["element"] for one in shown["items"]] == [PAINTING, SHEET]
    one = opened.get("/shows/KESTREL/elements/BG-7")
    assert {name: one[name] for name in shown["items"][0]} == shown["items"][0]
    assert one["scenes"] == ["KESTREL-1/1", "KESTREL-2/2"]
    (visit,) = one["visits"]
    assert (visit["department"], visit["state"], visit["work"]) == ("background", "in_tray", 1)
    # nothing else is in the tray of backgrounds: one painting takes Monday from nine to five
    assert one["projected_finish_at"] == "2031-03-03T17:00:00Z"


def test_an_element_on_a_desk_and_handed_off(opened: Paper) -> None:
    with_elements(opened)
    opened.move_clock("2031-03-03T12:00:00Z")
    opened.desk(SHEET, "design", start="2031-03-03T09:00:00Z")
    (visit,) = opened.get("/shows/KESTREL/elements/FOX")["visits"]
    assert visit["state"] == "on_desk"
    assert visit["artist"] == "design-7"
    assert visit["started_at"] == "2031-03-03T09:00:00Z"
    # 4 drawings at 2 a day: two days from Monday nine
    assert visit["projected_finish_at"] == "2031-03-04T17:00:00Z"
    opened.tell("hand-off.made", SHEET, {"department": "design"})
    shown = opened.get("/shows/KESTREL/elements/FOX")
    assert shown["visits"][0]["state"] == "handed_off"
    assert shown["visits"][0]["handed_off_at"] == "2031-03-03T12:00:00Z"
    assert shown["visits"][0]["projected_finish_at"] is None
    assert shown["projected_finish_at"] == "2031-03-03T12:00:00Z"


def test_what_is_not_there(opened: Paper) -> None:
    for path in (
        "/shows/ASTER",
        "/shows/ASTER/elements",
        "/shows/KESTREL/elements/NONE",
        "/shows/not-a-code",
    ):
        assert opened.refused(path) == (404, "not-found", [])
