"""The plan of a state: who is first, what a hold and a stoppage do, gates, margins and float.

One artist a department, 9:00 to 17:00 in Lisbon (UTC in March), from Monday 3 March 2031; a scene
is half a day of layout, one of background, one of animation (5 feet at 5 a day), two of paint (40
drawings at 20 a day) and a quarter of camera.
"""

from datetime import date

import pytest

from service.planning.board.board import make_board
from service.planning.plan.gates import gate_standing
from service.planning.plan.schedule import (
    Schedule,
    Supposition,
    date_of,
    float_workdays,
    load_e4,
    projected_min,
    schedule,
    suppositions,
)
from service.vocabulary.instants import US_PER_MIN, format_min, parse_instant
from tests.telling import Story, studio

ONE, TWO = "KESTREL-1/1", "KESTREL-1/2"


@pytest.fixture
def story() -> Story:
    story = studio(scenes=2)
    story.now = "2031-03-03T09:00:00Z"
    return story


def _plan(story: Story, now: str = "2031-03-03T09:00:00Z") -> Schedule:
    return schedule(make_board(story.state), parse_instant(now) // US_PER_MIN)


def _span(plan: Schedule, item: str, department: str) -> tuple[str, str]:
    row = plan.board.frame.row_of[item, department]
    return format_min(int(plan.plan.start[row])), format_min(int(plan.plan.finish[row]))


def test_a_scene_passes_the_line(story: Story) -> None:
    plan = _plan(story)
    assert _span(plan, ONE, "layout") == ("2031-03-03T09:00:00Z", "2031-03-03T13:00:00Z")
    assert _span(plan, TWO, "layout") == ("2031-03-03T13:00:00Z", "2031-03-03T17:00:00Z")
    # across the night: what is left at closing is done the next morning
    assert _span(plan, ONE, "animation") == ("2031-03-03T13:00:00Z", "2031-03-04T13:00:00Z")
    assert _span(plan, ONE, "paint") == ("2031-03-04T13:00:00Z", "2031-03-06T13:00:00Z")
    assert _span(plan, ONE, "camera") == ("2031-03-06T13:00:00Z", "2031-03-06T15:00:00Z")


def test_put_first_goes_before_priority_and_priority_before_the_delivery_date(
    story: Story,
) -> None:
    def first() -> str:
        plan = _plan(story)
        row_of = plan.board.frame.row_of
        starts = {
            item: int(plan.plan.start[row_of[item, "layout"]])
            for item in plan.board.frame.items
            if (item, "layout") in row_of
        }
        return min(starts, key=lambda item: starts[item])

    assert first() == ONE
    story.tell("gate.set", "KESTREL-2", {"gate": "delivery", "due_on": "2031-04-01"})
    assert first() == "KESTREL-2/1"
    story.tell("priority.set", "KESTREL-1", {"priority": 1})
    assert first() == ONE
    story.tell("priority.set", TWO, {"priority": 2})
    assert first() == TWO
    story.tell("visit.put-first", "KESTREL-2/2", {"department": "layout"})
    assert first() == "KESTREL-2/2"
    story.tell("visit.put-first", "KESTREL-2/1", {"department": "layout"})
    assert first() == "KESTREL-2/1"  # the latest order


def test_a_must_fix_goes_before_what_is_due_the_same_day(story: Story) -> None:
    story.now = "2031-03-03T17:00:00Z"
    story.desk(TWO, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    call = {
        "retake": "R1",
        "kind": "correction",
        "urgency": "must-fix",
        "back_to": "layout",
        "strands": ["character"],
        "share": 1,
    }
    story.tell("retake.called", TWO, call)
    plan = _plan(story, "2031-03-04T09:00:00Z")
    assert _span(plan, TWO, "layout")[0] == "2031-03-04T09:00:00Z"
    assert _span(plan, ONE, "layout")[0] == "2031-03-04T13:00:00Z"


def test_a_held_scene_waits_until_the_day_its_answer_is_due_is_over(story: Story) -> None:
    story.tell("scene.held", ONE, {"owes": "client", "by_on": "2031-03-05"})
    assert _span(_plan(story), ONE, "layout")[0] == "2031-03-06T09:00:00Z"
    # overdue, it is taken to be freed in the next minute
    late = _plan(story, "2031-03-07T10:00:00Z")
    assert _span(late, ONE, "layout")[0] >= "2031-03-07T10:01:00Z"
    story.tell("scene.freed", ONE)
    assert _span(_plan(story), ONE, "layout")[0] == "2031-03-03T09:00:00Z"


def test_a_stoppage_is_time_not_worked_until_it_is_expected_to_end(story: Story) -> None:
    story.tell(
        "department.stopped",
        "studio",
        {"department": "layout", "expected_end_at": "2031-03-04T12:00:00Z"},
    )
    assert _span(_plan(story), ONE, "layout") == ("2031-03-04T12:00:00Z", "2031-03-04T16:00:00Z")
    late = _plan(story, "2031-03-05T10:00:00Z")
    assert _span(late, ONE, "layout")[0] == "2031-03-05T10:01:00Z"


def test_a_stoppage_whose_end_nobody_knows_is_taken_to_last_for_the_day(story: Story) -> None:
    stopped = story.tell("department.stopped", "studio", {"department": "layout"})
    assert story.marks(stopped) == ("end-unknown",)
    plan = _plan(story)
    assert _span(plan, ONE, "layout") == ("2031-03-04T09:00:00Z", "2031-03-04T13:00:00Z")
    assert suppositions(plan.state, plan.now_min) == {
        "layout": Supposition(
            "layout",
            parse_instant(story.now),
            -1,
            parse_instant("2031-03-04T00:00:00Z") // US_PER_MIN,
        )
    }
    # the next morning it still does not work, and so on
    late = _plan(story, "2031-03-05T10:00:00Z")
    assert _span(late, ONE, "layout")[0] == "2031-03-06T09:00:00Z"
    data = {"department": "layout", "expected_end_at": "2031-03-05T11:00:00Z"}
    story.now = "2031-03-05T10:00:00Z"
    story.tell("department.stopped", "studio", data)
    assert _span(_plan(story, story.now), ONE, "layout")[0] == "2031-03-05T11:00:00Z"
    assert len(story.state.stoppages["layout"]) == 1
    story.tell("department.resumed", "studio", {"department": "layout"})
    assert suppositions(story.state, parse_instant(story.now) // US_PER_MIN) == {}


def test_what_is_on_a_desk_has_its_remainder_and_at_least_a_minute(story: Story) -> None:
    story.tell("work.started", ONE, {"department": "layout"}, at="2031-03-03T09:00:00Z")
    midway = _plan(story, "2031-03-03T11:00:00Z")
    row = midway.board.frame.row_of[ONE, "layout"]
    assert _span(midway, ONE, "layout")[1] == "2031-03-03T13:00:00Z"
    assert load_e4(midway, row) == 5_000  # half of the scene
    over = _plan(story, "2031-03-04T10:00:00Z")
    assert _span(over, ONE, "layout")[1] == "2031-03-04T10:01:00Z"


def test_a_crew_that_grows_by_date_and_one_that_there_never_was(story: Story) -> None:
    crew = {
        "department": "layout",
        "artists": 2,
        "units_per_artist_day": 4,
        "minutes_per_artist_day": 480,
        "from_on": "2031-03-04",
    }
    story.tell("crew.set", "studio", crew)
    plan = _plan(story, "2031-03-04T09:00:00Z")
    spans = [_span(plan, item, "layout") for item in (ONE, TWO)]
    assert spans == [("2031-03-04T09:00:00Z", "2031-03-04T11:00:00Z")] * 2
    story.tell("crew.set", "studio", {**crew, "artists": 0})
    plan = _plan(story, "2031-03-04T09:00:00Z")
    projected = projected_min(plan, "KESTREL-1", "delivery")
    assert date_of(plan, projected) is None
    standing = gate_standing(plan, "KESTREL-1", "delivery")
    assert (standing.projected_on, standing.margin_workdays) == (None, None)
    assert standing.date_holds is False


def test_gates_by_first_takes_and_by_final_ones(story: Story) -> None:
    story.now = "2031-03-20T17:00:00Z"
    for item in (ONE, TWO):
        for department in ("layout", "background", "animation", "paint", "camera"):
            story.desk(item, department, start="2031-03-10T09:00:00Z", end="2031-03-11T17:00:00Z")
    call = {
        "retake": "R1",
        "kind": "retake",
        "urgency": "should-fix",
        "back_to": "camera",
        "strands": ["character"],
        "share": 1,
    }
    story.tell("retake.called", ONE, call)
    plan = _plan(story, "2031-03-21T09:00:00Z")
    # rough cut takes first takes: the eleventh, whatever camera does anew
    assert gate_standing(plan, "KESTREL-1", "rough-cut").projected_on == date(2031, 3, 11)
    # a quarter day of camera, a day of cutting, a day of mix from Friday the 21st, 9:00
    delivery = gate_standing(plan, "KESTREL-1", "delivery")
    assert delivery.projected_on == date(2031, 3, 25)
    assert delivery.margin_workdays == 15  # working days in (25 March, 15 April]


def test_float_is_counted_to_the_latest_finish_that_holds_the_date(story: Story) -> None:
    plan = _plan(story)
    row = plan.board.frame.row_of["KESTREL-1", "mix"]
    finish = date_of(plan, int(plan.plan.finish[row]))
    assert finish is not None
    delivery = gate_standing(plan, "KESTREL-1", "delivery")
    margin = delivery.margin_workdays
    assert finish == delivery.projected_on
    assert float_workdays(plan, row) == margin
    # before cutting, a scene's camera can slip by what its episode can, and by what others take
    camera = plan.board.frame.row_of[ONE, "camera"]
    slack = float_workdays(plan, camera)
    assert slack is not None
    assert margin is not None
    assert slack > margin


def test_a_finish_at_midnight_belongs_to_the_day_that_ends(story: Story) -> None:
    plan = _plan(story)
    midnight = parse_instant("2031-03-04T00:00:00Z") // US_PER_MIN
    assert date_of(plan, midnight) == date(2031, 3, 3)
    assert date_of(plan, midnight + 1) == date(2031, 3, 4)
