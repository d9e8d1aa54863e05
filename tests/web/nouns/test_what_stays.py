"""What answers show as left to do after a fact: work that others need, scenes to look at."""

from ..paper import Paper

SOURCE, REUSER = "KESTREL-1/1", "KESTREL-2/1"
NINE = "2031-03-04T09:00:00Z"


def reusing(paper: Paper) -> None:
    same = {"source": SOURCE, "joins": "camera", "strands": ["character"]}
    paper.tell("same-as.declared", REUSER, same)


def test_what_others_need_of_an_omitted_scene_is_shown_before_and_after(opened: Paper) -> None:
    reusing(opened)
    omitted = opened.event("scene.omitted", SOURCE)
    tried = opened.what_if(omitted)
    needed = [
        {"item": SOURCE, "department": name, "needed_by": [REUSER]}
        for name in ("layout", "animation", "paint")
    ]
    assert tried["still_needed"] == needed
    (receipt,) = opened.post("/events", omitted).get_json()["receipts"]
    assert receipt["marks"] == ["still-needed"]
    assert opened.get(f"/events/{receipt['position']}/impact")["still_needed"] == needed
    states = {
        visit["department"]: visit["state"]
        for visit in opened.get("/episodes/KESTREL-1/scenes/1")["visits"]
    }
    assert states["layout"] == "in_tray"
    assert states["camera"] == "omitted"
    tray = opened.get("/departments/layout/tray")["items"]
    assert SOURCE in {row["item"] for row in tray}


def test_a_retime_after_work_has_begun_is_to_be_looked_at(opened: Paper) -> None:
    opened.desk(SOURCE, "layout", start=opened.now, end=opened.now)
    retimed = opened.event("scene.retimed", SOURCE, {"frames": 120})
    look = {"scene": SOURCE, "retake": None, "reason": "retimed"}
    visits = [{"item": SOURCE, "department": "layout"}]
    assert opened.what_if(retimed)["to_look_at"] == [look | {"visits": visits}]
    (receipt,) = opened.post("/events", retimed).get_json()["receipts"]
    assert receipt["marks"] == ["work-begun"]
    at = receipt["position"]
    assert opened.get(f"/events/{at}/impact")["to_look_at"] == [look | {"visits": visits}]
    (change,) = opened.get("/episodes/KESTREL-1/scenes/1")["to_look_at"]
    assert change == {
        "scene": SOURCE,
        "reason": "retimed",
        "position": at,
        "at": opened.now,
        "frames_before": 80,
        "frames_after": 120,
        "visits": [{"item": SOURCE, "department": "layout", "take": 1}],
    }
    assert opened.get("/episodes/KESTREL-1")["to_look_at"] == [change]
    diary = opened.get("/episodes/KESTREL-1/diary?limit=200")["items"]
    assert [entry["marks"] for entry in diary if entry["position"] == at] == [["work-begun"]]
    opened.tell("look-at.answered", SOURCE, {"answer": "fine"})
    assert opened.get("/episodes/KESTREL-1")["to_look_at"] == []


def test_answers_tell_what_they_suppose_of_a_stoppage(opened: Paper) -> None:
    stopped = opened.event("department.stopped", "studio", {"department": "paint"})
    supposed = {
        "since_at": opened.now,
        "expected_end_at": None,
        "taken_to_end_at": "2031-03-04T00:00:00Z",
        "overdue_since_at": None,
    }
    assert opened.what_if(stopped)["suppositions"] == [{"department": "paint", **supposed}]
    (receipt,) = opened.post("/events", stopped).get_json()["receipts"]
    assert receipt["marks"] == ["end-unknown"]
    departments = {one["department"]: one for one in opened.get("/departments")["items"]}
    assert departments["paint"]["stopped"] == supposed
    assert departments["layout"]["stopped"] is None
    opened.move_clock(NINE)
    departments = {one["department"]: one for one in opened.get("/departments")["items"]}
    assert departments["paint"]["stopped"]["taken_to_end_at"] == "2031-03-05T00:00:00Z"


def test_every_answer_with_dates_tells_what_they_suppose(opened: Paper) -> None:
    opened.tell("element.listed", "KESTREL:fox", {"kind": "model-sheet"}, who="office")
    opened.desk("KESTREL-1/2", "layout", start=opened.now, end=opened.now)
    call = {"retake": "R1", "kind": "retake", "urgency": "must-fix", "back_to": "layout"}
    opened.tell("retake.called", "KESTREL-1/2", call | {"strands": ["background"], "share": 0.5})
    paths = (
        *("/episodes", "/episodes/KESTREL-1", "/episodes/KESTREL-1/scenes", "/departments"),
        *("/episodes/KESTREL-1/scenes/1", "/departments/layout/tray", "/retakes/R1"),
        *("/episodes/KESTREL-1/replay", "/episodes/KESTREL-1/trail", "/trail/totals"),
        *("/episodes/KESTREL-1/trail/totals", "/shows/KESTREL/elements"),
        "/shows/KESTREL/elements/fox",
    )
    before = opened.now
    assert all("suppositions" not in opened.get(path) for path in paths)
    opened.move_clock("2031-03-03T09:30:00Z")
    opened.tell("department.stopped", "studio", {"department": "paint"})
    for path in paths:
        (one,) = opened.get(path)["suppositions"]
        assert (one["department"], one["since_at"]) == ("paint", opened.now), path
        assert one["taken_to_end_at"] == "2031-03-04T00:00:00Z"
    assert "suppositions" not in opened.get(f"/episodes/KESTREL-1/replay?at={before}")
    assert "suppositions" not in opened.get("/retakes"), "it tells no date of a plan"


def test_a_hard_date_is_the_producers_to_move(opened: Paper) -> None:
    hard = {"gate": "delivery", "due_on": "2031-04-15", "hard": True}
    opened.tell("gate.set", "KESTREL-1", hard, who="office")
    moved = hard | {"due_on": "2031-05-20"}
    answer = opened.post("/events", opened.event("gate.set", "KESTREL-1", moved), who="office")
    assert opened.problem(answer) == (403, "forbidden", [("/data/due_on", "forbidden")])
    answer = opened.post("/events", opened.event("gate.set", "KESTREL-1", moved), who="producer")
    assert opened.problem(answer) == (422, "contradiction", [("/data/reason", "contradiction")])
    moved |= {"reason": "A later slot was agreed"}
    answer = opened.post("/events", opened.event("gate.set", "KESTREL-1", moved), who="producer")
    assert answer.get_json()["receipts"][0]["marks"] == ["hard-date-moved"]
    diary = opened.get("/episodes/KESTREL-1/diary?limit=200")["items"]
    assert "because: A later slot was agreed" in diary[-1]["sentence"]


def test_a_priority_of_ones_own_is_null_until_it_is_set(opened: Paper) -> None:
    opened.tell("priority.set", "KESTREL-1", {"priority": 5}, who="producer")
    opened.tell("priority.set", SOURCE, {"priority": 0}, who="producer")
    tray = {
        row["item"]: row["priority"]
        for row in opened.get("/departments/layout/tray?section=in_tray")["items"]
    }
    assert (tray[SOURCE], tray["KESTREL-1/2"]) == (0, 5)
    scenes = [opened.get(f"/episodes/KESTREL-1/scenes/{number}")["priority"] for number in (1, 2)]
    assert scenes == [0, None]
    opened.tell("priority.set", SOURCE, {}, who="producer")
    assert opened.get("/episodes/KESTREL-1/scenes/1")["priority"] is None
