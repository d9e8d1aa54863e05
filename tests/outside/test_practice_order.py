"""What the service computes of a line posed by rules of the trade: order, parting, stops, dates.

Each rule is common practice, no source: the order of departments; after layout the work parts into
background and animation and meets again at camera; one department's stop or mistake moves all that
is behind it; an air date does not move by itself. Lines are recorded as facts: a visit takes an
artist a day, and each department has one artist. What follows is counted by hand beside each check.
"""

from collections.abc import Iterable, Sequence
from datetime import date

import numpy as np
import pytest

from service.planning.compare.impact import EpisodeImpact, compare
from service.planning.plan.chain import critical_chain
from service.planning.plan.schedule import Schedule, float_workdays
from service.production.state import Node, visit_of
from tests.outside.posed_line import (
    CALENDAR,
    CHARACTER_SIDE,
    DAY_MIN,
    LINE,
    PICTURE,
    Desk,
    a_day_each,
    day,
    finish_min,
    plan_of,
    start_min,
    workdays_on,
)
from tests.telling import PRODUCER, SUPERVISOR, Story

SCENE = "KESTREL-1/1"
BEHIND_PAINT = ("ink-and-paint", "animation-check", "camera", "cutting", "mix")

# departments by the day on which a scene comes to them, with nothing in its way
ORDER = (
    ("storyboard",),
    ("timing-and-sheets",),
    ("layout",),
    ("background", "animation"),
    ("clean-up",),
    ("in-between",),
    ("ink-and-paint",),
    ("animation-check",),
    ("camera",),
    ("cutting",),
    ("mix",),
)


def at(number: int, hour: int) -> str:
    """An hour of the studio's working day of that number."""
    return f"{day(number)}T{hour:02d}:00:00Z"


def node_of(item: str, department: str) -> Node:
    """An item's visit; an episode's own where the department works by episode."""
    grain = {desk.name: desk.grain for desk in LINE}[department]
    return (item if grain == "scene" else item.partition("/")[0], department)


def moved_days(before: Schedule, after: Schedule) -> dict[Node, float]:
    """By visit, by how many working days its planned finish moves."""
    return {
        node: (finish_min(after, node) - finish_min(before, node)) / DAY_MIN
        for node in before.board.frame.row_of
        if before.plan.finish[before.board.frame.row_of[node]] >= 0
    }


def through(story: Story, item: str, departments: Iterable[str], *, first_day: int) -> int:
    """Have an item pass departments, a day at each; the day that follows."""
    number = first_day
    for number, department in enumerate(departments, first_day):
        story.now = at(number, 17)
        story.desk(item, department, start=at(number, 9), end=story.now)
    return number + 1


# --- the order of departments ----------------------------------------------------------------


@pytest.mark.parametrize(
    "desks", [LINE, LINE[::-1]], ids=["recorded in order", "recorded backwards"]
)
def test_a_scene_passes_departments_in_the_trades_order(desks: Sequence[Desk]) -> None:
    """Common practice, no source. A route says what follows what, however it is listed."""
    story = a_day_each(episodes=1, scenes=1, desks=desks)
    plan = plan_of(story)
    starts = {
        department: start_min(plan, node_of(SCENE, department)) / DAY_MIN
        for together in ORDER
        for department in together
    }
    assert starts == {
        department: number for number, together in enumerate(ORDER) for department in together
    }
    chain = [plan.board.frame.nodes[link.row][1] for link in critical_chain(plan, "KESTREL-1")]
    assert chain == [together[-1] for together in ORDER]


def test_work_out_of_that_order_is_recorded_and_marked() -> None:
    """Common practice, no source: nobody animates what is not laid out."""
    story = a_day_each(episodes=1, scenes=2)
    through(story, "KESTREL-1", ["storyboard"], first_day=0)
    after_timing = through(story, SCENE, ["timing-and-sheets"], first_day=1)
    story.now = at(after_timing, 12)
    early = story.tell("work.started", SCENE, {"department": "animation"})
    assert story.marks(early) == ("upstream-missing",)
    in_order = story.tell("work.started", SCENE, {"department": "layout"})
    assert story.marks(in_order) == ()


# --- where the work parts and meets ------------------------------------------------------------


@pytest.mark.parametrize(
    ("painting_days", "camera_on", "background_float", "character_float"),
    [
        pytest.param(1, 8, 4, 0, id="the characters are longer"),
        pytest.param(5, 8, 0, 0, id="both take as long"),
        pytest.param(9, 12, 0, 4, id="the painting is longer"),
    ],
)
def test_camera_waits_for_whichever_half_is_later(
    painting_days: int, camera_on: int, background_float: int, character_float: int
) -> None:
    """Common practice, no source: after layout the work parts and meets again at camera.

    Both halves begin on day 3; the characters pass five departments in five days.
    """
    story = a_day_each(episodes=1, scenes=0)
    work = {desk.name: 1 for desk in LINE if desk.grain == "scene"} | {"background": painting_days}
    story.tell("scene.listed", SCENE, {"frames": 16, "work": work})
    due_on = str(day(camera_on + 2))
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": due_on})
    plan = plan_of(story)
    for half in ("background", "animation"):
        assert start_min(plan, (SCENE, half)) == 3 * DAY_MIN
    assert start_min(plan, (SCENE, "camera")) == camera_on * DAY_MIN
    floats = {
        name: float_workdays(plan, plan.board.frame.row_of[SCENE, name])
        for name in ("background", *CHARACTER_SIDE, "camera")
    }
    assert floats.pop("background") == background_float
    assert floats.pop("camera") == 0
    assert set(floats.values()) == {character_float}


REACHED = {
    "background": {"background", "camera", "cutting"},
    "animation": {*CHARACTER_SIDE, "camera", "cutting"},
    "ink-and-paint": {"ink-and-paint", "animation-check", "camera", "cutting"},
    "layout": {"layout", "background", *CHARACTER_SIDE, "camera", "cutting"},
    "camera": {"camera", "cutting"},
}


@pytest.mark.parametrize("back_to", REACHED)
def test_a_mistake_moves_what_is_behind_it_and_nothing_beside_it(back_to: str) -> None:
    """Common practice, no source: one department's mistake moves everything behind it.

    A scene through camera is called back; the picture's strands leave the mix, which follows the
    sound alone, as it is.
    """
    story = a_day_each(episodes=1, scenes=2)
    number = through(story, "KESTREL-1", ["storyboard"], first_day=0)
    number = through(story, SCENE, ["timing-and-sheets", "layout", "background"], first_day=number)
    number = through(story, SCENE, [*CHARACTER_SIDE, "camera"], first_day=number)
    strands = {"background": ["background"], "layout": PICTURE, "camera": PICTURE}
    called = strands.get(back_to, ["character"])
    story.call("R1", SCENE, back_to, *called, at=story.now, share=1)
    assert {department for _, department in story.reached("R1")} == REACHED[back_to]
    takes = {
        desk.name: visit_of(story.state, SCENE, desk.name).current.number
        for desk in LINE
        if desk.grain == "scene"
    }
    again = REACHED[back_to] - {"cutting"}  # not cut before: it is only later
    assert {name for name, take in takes.items() if take == 2} == again


# --- what a stop and a mistake move --------------------------------------------------------------


def test_a_stop_of_a_week_moves_everything_behind_it_by_a_week_and_nothing_else() -> None:
    """Common practice, no source: one department's stop moves everything behind it.

    Every department keeps the same pace, a scene a day. Paint would have its first scene on day 6;
    it stops until the opening of day 11.
    """
    story = a_day_each(episodes=2, scenes=4)
    before = plan_of(story)
    assert start_min(before, (SCENE, "ink-and-paint")) == 6 * DAY_MIN
    stop = {"department": "ink-and-paint", "expected_end_at": at(11, 9)}
    story.tell("department.stopped", "studio", stop)
    after = plan_of(story)
    moved = moved_days(before, after)
    assert len(moved) == len(before.board.frame.row_of)
    for (item, department), days in moved.items():
        assert days == (5 if department in BEHIND_PAINT else 0), (item, department)
    episodes = compare(before, after).episodes
    assert [one.episode for one in episodes] == ["KESTREL-1", "KESTREL-2"]
    for one in episodes:
        assert one.delivery_before_on is not None
        assert one.delivery_after_on == workdays_on(one.delivery_before_on, 5)


def test_a_mistake_in_one_scene_moves_all_that_waits_behind_its_second_take() -> None:
    """Common practice, no source: whatever goes back takes the place of something that was due.

    Scene 2 is through; scene 1 comes to paint the next day. Scene 2 done again from paint on takes
    a day of paint, of check and of camera, and goes first, since it must be fixed.
    """
    again, waiting = "KESTREL-1/2", "KESTREL-1/1"
    story = a_day_each(episodes=2, scenes=2)
    until_paint = ["timing-and-sheets", "layout", "background", *CHARACTER_SIDE[:3]]
    number = through(story, "KESTREL-1", ["storyboard"], first_day=0)
    number = through(story, again, [*until_paint, *BEHIND_PAINT[:3]], first_day=number)
    through(story, waiting, until_paint, first_day=number)
    before = plan_of(story)
    call = {"kind": "retake", "urgency": "must-fix", "share": 1}
    story.call("R1", again, "ink-and-paint", "character", at=story.now, **call)
    moved = moved_days(before, plan_of(story))
    for department in ("ink-and-paint", "animation-check", "camera"):
        assert moved[waiting, department] == 1
    for department in ("cutting", "mix"):
        assert moved["KESTREL-1", department] == 1
    assert not [node for node, days in moved.items() if node[1] not in BEHIND_PAINT and days]


# --- air dates -------------------------------------------------------------------------------

AIR_ON = {"KESTREL-1": day(16), "KESTREL-2": day(21)}


def airing(story: Story) -> dict[str, date]:
    """The air dates that the record holds."""
    found = {}
    for name in AIR_ON:
        gate = story.state.episodes[name].gate("air")
        assert gate is not None
        found[name] = gate.due_on
    return found


def assert_only_margins_move(before: Schedule, after: Schedule) -> None:
    """Each air date is where it was set; the margin is what lies between it and the plan."""
    for one in compare(before, after).episodes:
        (air,) = (gate for gate in one.gates if gate.gate == "air")
        assert air.due_on == AIR_ON[one.episode]
        assert air.after_on is not None
        assert air.margin_workdays_after == workdays_between(air.after_on, AIR_ON[one.episode])


def workdays_between(from_on: date, to_on: date) -> int:
    """Working days in (from, to], negative where it lies before; by numpy."""
    low, high = (np.datetime64(on) + 1 for on in sorted((from_on, to_on)))
    count = int(np.busday_count(low, high, busdaycal=CALENDAR))
    return -count if to_on < from_on else count


def test_an_air_date_never_moves_by_itself() -> None:
    """Common practice, no source: an air date does not move.

    Stops, retakes, holds, further scenes and time that passes carry the plan beyond it; the date
    stays, its margin says by how much it is missed, and only somebody who sets it moves it.
    """
    story = a_day_each(episodes=2, scenes=2)
    for name, due_on in AIR_ON.items():
        gate = {"gate": "air", "due_on": str(due_on), "hard": True}
        story.tell("gate.set", name, gate)
    first = plan_of(story)
    number = through(story, "KESTREL-1", ["storyboard"], first_day=0)
    number = through(story, SCENE, ["timing-and-sheets", "layout"], first_day=number)
    before = plan_of(story)
    for type_, subject, data in (
        ("department.stopped", "studio", {"department": "camera", "expected_end_at": at(30, 9)}),
        ("scene.held", "KESTREL-2/1", {"owes": "client", "by_on": str(day(40))}),
        story.call_of("R1", SCENE, "layout", *PICTURE, share=1),
        ("scene.listed", "KESTREL-1/3", {"frames": 16, "work": {"animation": 20}}),
    ):
        story.tell(type_, subject, data)
        after = plan_of(story)
        assert airing(story) == AIR_ON
        assert_only_margins_move(before, after)
        before = after
    story.now = at(35, 12)  # time alone
    last = plan_of(story)
    assert airing(story) == AIR_ON
    assert_only_margins_move(last, last)
    margins = {one.episode: air_margin(one) for one in compare(last, last).episodes}
    assert all(margin is not None and margin < -15 for margin in margins.values())
    assert all((air_margin(one) or 0) >= 0 for one in compare(first, first).episodes)
    moved = {"gate": "air", "due_on": str(day(60)), "hard": True}
    (reason,) = story.refused("gate.set", "KESTREL-1", moved, actor=SUPERVISOR)
    assert reason.member == "/data/due_on"
    moved["reason"] = "The slot was given away."
    story.record(story.event("gate.set", "KESTREL-1", moved), actor=PRODUCER)
    assert airing(story) == {**AIR_ON, "KESTREL-1": day(60)}


def air_margin(one: EpisodeImpact) -> int | None:
    """By how many working days an episode makes its air date."""
    return next(gate.margin_workdays_after for gate in one.gates if gate.gate == "air")
