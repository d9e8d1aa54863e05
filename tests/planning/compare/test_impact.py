"""Impact: the plan with a change minus the plan without it, computed by hand beside it."""

from datetime import date

import pytest

from service.planning.board.board import advance, make_board
from service.planning.compare.impact import Impact, compare
from service.planning.plan.schedule import delivery_min, schedule
from service.production.folding import fold
from service.production.state import EMPTY, State
from service.vocabulary.instants import US_PER_MIN, format_min, parse_instant
from tests.telling import Story, studio

ONE, TWO = "KESTREL-1/1", "KESTREL-1/2"
CALL = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "must-fix",
    "back_to": "animation",
    "strands": ["character"],
    "share": 0.2,
}


def _impact(before: State, after: State, now: str) -> Impact:
    board = make_board(before)
    now_min = parse_instant(now) // US_PER_MIN
    return compare(schedule(board, now_min), schedule(advance(board, after), now_min))


@pytest.fixture
def story() -> Story:
    """Scene 1 is through camera on Friday 7 March, scene 2 through layout; the rest waits."""
    story = studio(scenes=2)
    story.now = "2031-03-10T09:00:00Z"
    for department in ("layout", "background", "animation", "paint", "camera"):
        story.desk(ONE, department, start="2031-03-05T09:00:00Z", end="2031-03-07T15:00:00Z")
    story.desk(TWO, "layout", start="2031-03-06T09:00:00Z", end="2031-03-06T13:00:00Z")
    return story


def test_an_empty_change_has_an_empty_impact(story: Story) -> None:
    impact = _impact(story.state, story.state, story.now)
    assert (impact.reopened, impact.to_look_at, impact.departments, impact.scenes) == (
        (),
        (),
        (),
        (),
    )
    for episode in impact.episodes:
        assert episode.delivery_before_on == episode.delivery_after_on
        assert episode.margin_workdays_before == episode.margin_workdays_after


def test_a_retake_of_one_scene_by_hand(story: Story) -> None:
    before = story.state
    story.tell("retake.called", ONE, CALL)
    impact = _impact(before, story.state, story.now)
    # a fifth of 5 feet and of 40 drawings; camera does the whole scene again
    assert [(v.item, v.department, v.take, v.work_e4, v.unit) for v in impact.reopened] == [
        (ONE, "animation", 2, 10_000, "feet"),
        (ONE, "paint", 2, 80_000, "drawings"),
        (ONE, "camera", 2, 10_000, "scenes"),
    ]
    assert impact.reopened[2].because == ((ONE, "animation"), (ONE, "paint"), (ONE, "camera"))
    assert [
        (d.department, d.added_work_e4, d.unit, d.added_artist_days_e4) for d in impact.departments
    ] == [
        ("animation", 10_000, "feet", 2_000),
        ("paint", 80_000, "drawings", 4_000),
        ("camera", 10_000, "scenes", 2_500),
    ]
    # must-fix: scene 1 has animation from 9:00, 96 minutes of an artist's day of 480; scene 2,
    # planned there at 9:00 for the day, starts 96 minutes later and carries that to its end
    scenes = {scene.scene: scene for scene in impact.scenes}
    two = scenes[TWO]
    assert two.finish_before_min is not None
    assert two.finish_after_min is not None
    assert two.finish_after_min - two.finish_before_min == 96
    # scene 1 was done on Friday at 15:00; now 96 minutes of animation, 192 of paint, 120 of camera
    one = scenes[ONE]
    assert one.finish_before_min is not None
    assert one.finish_after_min is not None
    assert format_min(one.finish_before_min) == "2031-03-07T15:00:00Z"
    assert format_min(one.finish_after_min) == "2031-03-10T15:48:00Z"
    # done and open again: what passed since it was done is not the retake's to answer for
    assert (one.open_before, one.open_after, one.slip_workdays) == (False, True, None)
    assert (two.open_before, two.open_after, two.slip_workdays) == (True, True, 0)


def test_every_episode_is_answered_for(story: Story) -> None:
    before = story.state
    story.tell("retake.called", ONE, {**CALL, "share": 1})
    impact = _impact(before, story.state, story.now)
    assert [episode.episode for episode in impact.episodes] == ["KESTREL-1", "KESTREL-2"]
    first, _ = impact.episodes
    assert first.due_on == date(2031, 4, 15)
    assert first.date_holds is True
    # departments are shared: what the first episode's retake takes, the second waits for
    was, will = (
        delivery_min(schedule(make_board(state), impact.now_min), "KESTREL-2")
        for state in (before, story.state)
    )
    assert was is not None
    assert will is not None
    assert will > was


def test_a_date_that_no_longer_holds(story: Story) -> None:
    story.tell("gate.set", "KESTREL-1", {"gate": "delivery", "due_on": "2031-03-18"})
    before = story.state
    story.tell("scene.held", TWO, {"owes": "client", "by_on": "2031-03-20"})
    impact = _impact(before, story.state, story.now)
    first = impact.episodes[0]
    assert first.margin_workdays_before is not None
    assert first.margin_workdays_before >= 0
    assert first.margin_workdays_after is not None
    assert first.margin_workdays_after < 0
    assert first.date_holds is False


def test_who_withdraws_one_of_two_calls_reopens_nothing(story: Story) -> None:
    story.tell("retake.called", ONE, CALL)
    story.tell("retake.called", ONE, CALL | {"retake": "R2"})
    called = story.state
    story.tell("retake.withdrawn", ONE, {"retake": "R1"})
    assert _impact(called, story.state, story.now).reopened == ()


def test_a_withdrawal_gives_back_what_the_call_took(story: Story) -> None:
    untouched = story.state
    story.tell("retake.called", ONE, CALL)
    called = story.state
    story.tell("retake.withdrawn", ONE, {"retake": "R1"})
    impact = _impact(called, story.state, story.now)
    assert impact.reopened == ()
    assert {d.department: d.added_work_e4 for d in impact.departments} == {
        "animation": -10_000,
        "paint": -80_000,
        "camera": -10_000,
    }
    assert _impact(untouched, story.state, story.now).scenes == ()
    # scene 1 was open and is done, as of Friday; that is no gain of a working day
    one = next(scene for scene in impact.scenes if scene.scene == ONE)
    assert (one.open_before, one.open_after, one.slip_workdays) == (True, False, None)
    assert one.finish_after_min == parse_instant("2031-03-07T15:00:00Z") // US_PER_MIN


def test_scenes_that_are_no_longer_planned_or_were_not_yet(story: Story) -> None:
    before = story.state
    story.tell("episode.delivered", "KESTREL-1")
    scenes = {scene.scene: scene for scene in _impact(before, story.state, story.now).scenes}
    assert (scenes[ONE].open_before, scenes[ONE].open_after) == (False, False)
    assert (scenes[TWO].open_before, scenes[TWO].open_after) == (True, True)
    assert (scenes[TWO].finish_after_min, scenes[TWO].slip_workdays) == (None, None)


def test_a_scene_that_is_omitted_or_restored(story: Story) -> None:
    before = story.state
    story.tell("scene.omitted", TWO)
    omitted = story.state
    (two,) = (one for one in _impact(before, omitted, story.now).scenes if one.scene == TWO)
    assert (two.open_before, two.open_after, two.slip_workdays) == (True, False, None)
    (two,) = (one for one in _impact(omitted, before, story.now).scenes if one.scene == TWO)
    assert (two.open_before, two.open_after, two.slip_workdays) == (False, True, None)
    assert two.finish_before_min is None


def test_episodes_delivered_in_both_are_left_out_and_one_delivered_by_the_change_is_not(
    story: Story,
) -> None:
    before = story.state
    story.tell("episode.delivered", "KESTREL-1")
    impact = _impact(before, story.state, story.now)
    assert [episode.episode for episode in impact.episodes] == ["KESTREL-1", "KESTREL-2"]
    assert impact.episodes[0].delivery_after_on == date(2031, 3, 10)
    assert impact.episodes[0].date_holds is True
    delivered = story.state
    impact = _impact(delivered, delivered, story.now)
    assert [episode.episode for episode in impact.episodes] == ["KESTREL-2"]


def test_a_scene_added_by_the_change_appears_with_no_finish_before(story: Story) -> None:
    before = story.state
    story.tell("scene.listed", "KESTREL-2/7", {"frames": 160, "drawings": 10})
    impact = _impact(before, story.state, story.now)
    added = next(scene for scene in impact.scenes if scene.scene == "KESTREL-2/7")
    assert added.finish_before_min is None
    assert added.finish_after_min is not None
    assert added.slip_workdays is None
    assert (added.open_before, added.open_after) == (False, True)
    work = {d.department: d.added_work_e4 for d in impact.departments}
    assert work["animation"] == 10 * 10_000  # 160 frames are 10 feet


def test_plans_of_different_moments_are_not_compared(story: Story) -> None:
    board = make_board(story.state)
    with pytest.raises(ValueError, match="same moment"):
        compare(schedule(board, 32_000_000), schedule(board, 32_000_001))


def test_what_is_folded_again_and_comes_to_the_same_has_no_impact(story: Story) -> None:
    """A strike folds its tail again: other objects that say the same."""
    story.tell("hook-up.declared", ONE, {"to": TWO})
    story.tell("retake.called", ONE, CALL)
    assert [look.scene for look in story.state.retakes["R1"].look_at] == [TWO]
    again = fold(EMPTY, story.unstruck())
    assert again == story.state
    impact = _impact(story.state, again, story.now)
    assert (impact.reopened, impact.to_look_at, impact.departments, impact.scenes) == (
        (),
        (),
        (),
        (),
    )
