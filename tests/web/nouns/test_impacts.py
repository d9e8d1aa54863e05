"""What a retake does to every date behind it, tried and recorded, by hand."""

import pytest
from sqlalchemy import Engine

from service.log.append import read_head
from service.vocabulary.zones import ZONE_DATA_VERSION

from ..paper import Paper, another_worker

CALL = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "must-fix",
    "back_to": "animation",
    "strands": ["character"],
    "share": 0.5,
}


def test_the_impact_of_a_retake_is_what_a_hand_computes(short: Paper) -> None:
    # without: paint, 40 drawings at 20 a day, Tuesday 13 to Thursday 13; camera 2 hours to 15;
    # cutting a day to Friday 15; mix a day to Monday 15. With: half of 5 feet again, 4 hours to
    # Tuesday 17; paint Wednesday 9 to Thursday 17; camera Friday 9 to 11; cutting to Monday 11;
    # mix to Tuesday 11.
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    shown = short.get("/retakes/R1/impact")
    assert shown["position"] == position
    assert shown["now"] == "2031-03-04T13:00:00Z"
    assert shown["reopened"] == [
        {
            "item": "KESTREL-1/1",
            "department": "animation",
            "take": 2,
            "work": 2.5,
            "unit": "feet",
            "retake": "R1",
            "because": [{"item": "KESTREL-1/1", "department": "animation"}],
            "planned": True,
        }
    ]
    assert shown["to_look_at"] == []
    assert shown["departments"] == [
        {"department": "animation", "added_work": 2.5, "unit": "feet", "added_artist_days": 0.5}
    ]
    assert shown["scenes"] == [
        {
            "scene": "KESTREL-1/1",
            "finish_before": "2031-03-06T15:00:00Z",
            "finish_after": "2031-03-07T11:00:00Z",
            "open_before": True,
            "open_after": True,
            "slip_workdays": 1,
        }
    ]
    rough_cut, delivery = (
        {
            "gate": gate,
            "due_on": due_on,
            "hard": hard,
            "met_before": None,
            "met_after": None,
            "projected_before": before,
            "projected_after": after,
            "margin_workdays_before": margin_before,
            "margin_workdays_after": margin_after,
            "date_holds": None if due_on is None else True,
        }
        for gate, due_on, hard, before, after, margin_before, margin_after in (
            ("rough-cut", None, False, "2031-03-06", "2031-03-07", None, None),
            # (10 March, 15 April] has 15 working days of March and 11 of April
            ("delivery", "2031-04-15", False, "2031-03-10", "2031-03-11", 26, 25),
        )
    )
    (episode,) = shown["episodes"]
    assert episode.pop("gates") == [rough_cut, delivery]
    assert episode == {
        "episode": "KESTREL-1",
        "due_on": "2031-04-15",
        "delivery_before": "2031-03-10",
        "delivery_after": "2031-03-11",
        "margin_workdays_before": 26,
        "margin_workdays_after": 25,
        "date_holds": True,
    }
    assert shown["time_zone_data_version"] == ZONE_DATA_VERSION
    assert len(shown["cautions"]) == 2


def test_a_scene_that_was_done_is_told_apart_from_those_that_move(opened: Paper) -> None:
    opened.move_clock("2031-03-03T12:00:00Z")
    for department in ("layout", "background", "animation", "paint", "camera"):
        opened.desk("KESTREL-1/1", department, start="2031-03-03T09:00:00Z", end=opened.now)
    opened.move_clock("2031-03-31T08:00:00Z")
    called = opened.event("retake.called", "KESTREL-1/1", CALL | {"share": 1})
    tried = {scene["scene"]: scene for scene in opened.what_if(called)["scenes"]}
    # four weeks ago it was done; what it needs again, a day of animation, two of paint and two
    # hours of camera from Monday the 31st at nine on the clock there, is not four weeks
    assert tried["KESTREL-1/1"] == {
        "scene": "KESTREL-1/1",
        "finish_before": "2031-03-03T12:00:00Z",
        "finish_after": "2031-04-03T10:00:00Z",
        "open_before": False,
        "open_after": True,
        "slip_workdays": None,
    }
    others = [scene for name, scene in tried.items() if name != "KESTREL-1/1"]
    assert {(scene["open_before"], scene["open_after"]) for scene in others} == {(True, True)}
    assert all(scene["slip_workdays"] is not None for scene in others)
    opened.record(called)
    position = opened.tell("retake.withdrawn", "KESTREL-1/1", {"retake": "R1"})
    shown = opened.get(f"/events/{position}/impact")["scenes"]
    (back,) = (scene for scene in shown if scene["scene"] == "KESTREL-1/1")
    assert (back["open_before"], back["open_after"], back["slip_workdays"]) == (True, False, None)
    assert back["finish_after"] == "2031-03-03T12:00:00Z"


def test_a_retake_in_one_episode_moves_the_one_behind_it(opened: Paper) -> None:
    opened.move_clock("2031-03-03T13:00:00Z")
    start, end = "2031-03-03T09:00:00Z", "2031-03-03T13:00:00Z"
    opened.desk("KESTREL-1/1", "layout", start=start, end=end)
    opened.tell("retake.called", "KESTREL-1/1", CALL | {"back_to": "layout", "share": 1})
    shown = opened.get("/retakes/R1/impact")
    # half a day more at layout, which works at everything else in turn
    moved = {scene["scene"] for scene in shown["scenes"]}
    assert "KESTREL-2/3" in moved
    assert [episode["episode"] for episode in shown["episodes"]] == ["KESTREL-1", "KESTREL-2"]


def test_what_if_answers_what_recording_it_then_shows(short: Paper, engine: Engine) -> None:
    with engine.connect() as connection:
        before = read_head(connection, "paper")
    tried = short.what_if(short.event("retake.called", "KESTREL-1/1", CALL))
    with engine.connect() as connection:
        assert read_head(connection, "paper") == before
    assert short.refused("/retakes/R1") == (404, "not-found", [])
    assert tried["position"] == before.position
    assert tried["reopened"]
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    recorded = short.get("/retakes/R1/impact")
    assert recorded == tried | {"position": position}
    assert short.get(f"/events/{position}/impact") == recorded


def test_the_impact_of_a_recorded_event_never_changes(short: Paper, engine: Engine) -> None:
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    first = short.get(f"/events/{position}/impact")
    short.move_clock("2031-03-20T13:00:00Z")
    short.tell("retake.withdrawn", "KESTREL-1/1", {"retake": "R1"})
    short.tell("event.struck", "studio", {"position": position + 1, "why": "Wrong button."})
    short.app = another_worker(engine)
    assert short.get(f"/events/{position}/impact") == first


def test_an_event_of_the_office_has_an_impact_too(opened: Paper) -> None:
    gate = {"gate": "delivery", "due_on": "2031-03-06", "hard": True}
    position = opened.tell("gate.set", "KESTREL-2", gate, who="office")
    shown = opened.get(f"/events/{position}/impact")
    episode = next(one for one in shown["episodes"] if one["episode"] == "KESTREL-2")
    assert episode["due_on"] == "2031-03-06"
    assert episode["date_holds"] is False
    # an earlier date goes first in every tray, so the other episode is the one that gives way
    other = next(one for one in shown["episodes"] if one["episode"] == "KESTREL-1")
    assert other["delivery_after"] > other["delivery_before"]


def test_what_if_takes_one_event_and_a_whole_batch(opened: Paper) -> None:
    one = opened.event("scene.omitted", "KESTREL-1/3")
    answer = opened.post("/what-if", one)
    assert answer.status_code == 200
    both = opened.what_if(one, opened.event("scene.omitted", "KESTREL-2/3"))
    lost = {"layout": -1, "animation": -5}
    added = {one["department"]: one["added_work"] for one in answer.get_json()["departments"]}
    assert {name: added[name] for name in lost} == lost
    doubled = {one["department"]: one["added_work"] for one in both["departments"]}
    assert doubled == {name: 2 * work for name, work in added.items()}


def test_what_if_of_nothing_changes_nothing(opened: Paper) -> None:
    shown = opened.what_if()
    assert (shown["reopened"], shown["departments"], shown["scenes"]) == ([], [], [])


def test_what_if_a_strike(short: Paper) -> None:
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    shown = short.what_if(
        short.event("event.struck", "studio", {"position": position, "why": "Twice."})
    )
    (episode,) = shown["episodes"]
    assert (episode["delivery_before"], episode["delivery_after"]) == ("2031-03-11", "2031-03-10")
    assert short.get("/retakes/R1")["standing"] == "standing"


def test_what_if_a_strike_that_others_rest_on(short: Paper) -> None:
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    short.tell("retake.withdrawn", "KESTREL-1/1", {"retake": "R1"})
    strike = short.event("event.struck", "studio", {"position": position, "why": "Twice."})
    refusal = short.problem(short.post("/what-if", [strike]))
    assert refusal == (422, "contradiction", [("/0/data/position", "strike-breaks")])


def test_what_if_is_checked_like_what_is_recorded(opened: Paper) -> None:
    wrong = opened.event("retake.called", "KESTREL-1/1", CALL | {"urgency": "now"})
    assert opened.problem(opened.post("/what-if", wrong)) == (
        422,
        "invalid-event",
        [("/data/urgency", "not-a-choice")],
    )
    never = opened.event("retake.called", "KESTREL-1/1", CALL)
    assert opened.problem(opened.post("/what-if", [never])) == (
        422,
        "contradiction",
        [("/0/subject", "contradiction")],
    )
    late = opened.event("scene.omitted", "KESTREL-1/1", at="2031-03-04T08:00:00Z")
    assert opened.problem(opened.post("/what-if", late)) == (
        422,
        "contradiction",
        [("/time", "in-future")],
    )
    foreign = opened.event("scene.omitted", "KESTREL-1/1") | {"source": "//elsewhere"}
    assert opened.problem(opened.post("/what-if", foreign)) == (
        403,
        "source-not-owned",
        [("/source", "source-not-owned")],
    )


@pytest.mark.parametrize("who", ["auditor", "layout"])
def test_who_may_not_try(opened: Paper, who: str) -> None:
    refusal = opened.problem(opened.post("/what-if", [], who))
    assert refusal == (403, "insufficient-scope", [])


@pytest.mark.parametrize("path", ["/events/0/impact", "/events/999/impact", "/retakes/R9/impact"])
def test_there_is_no_impact_of_what_is_not_recorded(opened: Paper, path: str) -> None:
    assert opened.refused(path) == (404, "not-found", [])


def test_an_impact_from_before_a_show_was_opened(short: Paper) -> None:
    position = short.tell("retake.called", "KESTREL-1/1", CALL)
    before = short.get(f"/events/{position}/impact")
    short.tell("show.opened", "LANTERN", {"title": "The Harbour Light"}, who="office")
    # the plan made for this read knows the later show, and is near enough to be tried first
    short.get("/episodes/KESTREL-1")
    assert short.get(f"/events/{position}/impact") == before
    worker = another_worker(short.engine).test_client()
    headers = {"Authorization": f"Bearer {short.secrets['supervisor']}"}
    worker.get("/episodes/KESTREL-1", headers=headers)
    assert worker.get(f"/events/{position}/impact", headers=headers).get_json() == before
