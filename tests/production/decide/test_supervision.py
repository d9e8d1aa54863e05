"""What supervision may record, and who may say what in notes."""

from typing import Any

import pytest

from service.production.refusal import Code
from tests.telling import studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"
HELD = {"owes": "client", "by_on": "2031-03-20"}


def test_a_scene_is_held_once_at_a_time_and_only_then_freed() -> None:
    story = studio()
    assert story.codes("scene.freed", SCENE, at=NINE) == {Code.CONTRADICTION}
    story.tell("scene.held", SCENE, HELD, at=TEN)
    assert story.codes("scene.held", SCENE, HELD, at=ELEVEN) == {Code.CONTRADICTION}
    assert story.codes("scene.freed", SCENE, at=NINE) == {Code.TIME_ORDER}
    story.tell("scene.freed", SCENE, at=ELEVEN)
    story.tell("scene.held", SCENE, HELD, at=NOON)


def test_only_what_waits_is_put_first() -> None:
    story = studio()
    first = {"department": "layout"}
    assert story.codes("visit.put-first", "KESTREL-9/1", first) == {Code.UNKNOWN}
    assert story.codes("visit.put-first", SCENE, {"department": "mix"}) == {Code.NOT_ON_ROUTE}
    story.tell("visit.put-first", SCENE, first, at=NINE)
    story.desk(SCENE, "layout", start=TEN)
    assert story.codes("visit.put-first", SCENE, first, ELEVEN) == {Code.ILLEGAL_MOVE}
    story.tell("hand-off.made", SCENE, first, at=ELEVEN)
    assert story.codes("visit.put-first", SCENE, first, NOON) == {Code.ILLEGAL_MOVE}


@pytest.mark.parametrize("item", ["KESTREL-9/1", "KESTREL-9", "KESTREL:wall"])
def test_a_priority_is_of_something_known(item: str) -> None:
    assert studio().codes("priority.set", item, {"priority": 1}) == {Code.UNKNOWN}


def test_a_scene_is_bought_once_until_a_retake_reopens_it() -> None:
    story = studio()
    story.desk(SCENE, *story.state.scenes[SCENE].departments, start=NINE, end=TEN)
    story.tell("scene.bought", SCENE, at=ELEVEN)
    assert story.state.scenes[SCENE].bought
    assert story.codes("scene.bought", SCENE, at=NOON) == {Code.CONTRADICTION}
    story.call("R1", SCENE, "camera", "character", at=NOON)
    story.tell("scene.bought", SCENE, at=NOON)
    assert story.codes("scene.bought", SCENE, at=NOON) == {Code.CONTRADICTION}


def test_an_episode_is_delivered_once() -> None:
    story = studio()
    assert story.codes("episode.delivered", "KESTREL-9") == {Code.UNKNOWN}
    story.tell("episode.delivered", "KESTREL-1", at=NINE)
    assert story.codes("episode.delivered", "KESTREL-1", at=TEN) == {Code.CONTRADICTION}


def given(**more: Any) -> dict[str, Any]:
    return {"note": "N1", "to": "paint", "text": "The ear is the wrong colour.", **more}


def test_a_note_is_of_a_known_item_between_known_departments_and_new() -> None:
    story = studio()
    reasons = story.refused("note.given", "KESTREL-9/1", given(to="nowhere", department="gone"))
    assert [(reason.code, reason.member) for reason in reasons] == [
        (Code.UNKNOWN, "/subject"),
        (Code.UNKNOWN, "/data/to"),
        (Code.UNKNOWN, "/data/department"),
    ]
    story.tell("note.given", SCENE, given(), at=TEN)
    assert story.codes("note.given", SCENE, given(), TEN) == {Code.EXISTS}


def test_a_note_is_answered_once_under_its_item_and_not_before_it_was_given() -> None:
    story = studio()
    answer = {"note": "N1", "text": "Repainted."}
    assert story.codes("note.answered", SCENE, answer, TEN) == {Code.UNKNOWN}
    story.tell("note.given", SCENE, given(), at=TEN)
    reasons = story.refused("note.answered", "KESTREL-1/2", answer, NINE)
    assert {reason.code for reason in reasons} == {Code.CONTRADICTION, Code.TIME_ORDER}
    story.tell("note.answered", SCENE, answer, at=ELEVEN)
    assert story.codes("note.answered", SCENE, answer, NOON) == {Code.CONTRADICTION}


def test_an_answer_of_another_department_than_was_asked_is_marked() -> None:
    for department, marks in (("animation", ("answered-by-another",)), ("layout", ()), (None, ())):
        story = studio()
        story.tell("note.given", SCENE, {**given(), "to": "layout"}, at=TEN)
        by = {} if department is None else {"department": department}
        answered = story.tell("note.answered", SCENE, {"note": "N1", **by}, at=ELEVEN)
        assert story.marks(answered) == marks
