"""Overdue work, answers and stoppages show everywhere since when they are overdue."""

from typing import Any

import pytest

from tests.telling import APPROVING

from ..paper import Paper

ONE, TWO, THREE = (f"KESTREL-1/{number}" for number in (1, 2, 3))
IMP = "KESTREL:IMP"


@pytest.fixture
def lying(opened: Paper) -> Paper:
    """Two scenes on layout's desk, begun on Monday at nine and on Tuesday at three, which is now.

    Each takes half a day and the day ends at five, so the second is due on Wednesday at eleven.
    """
    opened.move_clock("2031-03-04T15:00:00Z")
    opened.desk(ONE, "layout", start="2031-03-03T09:00:00Z")
    opened.desk(TWO, "layout", start="2031-03-04T15:00:00Z")
    return opened


def visit_of(paper: Paper, scene: str, department: str = "layout") -> dict[str, Any]:
    number = scene.rpartition("/")[2]
    shown = paper.get(f"/episodes/KESTREL-1/scenes/{number}")
    return next(one for one in shown["visits"] if one["department"] == department)


def department_of(paper: Paper, name: str = "layout") -> dict[str, Any]:
    shown = paper.get("/departments")["items"]
    return next(one for one in shown if one["department"] == name)


def test_a_visit_on_a_desk_past_its_time_says_since_when(lying: Paper) -> None:
    items = lying.get("/departments/layout/tray?section=on_desk")["items"]
    since = {row["item"]: row["overdue_since_at"] for row in items}
    assert since == {ONE: "2031-03-03T13:00:00Z", TWO: None}
    one = visit_of(lying, ONE)
    assert one["overdue_since_at"] == "2031-03-03T13:00:00Z"
    # the plan has nothing better to say than the next minute
    assert one["projected_finish_at"] == "2031-03-04T15:01:00Z"
    assert visit_of(lying, ONE, "paint")["overdue_since_at"] is None
    lying.tell("hand-off.made", ONE, {"department": "layout"})
    assert visit_of(lying, ONE)["overdue_since_at"] is None


def test_it_is_overdue_from_the_end_of_its_last_working_minute_on(lying: Paper) -> None:
    for now, since in (
        ("2031-03-05T10:59:00Z", None),
        ("2031-03-05T11:00:00Z", "2031-03-05T11:00:00Z"),
        ("2031-03-09T12:00:00Z", "2031-03-05T11:00:00Z"),
    ):
        lying.move_clock(now)
        assert visit_of(lying, TWO)["overdue_since_at"] == since


def test_a_stoppage_puts_it_off(lying: Paper) -> None:
    stopped = {"department": "layout", "expected_end_at": "2031-03-04T16:00:00Z"}
    lying.tell("department.stopped", "studio", stopped)
    lying.move_clock("2031-03-04T16:30:00Z")
    lying.tell("department.resumed", "studio", {"department": "layout"})
    lying.move_clock("2031-03-06T08:00:00Z")
    # an hour and a half of Tuesday was not worked
    assert visit_of(lying, TWO)["overdue_since_at"] == "2031-03-05T12:30:00Z"


def test_a_department_says_how_many_are_overdue_and_since_when(lying: Paper) -> None:
    nothing = {"on_desk": 0, "on_desk_since_at": None, "held": 0, "held_since_at": None}
    one = nothing | {"on_desk": 1, "on_desk_since_at": "2031-03-03T13:00:00Z"}
    assert department_of(lying)["overdue"] == one
    assert lying.get("/departments/layout/tray")["overdue"] == one
    assert department_of(lying, "paint")["overdue"] == nothing
    lying.move_clock("2031-03-05T17:00:00Z")
    assert department_of(lying)["overdue"] == one | {"on_desk": 2}


def test_a_held_scene_is_overdue_once_the_day_of_its_answer_is_over(opened: Paper) -> None:
    opened.tell("scene.held", THREE, {"owes": "client", "by_on": "2031-03-04"})
    opened.move_clock("2031-03-04T23:59:00Z")
    assert visit_of(opened, THREE)["overdue_since_at"] is None
    opened.move_clock("2031-03-05T00:00:00Z")
    since = "2031-03-05T00:00:00Z"
    assert visit_of(opened, THREE)["overdue_since_at"] == since
    # what waits for layout does not wait for the answer
    assert visit_of(opened, THREE, "animation")["overdue_since_at"] is None
    assert opened.get("/episodes/KESTREL-1/scenes/3")["hold"]["overdue_since_at"] == since
    (row,) = opened.get("/departments/layout/tray?section=held")["items"]
    assert (row["overdue_since_at"], row["hold"]["overdue_since_at"]) == (since, since)
    assert department_of(opened)["overdue"] == {
        "on_desk": 0,
        "on_desk_since_at": None,
        "held": 1,
        "held_since_at": since,
    }
    opened.tell("scene.freed", THREE)
    assert visit_of(opened, THREE)["overdue_since_at"] is None


def test_a_hold_counts_where_a_visit_of_its_scene_lies_on_a_desk(lying: Paper) -> None:
    lying.tell("scene.held", TWO, {"owes": "client", "by_on": "2031-03-04"})
    lying.move_clock("2031-03-05T00:00:00Z")
    one = {"on_desk": 1, "on_desk_since_at": "2031-03-03T13:00:00Z"}
    held = {"held": 1, "held_since_at": "2031-03-05T00:00:00Z"}
    assert department_of(lying)["overdue"] == one | held
    assert lying.get("/departments/layout/tray")["overdue"] == one | held
    # where nothing of it lies, nobody is held up by the answer yet
    assert department_of(lying, "paint")["overdue"]["held"] == 0
    # its own time on the desk is another matter
    lying.move_clock("2031-03-05T11:00:00Z")
    assert department_of(lying)["overdue"] == one | {"on_desk": 2} | held
    lying.tell("scene.freed", TWO)
    assert department_of(lying)["overdue"]["held"] == 0


def test_an_answer_that_was_asked_for_is_overdue(paper: Paper) -> None:
    paper.open(3, ("KESTREL-1",), APPROVING)
    paper.tell("element.listed", IMP, {"kind": "cast", "drawings": 4}, who="office")
    paper.tell("element.used", IMP, {"scenes": [ONE]}, who="office")
    paper.move_clock("2031-03-03T10:00:00Z")
    paper.desk(IMP, "design", start="2031-03-03T09:00:00Z", end=paper.now)
    paper.tell("approval.asked", IMP, {"of": "broadcaster"}, who="office")

    def shown() -> tuple[Any, Any]:
        (element,) = paper.get("/shows/KESTREL/elements?approval=asked")["items"]
        *_, visit = element["visits"]
        return visit["overdue_since_at"], element["approval"]["overdue_since_at"]

    paper.move_clock("2031-03-06T09:59:00Z")
    assert shown() == (None, None)
    # three working days from Monday at ten
    paper.move_clock("2031-03-06T10:00:00Z")
    assert shown() == ("2031-03-06T10:00:00Z",) * 2
    paper.tell("approval.given", IMP, {"by": "broadcaster"}, who="producer")
    given = paper.get("/shows/KESTREL/elements/IMP")["approval"]
    assert given["overdue_since_at"] is None


def test_a_stoppage_past_its_expected_end_is_overdue(opened: Paper) -> None:
    stopped = {"department": "camera", "expected_end_at": "2031-03-04T09:00:00Z"}
    opened.tell("department.stopped", "studio", stopped)
    opened.move_clock("2031-03-04T08:59:00Z")
    assert department_of(opened, "camera")["stopped"]["overdue_since_at"] is None
    opened.move_clock("2031-03-05T09:00:00Z")
    late = department_of(opened, "camera")["stopped"]
    assert late["overdue_since_at"] == "2031-03-04T09:00:00Z"


def test_what_a_delivery_waits_for_says_since_when_it_is_overdue(lying: Paper) -> None:
    for scene in (TWO, THREE):
        lying.tell("scene.omitted", scene)
    waits_on = lying.get("/episodes/KESTREL-1")["waits_on"]
    assert (waits_on["item"], waits_on["overdue_since_at"]) == (ONE, "2031-03-03T13:00:00Z")


def test_a_take_of_a_retake_says_since_when_it_is_overdue(lying: Paper) -> None:
    call = {
        "retake": "R1",
        "kind": "retake",
        "urgency": "must-fix",
        "back_to": "layout",
        "strands": ["character"],
        "share": 1,
    }
    lying.tell("hand-off.made", ONE, {"department": "layout"})
    lying.tell("retake.called", ONE, call)
    lying.move_clock("2031-03-05T09:00:00Z")
    lying.desk(ONE, "layout", start="2031-03-05T09:00:00Z")
    lying.move_clock("2031-03-07T09:00:00Z")
    (take,) = lying.get("/retakes/R1")["takes"]
    assert take["overdue_since_at"] == "2031-03-05T13:00:00Z"


def test_nothing_of_a_delivered_episode_is_overdue(lying: Paper) -> None:
    lying.tell("episode.delivered", "KESTREL-1")
    assert visit_of(lying, ONE)["overdue_since_at"] is None
    assert department_of(lying)["overdue"]["on_desk"] == 0
