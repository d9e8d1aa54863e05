"""Gates over time: when they were met, and what they show once an episode is delivered."""

from typing import Any

import pytest

from tests.telling import ROUTE

from ..paper import Paper

GATES = [
    {"gate": "rough-cut", "department": "camera", "takes": "first"},
    {"gate": "lock", "department": "cutting"},
    {"gate": "retake-cut-off", "department": "camera"},
    {"gate": "delivery", "department": "mix"},
]
DUE = {
    "rough-cut": "2031-03-12",
    "lock": "2031-03-14",
    "retake-cut-off": "2031-03-12",
    "air": "2031-04-20",
}
CALL = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "must-fix",
    "back_to": "camera",
    "strands": ["character"],
    "share": 1,
}
SCENES = ("KESTREL-1/1", "KESTREL-1/2")
DEPARTMENTS = ("layout", "background", "animation", "paint", "camera")


@pytest.fixture
def shot(paper: Paper) -> Paper:
    """Two scenes through camera on the 10th and the 11th; now it is Wednesday the 12th, nine.

    The route has no department that meets the air date.
    """
    paper.open(2, ("KESTREL-1",), {**ROUTE, "gates": GATES})
    for gate, due_on in DUE.items():
        paper.tell("gate.set", "KESTREL-1", {"gate": gate, "due_on": due_on}, who="office")
    paper.move_clock("2031-03-12T09:00:00Z")
    for scene, day in zip(SCENES, ("10", "11"), strict=True):
        for department in DEPARTMENTS:
            start, end = "2031-03-05T09:00:00Z", f"2031-03-{day}T15:00:00Z"
            paper.desk(scene, department, start=start, end=end)
    return paper


def gates(paper: Paper, episode: str = "KESTREL-1") -> dict[str, dict[str, Any]]:
    """The episode's gates by name, as its own page and the list of episodes have them."""
    shown: list[dict[str, Any]] = paper.get(f"/episodes/{episode}")["gates"]
    listed = {one["episode"]: one["gates"] for one in paper.get("/episodes")["items"]}
    assert listed[episode] == shown
    return {gate["gate"]: gate for gate in shown}


def dates(gate: dict[str, Any]) -> tuple[Any, ...]:
    """When a gate was met, when it is met by the plan, by what margin, and whether that holds."""
    return tuple(gate[name] for name in ("met_on", "projected_on", "margin_workdays", "date_holds"))


def test_a_gate_is_met_by_the_last_of_its_hand_offs(shot: Paper) -> None:
    found = gates(shot)
    for gate in ("rough-cut", "retake-cut-off"):
        assert dates(found[gate]) == ("2031-03-11", "2031-03-11", 1, True)
    # cutting takes Wednesday, mix Thursday
    assert dates(found["lock"]) == (None, "2031-03-12", 2, True)
    assert dates(found["delivery"])[:2] == (None, "2031-03-13")


def test_a_gate_that_no_department_meets_does_not_say_whether_it_holds(
    shot: Paper,
) -> None:
    assert dates(gates(shot)["air"]) == (None, None, None, None)


def test_a_gate_keeps_when_it_was_met_whatever_is_reopened(shot: Paper) -> None:
    shot.tell("retake.called", "KESTREL-1/1", CALL)
    found = gates(shot)
    # first takes suffice for the rough cut; camera needs two hours on Wednesday for the other
    assert dates(found["rough-cut"]) == ("2031-03-11", "2031-03-11", 1, True)
    assert dates(found["retake-cut-off"]) == ("2031-03-11", "2031-03-12", 0, True)
    shot.move_clock("2031-03-13T17:00:00Z")
    late = dates(gates(shot)["retake-cut-off"])
    assert late == ("2031-03-11", "2031-03-14", -2, False)
    shot.desk("KESTREL-1/1", "camera", start="2031-03-13T09:00:00Z", end="2031-03-13T11:00:00Z")
    # done again on the 13th: that is when what stands now was handed off
    assert dates(gates(shot)["retake-cut-off"]) == ("2031-03-11", "2031-03-13", -1, False)


def test_a_gate_that_wants_final_takes_is_met_when_all_stand_handed_off_at_once(
    paper: Paper,
) -> None:
    paper.open(2, ("KESTREL-1",), {**ROUTE, "gates": GATES})
    paper.move_clock("2031-03-14T17:00:00Z")
    for department in DEPARTMENTS:
        paper.desk(SCENES[0], department, start="2031-03-05T09:00:00Z", end="2031-03-10T15:00:00Z")
    paper.tell("retake.called", SCENES[0], CALL, at="2031-03-11T09:00:00Z")
    for department in DEPARTMENTS:
        paper.desk(SCENES[1], department, start="2031-03-06T09:00:00Z", end="2031-03-12T15:00:00Z")
    found = gates(paper)
    # by the 12th both had been handed off, but one was open again
    assert dates(found["rough-cut"])[0] == "2031-03-12"
    assert dates(found["retake-cut-off"])[0] is None
    paper.desk(SCENES[0], "camera", start="2031-03-13T09:00:00Z", end="2031-03-13T11:00:00Z")
    assert dates(gates(paper)["retake-cut-off"])[:2] == ("2031-03-13", "2031-03-13")


def test_a_refused_hand_off_meets_no_gate(shot: Paper) -> None:
    refused = {"sender": "camera", "department": "cutting", "share": 1}
    shot.tell("hand-off.refused", SCENES[1], refused)
    assert dates(gates(shot)["rough-cut"])[:2] == (None, "2031-03-12")


def test_a_date_that_the_plan_can_never_reach_does_not_hold(shot: Paper) -> None:
    nobody = {
        "department": "cutting",
        "artists": 0,
        "units_per_artist_day": 1,
        "minutes_per_artist_day": 480,
        "from_on": "2031-03-01",
    }
    shot.tell("crew.set", "studio", nobody, who="office")
    found = gates(shot)
    assert dates(found["lock"]) == (None, None, None, False)
    assert dates(found["delivery"]) == (None, None, None, False)
    assert dates(found["rough-cut"]) == ("2031-03-11", "2031-03-11", 1, True)


def test_where_nothing_is_there_to_meet_a_gate_it_says_nothing(paper: Paper) -> None:
    paper.open(0, ("KESTREL-1",), {**ROUTE, "gates": GATES})
    for gate, due_on in DUE.items():
        paper.tell("gate.set", "KESTREL-1", {"gate": gate, "due_on": due_on}, who="office")
    found = gates(paper)
    assert dates(found["rough-cut"]) == dates(found["retake-cut-off"]) == (None,) * 4
    assert found["lock"]["date_holds"] is not None


def test_an_omitted_scene_holds_no_gate_up(shot: Paper) -> None:
    shot.tell("scene.listed", "KESTREL-1/3", {"frames": 80, "drawings": 40}, who="office")
    met_on, projected_on, _, holds = dates(gates(shot)["rough-cut"])
    # a scene that is listed later takes nothing back, but is still to be done
    assert (met_on, holds) == ("2031-03-11", False)
    assert projected_on > "2031-03-12"
    shot.tell("scene.omitted", "KESTREL-1/3")
    assert dates(gates(shot)["rough-cut"]) == ("2031-03-11", "2031-03-12", 0, True)


def test_a_gate_is_met_when_the_last_scene_in_its_way_is_omitted(paper: Paper) -> None:
    paper.open(2, ("KESTREL-1",), {**ROUTE, "gates": GATES})
    paper.move_clock("2031-03-12T09:00:00Z")
    for department in DEPARTMENTS:
        start, end = "2031-03-05T09:00:00Z", "2031-03-10T15:00:00Z"
        paper.desk(SCENES[0], department, start=start, end=end)
    assert dates(gates(paper)["rough-cut"])[0] is None
    tried = paper.what_if(paper.event("scene.omitted", SCENES[1]))
    paper.tell("scene.omitted", SCENES[1])
    assert dates(gates(paper)["rough-cut"])[:2] == ("2031-03-12", "2031-03-12")
    moved = {gate["gate"]: gate for gate in tried["episodes"][0]["gates"]}["rough-cut"]
    assert (moved["met_before"], moved["met_after"]) == (None, "2031-03-12")
    assert moved["projected_after"] == "2031-03-12"


def test_a_delivered_episode_says_when_it_met_its_gates(shot: Paper) -> None:
    shot.move_clock("2031-03-14T17:00:00Z")
    shot.desk("KESTREL-1", "cutting", start="2031-03-12T09:00:00Z", end="2031-03-13T17:00:00Z")
    shot.desk("KESTREL-1", "mix", start="2031-03-14T09:00:00Z", end="2031-03-14T12:00:00Z")
    before = gates(shot)
    assert dates(before["delivery"])[:2] == ("2031-03-14", "2031-03-14")
    shot.move_clock("2031-03-17T10:00:00Z")
    shot.tell("episode.delivered", "KESTREL-1")
    found = gates(shot)
    assert {name: found[name] for name in DUE} == {name: before[name] for name in DUE}
    assert dates(found["lock"]) == ("2031-03-13", "2031-03-13", 1, True)
    # from Monday the 17th to the 15th of April: 10 and 11 working days
    assert dates(found["delivery"]) == ("2031-03-17", "2031-03-17", 21, True)
    # what is recorded of it later, its own work or another scene's omission, changes none of it
    shot.move_clock("2031-04-20T10:00:00Z")
    shot.tell("scene.omitted", "KESTREL-1/2")
    assert gates(shot) == found


def test_what_was_open_at_the_delivery_is_projected_no_more(shot: Paper) -> None:
    shot.tell("retake.called", "KESTREL-1/1", CALL)
    shot.tell("episode.delivered", "KESTREL-1")
    found = gates(shot)
    assert dates(found["rough-cut"]) == ("2031-03-11", "2031-03-11", 1, True)
    # met on the 11th, but open again when it was delivered
    assert dates(found["retake-cut-off"]) == ("2031-03-11", None, None, None)
    assert dates(found["lock"]) == (None, None, None, None)
    assert dates(found["delivery"])[:2] == ("2031-03-12", "2031-03-12")
    # handed off behind the delivery, it still was open at it
    shot.move_clock("2031-03-13T17:00:00Z")
    shot.desk("KESTREL-1/1", "camera", start="2031-03-13T09:00:00Z", end="2031-03-13T11:00:00Z")
    shot.desk("KESTREL-1", "cutting", start="2031-03-13T11:00:00Z", end="2031-03-13T17:00:00Z")
    assert gates(shot) == found


def test_a_replay_says_what_was_met_by_then(shot: Paper) -> None:
    position = shot.tell("retake.called", "KESTREL-1/1", CALL)
    replay = shot.get(f"/episodes/KESTREL-1/replay?position={position}")
    found = {gate["gate"]: gate for gate in replay["then"]["gates"]}
    assert found == gates(shot)
    replay = shot.get("/episodes/KESTREL-1/replay?at=2031-03-11T14:00:00Z&clock=happened")
    then = {gate["gate"]: dates(gate) for gate in replay["then"]["gates"]}
    assert then["rough-cut"][0] is None
    assert then["air"] == (None, None, None, None)


def test_an_impact_says_of_each_gate_whether_its_date_holds(shot: Paper) -> None:
    position = shot.tell("retake.called", "KESTREL-1/1", CALL)
    (episode,) = shot.get(f"/events/{position}/impact")["episodes"]
    found = {gate["gate"]: gate for gate in episode["gates"]}
    assert episode["date_holds"] is True
    assert {name: gate["date_holds"] for name, gate in found.items()} == {
        "rough-cut": True,
        "lock": True,
        "retake-cut-off": True,
        "delivery": True,
        "air": None,
    }
    cut_off = found["retake-cut-off"]
    assert (cut_off["met_before"], cut_off["met_after"]) == ("2031-03-11", "2031-03-11")
    assert (cut_off["projected_before"], cut_off["projected_after"]) == ("2031-03-11", "2031-03-12")
    assert (found["lock"]["met_before"], found["lock"]["met_after"]) == (None, None)


def test_an_impact_says_null_of_a_delivery_without_a_date(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    opened = paper.event("episode.opened", "KESTREL-9", {"title": "Nine"})
    paper.record(opened, who="office")
    listed = paper.event("scene.listed", "KESTREL-9/1", {"frames": 80, "drawings": 40})
    position = paper.record(listed, who="office")
    shown = paper.get(f"/events/{position}/impact")
    by_name = {one["episode"]: one for one in shown["episodes"]}
    assert by_name["KESTREL-9"]["date_holds"] is None
    assert by_name["KESTREL-1"]["date_holds"] is True
