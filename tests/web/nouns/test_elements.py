"""Elements chosen by kind and by where their approval stands, and what waits for it."""

from typing import Any

import pytest

from tests.telling import APPROVING

from ..paper import Paper

IMP, ELF, SHEET = "KESTREL:IMP", "KESTREL:ELF", "KESTREL:FOX"
SCENE = "KESTREL-1/1"
TEN = "2031-03-03T10:00:00Z"


@pytest.fixture
def designed(paper: Paper) -> Paper:
    """Monday at ten: the imp drawn and its approval asked for, the elf not, a sheet without one."""
    paper.open(3, ("KESTREL-1",), APPROVING)
    for element, kind in ((IMP, "cast"), (ELF, "cast"), (SHEET, "model-sheet")):
        paper.tell("element.listed", element, {"kind": kind, "drawings": 4}, who="office")
        paper.tell("element.used", element, {"scenes": [SCENE]}, who="office")
    paper.move_clock(TEN)
    paper.desk(IMP, "design", start="2031-03-03T09:00:00Z", end=TEN)
    paper.tell("approval.asked", IMP, {"of": "broadcaster"}, who="office")
    return paper


def approval(paper: Paper, element: str) -> Any:
    return paper.get(f"/shows/KESTREL/elements/{element.partition(':')[2]}")["approval"]


def chosen(paper: Paper, query: str) -> list[str]:
    return [one["element"] for one in paper.get(f"/shows/KESTREL/elements?{query}")["items"]]


def test_an_element_tells_where_its_approval_stands(designed: Paper) -> None:
    # asked on Monday the 3rd at ten, so three working days later on Thursday
    assert approval(designed, IMP) == {
        "standing": "asked",
        "before": "animation",
        "days": 3,
        "asked_of": "broadcaster",
        "asked_at": TEN,
        "answer_expected_at": "2031-03-06T10:00:00Z",
        "overdue_since_at": None,
        "answers": [],
    }
    assert approval(designed, SHEET) is None
    assert approval(designed, ELF)["standing"] == "ahead"
    position = designed.tell("approval.given", IMP, {"by": "broadcaster"}, who="producer")
    given = approval(designed, IMP)
    assert (given["standing"], given["asked_at"], given["answer_expected_at"]) == (
        "given",
        None,
        None,
    )
    assert given["answers"] == [
        {"answer": "given", "by": "broadcaster", "at": TEN, "position": position, "retake": None}
    ]


def test_open_approvals_are_listed(designed: Paper) -> None:
    assert chosen(designed, "approval=asked") == [IMP]
    assert chosen(designed, "approval=asked&approval=ahead") == [ELF, IMP]
    assert chosen(designed, "kind=cast") == [ELF, IMP]
    assert chosen(designed, "kind=model-sheet&approval=asked") == []
    assert designed.refused("/shows/KESTREL/elements?approval=open") == (
        400,
        "invalid-query",
        [("?approval", "not-a-choice")],
    )


def test_what_waits_for_an_approval_says_so_wherever_it_is_listed(designed: Paper) -> None:
    waits = [ELF, IMP]
    scene = designed.get("/episodes/KESTREL-1/scenes/1")
    named = {visit["department"]: visit.get("waits_for_approval") for visit in scene["visits"]}
    assert named["animation"] == waits
    assert named["paint"] is None
    assert {one["element"]: one["approval"] for one in scene["elements"]} == {
        IMP: "asked",
        ELF: "ahead",
        SHEET: None,
    }
    ahead = designed.get("/departments/animation/tray?section=ahead")["items"]
    assert {one["item"]: one.get("waits_for_approval") for one in ahead}[SCENE] == waits


def test_an_episode_says_who_owes_the_answer_it_waits_for(designed: Paper) -> None:
    for element in (ELF, SHEET):
        designed.desk(element, "design", start="2031-03-03T09:00:00Z", end=TEN)
    chain = designed.get("/episodes/KESTREL-1")["critical_chain"]
    # of two answers in the same minute the one in the higher row counts
    assert [(one["item"], one["department"]) for one in chain[:2]] == [
        (IMP, "approval"),
        (SCENE, "animation"),
    ]
    assert chain[0]["owes"] == "broadcaster"
    assert chain[1]["waits_for_approval"] == [ELF, IMP]
    designed.tell("approval.given", IMP, {"by": "broadcaster"}, who="producer")
    waits_on = designed.get("/episodes/KESTREL-1")["waits_on"]
    assert (waits_on["item"], waits_on["department"]) == (ELF, "approval")
    assert waits_on["owes"] == "approval"


def test_a_refusal_can_be_tried_before_it_is_recorded(designed: Paper) -> None:
    refused = {"by": "client", "share": 0.5, "retake": "R-IMP"}
    event = designed.event("approval.refused", IMP, refused)
    shown = designed.what_if(event)
    assert [(one["item"], one["department"], one["take"]) for one in shown["reopened"]] == [
        (IMP, "design", 2),
        (IMP, "approval", 2),
    ]
    assert [one["department"] for one in shown["departments"]] == ["design"]
    assert approval(designed, IMP)["standing"] == "asked"
    designed.record(event)
    assert approval(designed, IMP)["standing"] == "refused"
    assert designed.get("/retakes/R-IMP")["asked_by"] == "client"


def test_a_route_tells_what_must_be_approved(designed: Paper) -> None:
    shown = designed.get("/shows/KESTREL")
    kinds = {kind["kind"]: kind["approval"] for kind in shown["kinds"]}
    assert kinds["cast"] == {"before": "animation", "days": 3}
    assert kinds["background"] is None
    assert "approval" not in {one["department"] for one in shown["route"]}
    assert "approval" not in {one["department"] for one in designed.get("/departments")["items"]}


def test_a_hand_off_before_the_approval_is_marked(designed: Paper) -> None:
    designed.desk(SCENE, "layout", start="2031-03-03T08:00:00Z", end="2031-03-03T09:00:00Z")
    designed.desk(SCENE, "animation", start="2031-03-03T09:00:00Z", end=TEN)
    visits = {
        one["department"]: one for one in designed.get("/episodes/KESTREL-1/scenes/1")["visits"]
    }
    assert visits["animation"]["marks"] == ["before-approval", "upstream-missing"]
