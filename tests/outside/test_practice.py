"""What the service computes of a line posed by rules of thumb of the trade: paces and loads.

Each rule is common practice, no source: a board in 2 to 3 weeks a half hour; layout in about two
weeks, at least 6 scenes an artist-day, about twice that for a fast artist; about 200 scenes an
episode and about 50 drawings a scene, of which the in-betweener draws half; start to finish about
three months, an episode entering every week. The rule is recorded as facts; what follows from it is
counted by hand beside each check and held against the plan. So these checks hold that the plan
agrees with the arithmetic of a line that was posed by the rules. They are no evidence that real
lines keep to them.
"""

from collections import Counter
from functools import cache
from itertools import pairwise

import pytest

from service.planning.board.board import make_board
from service.planning.compare.impact import DepartmentImpact, compare
from service.planning.plan.schedule import Schedule, date_of
from service.vocabulary.quantities import ONE_E4
from tests.outside import weekly_line
from tests.outside.posed_line import (
    ALL,
    DAY_MIN,
    Desk,
    crew,
    day,
    episode,
    finish_min,
    opened,
    plan_of,
    start_min,
)

SCENES = 200
DRAWINGS = 50
WEEK_DAYS = 5

# --- boards ----------------------------------------------------------------------------------

BOARD = (Desk("storyboard", {}, "episode", "episodes"),)


def boards(weeks: int, artists: int, episodes: int) -> Schedule:
    story = opened(BOARD)
    crew(story, "storyboard", artists, 1 / WEEK_DAYS)
    for number in range(1, episodes + 1):
        story.tell(
            "episode.opened",
            f"KESTREL-{number}",
            {"title": f"Number {number}", "difficulty": {"storyboard": weeks}},
        )
    return plan_of(story)


@pytest.mark.parametrize("weeks", [2, 3])
def test_a_board_begun_on_a_monday_is_done_on_the_last_day_of_its_weeks(weeks: int) -> None:
    """Common practice, no source: a board takes 2 to 3 weeks a half hour.

    A day off in the third week puts the end of three weeks on the Monday behind.
    """
    plan = boards(weeks, artists=1, episodes=2)
    done = [plan.plan.finish[plan.board.frame.row_of[f"KESTREL-{n}", "storyboard"]] for n in (1, 2)]
    dates = [date_of(plan, int(finish)) for finish in done]
    assert dates == [day(weeks * WEEK_DAYS - 1), day(2 * weeks * WEEK_DAYS - 1)]
    assert str(dates[0]) == {2: "2031-01-17", 3: "2031-01-27"}[weeks]


@pytest.mark.parametrize("weeks", [2, 3])
def test_an_episode_a_week_takes_as_many_board_artists_as_a_board_takes_weeks(weeks: int) -> None:
    """Common practice, no source: a board takes 2 to 3 weeks and an episode enters every week."""
    for artists, weeks_in_all in ((weeks, 12), (weeks - 1, 12 * weeks // (weeks - 1))):
        plan = boards(weeks, artists, episodes=12)
        nodes = [(f"KESTREL-{number}", "storyboard") for number in range(1, 13)]
        last_min = max(finish_min(plan, node) for node in nodes)
        assert last_min == weeks_in_all * WEEK_DAYS * DAY_MIN
        assert {finish_min(plan, n) - start_min(plan, n) for n in nodes} == {
            weeks * WEEK_DAYS * DAY_MIN
        }


# --- layout ----------------------------------------------------------------------------------

LAYOUT = (Desk("layout", {}),)


def layouts(artists: int, rate: float) -> tuple[Schedule, list[int]]:
    """The plan of an episode's layouts, and when each is done."""
    story = opened(LAYOUT)
    crew(story, "layout", artists, rate)
    scenes = episode(story, 1, SCENES)
    plan = plan_of(story)
    return plan, sorted(finish_min(plan, (scene, "layout")) for scene in scenes)


def test_four_layout_artists_at_the_least_clear_an_episode_in_two_weeks_and_three_do_not() -> None:
    """Common practice, no source: 200 scenes, about two weeks, at least 6 scenes an artist-day.

    At 6 a day a scene takes 80 minutes. Four artists have 50 each: 4,000 minutes, 8 days and 160
    minutes. Three have 67: 5,360 minutes, 11 days and 80 minutes.
    """
    two_weeks_min = 2 * WEEK_DAYS * DAY_MIN
    _, four = layouts(4, 6)
    assert four[-1] == 8 * DAY_MIN + 160 < two_weeks_min
    _, three = layouts(3, 6)
    assert three[-1] == 11 * DAY_MIN + 80 > two_weeks_min


def test_each_layout_artist_hands_off_six_scenes_on_every_full_day() -> None:
    """Common practice, no source: at least 6 scenes an artist-day."""
    plan, _ = layouts(4, 6)
    done = Counter(date_of(plan, finish) for finish in plan.plan.finish.tolist())
    assert [done[day(number)] for number in range(9)] == [24] * 8 + [SCENES - 8 * 24]


def test_a_fast_layout_artist_is_worth_two() -> None:
    """Common practice, no source: a fast artist does about twice the least, so 12 scenes a day.

    One at 12 a day and two at 6 have as many done at the end of every day, and end together: after
    200 times 40 minutes, 16 days and 320 minutes.
    """
    _, fast = layouts(1, 12)
    _, two = layouts(2, 6)
    assert fast[-1] == two[-1] == 16 * DAY_MIN + 320
    for number in range(1, 17):
        by_then = [sum(done <= number * DAY_MIN for done in either) for either in (fast, two)]
        assert by_then == [12 * number] * 2


def test_an_artist_who_becomes_fast_halves_what_is_left() -> None:
    """Common practice, no source: the least is 6 scenes a day, a fast artist does twice that.

    30 scenes in the first week; the other 170 at 12 a day take 14 days and 2 scenes of 40 minutes.
    """
    story = opened(LAYOUT)
    crew(story, "layout", 1, 6)
    crew(story, "layout", 1, 12, from_on=day(WEEK_DAYS))
    scenes = episode(story, 1, SCENES)
    plan = plan_of(story)
    done = sorted(finish_min(plan, (scene, "layout")) for scene in scenes)
    assert sum(finish <= WEEK_DAYS * DAY_MIN for finish in done) == 30
    assert done[-1] == (WEEK_DAYS + 14) * DAY_MIN + 80


# --- drawings --------------------------------------------------------------------------------

DRAWN = (
    Desk("animation", {}, unit="feet"),
    Desk("clean-up", {"animation": ALL}, unit="drawings", drawings_part=0.5),
    Desk("in-between", {"clean-up": ALL}, unit="drawings", drawings_part=0.5),
    Desk("ink-and-paint", {"in-between": ALL}, unit="drawings"),
)
RATES = {"animation": 10, "clean-up": 25, "in-between": 25, "ink-and-paint": 100}


def added(story_before: Schedule, story_after: Schedule) -> dict[str, DepartmentImpact]:
    return {row.department: row for row in compare(story_before, story_after).departments}


def test_half_of_a_scenes_drawings_are_the_in_betweeners() -> None:
    """Common practice, no source: about 50 drawings a scene, half of them the in-betweener's.

    25 drawings at 25 a day keep either a day; a painter has all 50, at 100 a day half a day. Ten
    drawings called back from clean-up are five for either, and ten for the painter.
    """
    story = opened(DRAWN)
    for name, rate in RATES.items():
        crew(story, name, 1, rate)
    (scene,) = episode(story, 1, 1, frames=160, drawings=DRAWINGS, levels=3)
    plan = plan_of(story)
    took = {
        name: finish_min(plan, (scene, name)) - start_min(plan, (scene, name)) for name in RATES
    }
    assert took == {"animation": 480, "clean-up": 480, "in-between": 480, "ink-and-paint": 240}
    for number, name in enumerate(RATES):
        at = f"{day(number)}T10:00:00Z"
        story.now = f"{day(number)}T16:00:00Z"
        story.desk(scene, name, start=at, end=story.now)
    before = plan_of(story)
    story.call("R1", scene, "clean-up", "character", at=story.now, drawings=10)
    added_work = added(before, plan_of(story))
    assert {name: row.added_work_e4 / ONE_E4 for name, row in added_work.items()} == {
        "clean-up": 5,
        "in-between": 5,
        "ink-and-paint": 10,
    }


def test_an_episode_of_200_scenes_is_10000_drawings_and_200_days_of_in_betweening() -> None:
    """Common practice, no source: about 200 scenes of about 50 drawings, half of them in-betweens.

    At 25 drawings a day 5,000 in-betweens are 200 artist-days; at 100 a day 10,000 are 100.
    """
    story = opened(DRAWN)
    for name, rate in RATES.items():
        crew(story, name, 1, rate)
    before = plan_of(story)
    episode(story, 1, SCENES, frames=158, drawings=DRAWINGS)
    rows = added(before, plan_of(story))
    work = {name: row.added_work_e4 / ONE_E4 for name, row in rows.items()}
    assert work["ink-and-paint"] == SCENES * DRAWINGS == 10_000
    assert work["clean-up"] == work["in-between"] == 5_000
    days = {name: (row.added_artist_days_e4 or 0) / ONE_E4 for name, row in rows.items()}
    assert (days["in-between"], days["ink-and-paint"]) == (200, 100)


# --- a half hour from start to finish ----------------------------------------------------------

EPISODES = 16


@cache
def whole_line() -> Schedule:
    """An episode a week, handed on as a whole by each department, with the usual share redone."""
    story = weekly_line.line_story(episodes=EPISODES, redone=True, whole=True)
    return weekly_line.planned(make_board(story.state))


def spans() -> list[tuple[int, int]]:
    """By episode, from the script's start to delivery, in the line's working minutes."""
    plan = whole_line()
    names = [weekly_line.episode(number) for number in range(1, EPISODES + 1)]
    return [
        (weekly_line.start_min(plan, name, "story"), weekly_line.finish_min(plan, name, "mix"))
        for name in names
    ]


def test_a_half_hour_takes_three_months_and_one_is_delivered_every_week() -> None:
    """Common practice, no source: start to finish about three months, thirteen weeks.

    What is held is arithmetic: twelve departments stand one behind another on the characters' way.
    A script takes 5 days and a board 14.4, cutting 4.4, the mix 2, and each of the others is given
    the crew that does an episode in 3.5 to 4.5 days and hands it on whole. That is 60 days, to
    which waiting for the week's turn adds, so that the plan must come to about thirteen weeks
    (within a tenth) and to a delivery every week.
    """
    week_min = weekly_line.WEEK_MIN
    delivered = [end for _, end in spans()]
    assert [b - a for a, b in pairwise(delivered)] == [week_min] * (EPISODES - 1)
    weeks = [(end - start) / week_min for start, end in spans()]
    assert weeks == pytest.approx([13] * EPISODES, rel=0.1)


def test_a_dozen_episodes_are_in_the_line_once_it_is_full() -> None:
    """Common practice, no source: three months an episode and one a week make a dozen in flight.

    What is held is Little's law on the line above: 13 weeks and one a week make 13 in it, the one
    that comes and the one that goes aside.
    """
    story = spans()
    full_from, until = story[0][1], story[-1][0]
    assert full_from < until
    for at_min in range(full_from, until, weekly_line.DAY_MIN):
        assert sum(start <= at_min < end for start, end in story) == pytest.approx(13, abs=1)


def test_a_crew_too_small_for_an_episode_a_week_sets_the_pace_of_the_line() -> None:
    """Common practice, no source: every department has to keep the same pace.

    Eight painters at 100 drawings a day need 12.5 days for the 10,000 of an episode, and the line
    delivers one in 12.5 days then, whatever the other departments could do.
    """
    line = weekly_line.line_story(episodes=6)
    line.tell("crew.set", "studio", weekly_line.crew("ink-and-paint", 8, 100))
    plan = weekly_line.planned(make_board(line.state))
    names = [weekly_line.episode(number) for number in range(1, 7)]
    delivered = [weekly_line.finish_min(plan, name, "mix") for name in names]
    # hand-offs fall on whole minutes and scenes are not all of one length, hence a hundredth
    assert (delivered[-1] - delivered[1]) / 4 / DAY_MIN == pytest.approx(12.5, rel=0.01)
