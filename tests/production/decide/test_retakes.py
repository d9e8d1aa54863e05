"""What may be recorded of retakes, and what is refused of it."""

from typing import Any

import pytest

from service.production.refusal import Code
from tests.telling import Story, studio

DAY_1, DAY_2 = "2031-03-04T09:00:00Z", "2031-03-05T09:00:00Z"
CALLED, AFTER, LATER = "2031-03-10T09:00:00Z", "2031-03-11T09:00:00Z", "2031-03-12T09:00:00Z"
SCENE = "KESTREL-1/1"


def shot(*scenes: str) -> Story:
    story = studio()
    story.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"})
    for scene in scenes or (SCENE,):
        story.desk(scene, *story.state.scenes[scene].departments, start=DAY_1, end=DAY_2)
    return story


def against(
    story: Story, subject: str = SCENE, back_to: str = "animation", **more: Any
) -> list[tuple[Code, str]]:
    call = story.call_of(more.pop("code", "R2"), subject, back_to, "character", **more)
    return [(reason.code, reason.member) for reason in story.refused(*call, CALLED)]


def test_a_code_is_used_once() -> None:
    story = shot()
    story.call("R1", SCENE, "animation", "character", at=CALLED)
    assert against(story, code="R1") == [(Code.EXISTS, "/data/retake")]


def test_a_call_names_what_is_in_the_record() -> None:
    assert against(shot(), "KESTREL-1/99") == [(Code.UNKNOWN, "/subject")]
    assert against(shot(), items=[SCENE, "KESTREL-1/99"]) == [(Code.UNKNOWN, "/data/items/1")]


def test_a_show_may_be_the_subject_where_items_are_named() -> None:
    story = shot()
    assert against(story, "KESTREL") == [(Code.UNKNOWN, "/subject")]
    story.call("R1", "KESTREL", "animation", "character", at=CALLED, items=[SCENE])


def test_items_are_of_the_subjects_show() -> None:
    story = shot()
    story.tell("show.opened", "OTHER", {"title": "Other"})
    assert against(story, "OTHER", items=[SCENE]) == [(Code.CONTRADICTION, "/data/items/0")]


def test_every_item_visits_the_department() -> None:
    assert against(shot(), back_to="mix") == [(Code.NOT_ON_ROUTE, "/data/back_to")]


def test_naming_what_has_not_begun_is_refused() -> None:
    assert against(shot(), items=[SCENE, "KESTREL-1/3"]) == [(Code.CONTRADICTION, "/data/items/1")]


@pytest.mark.parametrize("more", [{"share": 0.5, "drawings": 3}, {"share": None}])
def test_either_a_share_or_a_number_of_drawings_is_given(more: dict[str, Any]) -> None:
    data = {name: value for name, value in more.items() if value is not None}
    type_, subject, call = shot().call_of("R2", SCENE, "animation", "character")
    call.pop("share")
    reasons = shot().refused(type_, subject, {**call, **data}, CALLED)
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.CONTRADICTION, "/data/share")
    ]


def test_no_more_drawings_than_there_are() -> None:
    assert against(shot(), drawings=41) == [(Code.CONTRADICTION, "/data/drawings")]
    shot().call("R1", SCENE, "animation", "character", at=CALLED, drawings=40)


def test_a_fault_is_a_known_departments() -> None:
    assert against(shot(), fault_of="nowhere") == [(Code.UNKNOWN, "/data/fault_of")]


def test_every_reason_is_given_at_once() -> None:
    story = shot()
    found = against(story, items=["KESTREL-1/99", "KESTREL-1/3"], fault_of="nowhere", drawings=99)
    assert set(found) == {
        (Code.UNKNOWN, "/data/fault_of"),
        (Code.UNKNOWN, "/data/items/0"),
        (Code.CONTRADICTION, "/data/items/1"),
        (Code.CONTRADICTION, "/data/drawings"),
    }


def marked(scene: str, mark: str) -> list[dict[str, str]]:
    return [{"scene": scene, "mark": mark}]


@pytest.mark.parametrize("mark", ["redo", "look-at", "leave"])
def test_a_mark_is_of_a_dependent_scene(mark: str) -> None:
    member = "/data/dependents/0/scene"
    story = shot(SCENE, "KESTREL-1/2", "KESTREL-2/1")
    assert against(story, dependents=marked("KESTREL-1/99", mark)) == [(Code.UNKNOWN, member)]
    assert against(story, dependents=marked(SCENE, mark)) == [(Code.CONTRADICTION, member)]
    assert against(story, dependents=marked("KESTREL-2/1", mark)) == [(Code.CONTRADICTION, member)]
    story.call(
        "R1", SCENE, "animation", "character", at=CALLED, dependents=marked("KESTREL-1/2", mark)
    )


def test_a_scene_is_marked_once() -> None:
    twice = [*marked("KESTREL-1/2", "leave"), *marked("KESTREL-1/2", "look-at")]
    assert against(shot(SCENE, "KESTREL-1/2"), dependents=twice) == [
        (Code.CONTRADICTION, "/data/dependents/1/scene")
    ]


def test_a_hook_up_is_redone_only_where_it_has_begun() -> None:
    assert against(shot(), dependents=marked("KESTREL-1/2", "redo")) == [
        (Code.CONTRADICTION, "/data/dependents/0/scene")
    ]


def test_a_hook_up_is_redone_only_where_it_visits_the_department() -> None:
    story = shot()
    same = {"source": "KESTREL-1/3", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-1/2", same)
    assert against(story, dependents=marked("KESTREL-1/2", "redo")) == [
        (Code.NOT_ON_ROUTE, "/data/dependents/0/scene")
    ]


def test_a_mark_may_follow_from_another() -> None:
    story = shot(SCENE, "KESTREL-1/2", "KESTREL-1/3")
    story.tell("hook-up.declared", "KESTREL-1/2", {"to": "KESTREL-1/3"})
    third = marked("KESTREL-1/3", "leave")
    assert against(story, dependents=third) == [(Code.CONTRADICTION, "/data/dependents/0/scene")]
    both = [*marked("KESTREL-1/2", "redo"), *third]
    story.call("R1", SCENE, "animation", "character", at=CALLED, dependents=both)
    assert story.state.retakes["R1"].look_at == ()


def test_a_call_dated_before_what_already_followed_is_refused_where_it_breaks_it() -> None:
    story = shot()
    story.call("R1", SCENE, "camera", "character", at=CALLED)
    story.tell("work.started", SCENE, {"department": "camera", "take": 2}, at=LATER)
    story.tell("hand-off.made", SCENE, {"department": "camera", "take": 2}, at=LATER)
    # while take 1 was on a desk: it would have been taken back, and all takes after it moved on
    early = story.call_of("R0", SCENE, "camera", "character")
    reasons = story.refused(*early, "2031-03-04T10:00:00Z")
    assert {reason.code for reason in reasons} == {Code.TIME_ORDER}
    assert "could not" in reasons[0].detail


# endings


def called(**more: Any) -> Story:
    story = shot(SCENE, "KESTREL-1/2")
    story.call("R1", SCENE, "animation", "character", at=CALLED, **more)
    return story


@pytest.mark.parametrize("type_", ["retake.withdrawn", "retake.bought-as-is"])
def test_a_retake_ends_once_under_its_own_subject(type_: str) -> None:
    story = called()
    assert story.codes(type_, SCENE, {"retake": "R9"}, AFTER) == {Code.UNKNOWN}
    assert story.codes(type_, "KESTREL-1/2", {"retake": "R1"}, AFTER) == {Code.CONTRADICTION}
    assert story.codes(type_, SCENE, {"retake": "R1"}, DAY_1) == {Code.TIME_ORDER}
    story.tell(type_, SCENE, {"retake": "R1"}, at=AFTER)
    for again in ("retake.withdrawn", "retake.bought-as-is"):
        assert story.codes(again, SCENE, {"retake": "R1"}, AFTER) == {Code.CONTRADICTION}


def test_a_retake_does_not_end_before_it_grew() -> None:
    story = called()
    story.tell("look-at.answered", "KESTREL-1/2", {"retake": "R1", "answer": "redo"}, at=LATER)
    reasons = story.refused("retake.withdrawn", SCENE, {"retake": "R1"}, AFTER)
    assert [(reason.code, reason.member) for reason in reasons] == [(Code.TIME_ORDER, "/time")]


# look-at


def test_only_what_is_to_be_looked_at_is_answered_and_once() -> None:
    story = called()
    fine = {"retake": "R1", "answer": "fine"}
    unknown = {"retake": "R9", "answer": "fine"}
    assert story.codes("look-at.answered", "KESTREL-1/2", unknown, AFTER) == {Code.UNKNOWN}
    assert story.codes("look-at.answered", "KESTREL-1/3", fine, AFTER) == {Code.CONTRADICTION}
    assert story.codes("look-at.answered", "KESTREL-1/2", fine, DAY_1) == {Code.TIME_ORDER}
    story.tell("look-at.answered", "KESTREL-1/2", fine, at=AFTER)
    assert story.codes("look-at.answered", "KESTREL-1/2", fine, AFTER) == {Code.CONTRADICTION}


def test_a_retake_that_has_ended_is_no_longer_answered() -> None:
    story = called()
    story.tell("retake.withdrawn", SCENE, {"retake": "R1"}, at=AFTER)
    fine = {"retake": "R1", "answer": "fine"}
    assert story.codes("look-at.answered", "KESTREL-1/2", fine, AFTER) == {Code.CONTRADICTION}


def redo(**more: str) -> dict[str, str]:
    return {"retake": "R1", "answer": "redo", **more}


def test_a_redo_begins_at_a_department_the_scene_visits_and_has_begun() -> None:
    story = shot()
    story.desk("KESTREL-1/2", "layout", start=DAY_1, end=DAY_2)
    story.call("R1", SCENE, "animation", "character", at=CALLED)
    wrong = story.refused("look-at.answered", "KESTREL-1/2", redo(back_to="mix"), AFTER)
    assert [(reason.code, reason.member) for reason in wrong] == [
        (Code.NOT_ON_ROUTE, "/data/back_to")
    ]
    assert story.codes("look-at.answered", "KESTREL-1/2", redo(), AFTER) == {Code.CONTRADICTION}
    story.tell("look-at.answered", "KESTREL-1/2", redo(back_to="layout"), at=AFTER)


def test_a_redo_must_say_where_it_begins_if_the_scene_does_not_visit_the_department() -> None:
    story = studio()
    story.tell("hook-up.declared", SCENE, {"to": "KESTREL-1/2"})
    same = {"source": "KESTREL-1/3", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-1/2", same)
    for scene in (SCENE, "KESTREL-1/2"):
        story.desk(scene, *story.state.scenes[scene].departments, start=DAY_1, end=DAY_2)
    story.call("R1", SCENE, "animation", "character", at=CALLED)
    reasons = story.refused("look-at.answered", "KESTREL-1/2", redo(), AFTER)
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.CONTRADICTION, "/data/back_to")
    ]
    story.tell("look-at.answered", "KESTREL-1/2", redo(back_to="camera"), at=AFTER)


def test_a_redo_dated_before_takes_that_it_would_move_is_refused() -> None:
    story = called()
    story.call("R2", "KESTREL-1/2", "camera", "character", at=AFTER)
    camera = {"department": "camera", "take": 2}
    story.tell("work.started", "KESTREL-1/2", camera, at=LATER)
    story.tell("hand-off.made", "KESTREL-1/2", camera, at="2031-03-13T09:00:00Z")
    story.call("R3", "KESTREL-1/2", "camera", "character", at="2031-03-14T09:00:00Z")
    third = {"department": "camera", "take": 3}
    story.tell("work.started", "KESTREL-1/2", third, at="2031-03-15T09:00:00Z")
    # between the start and the hand-off of take 2: take 2 would be taken back then
    between = "2031-03-12T12:00:00Z"
    assert story.codes("look-at.answered", "KESTREL-1/2", redo(back_to="camera"), between) == {
        Code.TIME_ORDER
    }
