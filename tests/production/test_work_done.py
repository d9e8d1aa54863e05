"""What a take came to when it ended stays; a change of the item changes work not yet done alone."""

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from service.planning.board.board import make_board
from service.planning.compare.impact import compare
from service.planning.compare.pricing import works_between
from service.planning.plan.schedule import schedule
from service.planning.plan.standing import Standings
from service.production.account import AccountRow, account
from service.production.state import Node, State, item_of, visit_of
from service.production.work import work_of_take_e4
from service.vocabulary.instants import US_PER_MIN, format_instant
from tests.production.random_logs import LOGS, furnished, tell_at_random
from tests.properties import tried
from tests.telling import ROUTE, Story, studio

SCENE, EPISODE = "KESTREL-1/1", "KESTREL-1"
EIGHT, NINE, TEN, ELEVEN, NOON, THREE = (
    f"2031-03-04T{hour:02d}:00:00Z" for hour in (8, 9, 10, 11, 12, 15)
)
LONGER = {"frames": 160, "drawings": 80}
RATES = {"layout": "40", "animation": "12.50", "paint": "2", "camera": "1", "background": "100"}


def works(story: Story, item: str, department: str) -> list[int]:
    """The work of each take of a visit, in ten-thousandths."""
    record = item_of(story.state, item)
    assert record is not None
    takes = visit_of(story.state, item, department).takes
    return [work_of_take_e4(story.state, record, department, take) for take in takes]


def redone() -> Story:
    """A scene of five feet whose animation was redone by half and handed off again."""
    story = studio()
    story.tell("rate.set", "KESTREL", {"currency": "EUR", "from_on": "2031-01-01", "rates": RATES})
    story.desk(SCENE, "layout", "animation", start=EIGHT, end=NINE)
    story.call("R1", SCENE, "animation", "character", at=TEN)
    story.desk(SCENE, "animation", start=TEN, end=ELEVEN)
    return story


def costs(story: Story) -> list[tuple[str | None, int, str]]:
    rows = account(story.state, story.state.retakes)
    return [(row.department, row.work_e4, str(row.cost)) for row in rows]


def test_a_retime_leaves_what_was_handed_off_and_what_it_cost() -> None:
    story = redone()
    assert works(story, SCENE, "animation") == [50_000, 25_000]
    assert costs(story) == [("animation", 25_000, "31.25")]
    story.tell("scene.retimed", SCENE, LONGER, at=NOON)
    assert works(story, SCENE, "animation") == [50_000, 25_000]
    assert costs(story) == [("animation", 25_000, "31.25")]
    # what is not begun follows it: forty drawings more
    assert works(story, SCENE, "paint") == [800_000]


def test_a_take_on_a_desk_and_one_that_waits_follow_a_retime() -> None:
    story = redone()
    story.desk(SCENE, "paint", start=ELEVEN)
    story.call("R2", SCENE, "animation", "character", at="2031-03-04T11:30:00Z")
    story.tell("scene.retimed", SCENE, LONGER, at=NOON)
    assert works(story, SCENE, "animation") == [50_000, 25_000, 50_000]
    # the paint was taken back from its desk before: that take stays what it was
    assert works(story, SCENE, "paint")[0] == 400_000


def test_a_hand_off_told_late_is_counted_by_the_length_of_its_time() -> None:
    story = redone()
    story.desk(SCENE, "paint", start=ELEVEN)
    story.tell("scene.retimed", SCENE, LONGER, at=NOON)
    assert works(story, SCENE, "paint") == [800_000]
    story.tell("hand-off.made", SCENE, {"department": "paint"}, at="2031-03-04T11:45:00Z")
    assert works(story, SCENE, "paint") == [400_000]


def test_work_behind_a_retime_is_counted_by_the_new_length_and_stays_by_the_next() -> None:
    story = redone()
    story.tell("scene.retimed", SCENE, LONGER, at=NOON)
    story.desk(SCENE, "paint", start=NOON, end=THREE)
    story.tell("scene.retimed", SCENE, {"frames": 40, "drawings": 20}, at=THREE)
    assert works(story, SCENE, "paint") == [800_000]


def test_a_hand_off_that_was_refused_keeps_what_it_had_cost() -> None:
    story = redone()
    refusal = {"department": "paint", "sender": "animation", "share": 0.5}
    story.tell("hand-off.refused", SCENE, refusal, at=NOON)
    assert costs(story) == [("animation", 25_000, "31.25")]
    story.tell("scene.retimed", SCENE, LONGER, at=THREE)
    assert costs(story) == [("animation", 25_000, "31.25")]
    # half of a half is done again, at the new length
    assert works(story, SCENE, "animation")[1] == 25_000


def cut_in_feet() -> Story:
    """A show whose board and cutting count feet; one of two scenes is cut."""
    departments: list[dict[str, Any]] = [
        {**one, "unit": "feet"} if one["department"] in {"storyboard", "cutting"} else one
        for one in ROUTE["departments"]
    ]
    story = studio(scenes=2, episodes=(EPISODE,), route={**ROUTE, "departments": departments})
    for scene in ("KESTREL-1/1", "KESTREL-1/2"):
        for department in ("layout", "background", "animation", "paint", "camera"):
            story.desk(scene, department, start=EIGHT, end=NINE)
    story.desk(EPISODE, "cutting", start=TEN, end=ELEVEN)
    return story


def test_an_episodes_own_work_stays_what_it_came_to() -> None:
    for type_, scene, data in (
        ("scene.retimed", SCENE, LONGER),
        ("scene.omitted", "KESTREL-1/2", {}),
        ("scene.listed", "KESTREL-1/3", {"frames": 80}),
    ):
        story = cut_in_feet()
        assert works(story, EPISODE, "cutting") == [100_000]
        story.tell(type_, scene, data, at=NOON)
        assert works(story, EPISODE, "cutting") == [100_000], type_
    story.call("R1", EPISODE, "cutting", "character", at=THREE, share=1)
    assert works(story, EPISODE, "cutting") == [100_000, 150_000]


def test_what_stands_before_the_scenes_made_those_listed_afterwards_too() -> None:
    story = cut_in_feet()
    assert works(story, EPISODE, "storyboard") == [100_000]
    story.tell("scene.listed", "KESTREL-1/3", {"frames": 80}, at=NOON)
    assert works(story, EPISODE, "storyboard") == [150_000]
    story.tell("scene.retimed", SCENE, LONGER, at=THREE)
    assert works(story, EPISODE, "storyboard") == [150_000]


FURNISHED = furnished()


@tried(15)
@given(LOGS, st.integers(0, 5), st.integers(1, 400))
def test_a_retime_changes_work_not_yet_done_alone(seeds: list[int], of: int, frames: int) -> None:
    """Account, prices, impact and what is shown of visits agree about it."""
    story = Story()
    story.state, story.events = FURNISHED.state, list(FURNISHED.events)
    tell_at_random(story, seeds)
    before = story.state
    shown = [name for name, scene in before.scenes.items() if not scene.omitted]
    if not shown:
        return
    scene = shown[of % len(shown)]
    last_us = max(max(event.time_us, event.recorded_us) for event in story.events)
    story.now = format_instant(last_us + US_PER_MIN)
    story.tell("scene.retimed", scene, {"frames": frames})
    after = story.state
    assert ended(after) == ended(before)
    paid = {code for code in before.retakes if not open_takes(before, code)}
    assert rows(after, paid) == rows(before, paid)
    episode = before.scenes[scene].episode
    undone = {
        department
        for item in (scene, episode)
        for department in before.scenes[scene].route.departments
        if visit_of(before, item, department).current.ended_us < 0
    }
    assert set(works_between(before, after)) <= undone
    at_min = last_us // US_PER_MIN + 1
    plans = [schedule(make_board(state), at_min) for state in (before, after)]
    assert {added.department for added in compare(*plans).departments} <= undone
    standings = Standings.of(plans[1])
    for item in (scene, episode):
        record = item_of(after, item)
        assert record is not None
        for visit in standings.visits(item):
            take = visit_of(after, item, visit.department).current
            assert visit.work_e4 == work_of_take_e4(after, record, visit.department, take)


def ended(state: State) -> dict[tuple[Node, int], int]:
    """What each take that ended came to."""
    found = {}
    for item, visits in state.visits.items():
        record = item_of(state, item)
        assert record is not None
        for department, visit in visits.items():
            for take in visit.takes:
                if take.ended_us >= 0:
                    work_e4 = work_of_take_e4(state, record, department, take)
                    found[(item, department), take.number] = work_e4
    return found


def open_takes(state: State, code: str) -> bool:
    return any(
        take.ended_us < 0 and any(retake == code for retake, _ in take.shares)
        for step in state.retakes[code].reach
        for take in visit_of(state, *step.node).takes
    )


def rows(state: State, codes: set[str]) -> list[AccountRow]:
    return [row._replace(retake=None) for row in account(state, sorted(codes))]  # type: ignore[arg-type]  # only what is counted
