"""Whether the line behaves as the trade says: three months an episode, one a week, layout in two.

All figures are rules of thumb, common practice, no source: a half hour takes about three months
from story to delivery and one enters every week; layout has about two weeks for it, at least 6
scenes an artist-day; a half hour has about 200 scenes. They hold give or take a third. The line is
the demo studio's, by its events and its plan, and a clean one, told at the trade's figures, where
nothing goes wrong.
"""

from datetime import date, datetime
from functools import cache
from itertools import pairwise
from statistics import mean, median

import numpy as np
import pytest

from seed.scenario import EPISODES as DEMO_EPISODES
from seed.scenario import episode_subject
from service.planning.board import Board, advance, make_board
from service.planning.schedule import date_of, projected_min, schedule
from service.production.state import visit_of
from service.production.visits import Phase
from service.production.work import elapsed_min
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.outside.weekly_line import (
    BY_NAME,
    DAY_MIN,
    EPISODES,
    LINE,
    SCENES,
    WEEK_MIN,
    Desk,
    crew,
    episode,
    finish_min,
    load_of,
    pace_days,
    planned,
    scenes_of,
    start_min,
    told_line,
)
from tests.seed.generated import bodies, final_state, generated, standing
from tests.telling import Story

THIRD = 1 / 3
MONTHS_3_WEEKS = 13
TWO_WEEKS_DAYS = 10
DEMO = [episode_subject(known.code) for known in DEMO_EPISODES]


def about(figure: float) -> object:
    """That figure, give or take a third."""
    return pytest.approx(figure, rel=THIRD)


# --- a clean line ----------------------------------------------------------------------------


@cache
def clean() -> Story:
    return told_line()


@cache
def with_returns() -> Story:
    return told_line(redone=True)


@cache
def clean_board() -> Board:
    return make_board(clean().state)


def delivered_min(board: Board) -> list[int]:
    plan = planned(board)
    return [finish_min(plan, episode(number), "mix") for number in range(1, EPISODES + 1)]


@pytest.mark.parametrize("desk", LINE, ids=lambda desk: desk.name)
def test_loads_counted_from_scenes_are_the_trades(desk: Desk) -> None:
    assert load_of(clean().state, 1, desk) == desk.load
    # each scene's work is rounded up to a ten-thousandth
    returned = pytest.approx(desk.load * (1 + desk.redone), abs=SCENES / 10_000)
    assert load_of(with_returns().state, 2, desk) == returned


def gaps_min(board: Board) -> set[int]:
    return {later - earlier for earlier, later in pairwise(delivered_min(board))}


def test_the_usual_crews_deliver_an_episode_a_week() -> None:
    assert gaps_min(clean_board()) == {WEEK_MIN}


def test_they_do_so_with_the_share_that_goes_back() -> None:
    assert gaps_min(make_board(with_returns().state)) == {WEEK_MIN}


def too_small(desk: Desk) -> int:
    """The largest crew that cannot do an episode in a week's five days."""
    return next(artists for artists in range(100) if pace_days(desk, artists + 1) <= 5)


@pytest.mark.parametrize(
    ("desk", "artists"),
    [pytest.param(desk, too_small(desk), id=desk.name) for desk in LINE if too_small(desk)],
)
def test_a_crew_that_is_too_small_sets_the_pace_of_all_behind_it(desk: Desk, artists: int) -> None:
    known = clean()
    story = Story()
    story.now, story.state, story.events = known.now, known.state, list(known.events)
    story.tell("crew.set", "studio", crew(desk.name, artists, desk.rate))
    delivered = delivered_min(advance(clean_board(), story.state))
    # the line is full by then; six gaps, because three boards come together
    gap_min = (delivered[-1] - delivered[-7]) / 6
    assert gap_min > WEEK_MIN + 10
    assert gap_min == pytest.approx(pace_days(desk, artists) * DAY_MIN, rel=0.015)


@cache
def handed_on_whole() -> Story:
    return told_line(redone=True, whole=True)


@pytest.mark.parametrize("first", ["story", "storyboard"])
def test_three_months_lie_in_handing_an_episode_on_as_a_whole(first: str) -> None:
    assert leads_weeks(handed_on_whole(), first) == about(MONTHS_3_WEEKS)


def leads_weeks(story: Story, department: str) -> float:
    """From that department to delivery, the same for every episode."""
    plan = planned(make_board(story.state))
    spans = {
        finish_min(plan, episode(number), "mix") - start_min(plan, episode(number), department)
        for number in range(1, EPISODES + 1)
    }
    assert len(spans) == 1, "the line does not hold the pace"
    return spans.pop() / WEEK_MIN


def test_half_of_the_layout_crew_clears_an_episode_in_two_weeks() -> None:
    # one enters a week and stays for two, so that two share the crew
    story = told_line(episodes=1)
    desk = BY_NAME["layout"]
    story.tell("crew.set", "studio", crew("layout", desk.artists // 2, desk.rate))
    plan = planned(make_board(story.state))
    scenes = scenes_of(1)
    begun = min(start_min(plan, scene, "layout") for scene in scenes)
    done = max(finish_min(plan, scene, "layout") for scene in scenes)
    assert len(scenes) == 200
    assert (done - begun) / DAY_MIN == about(TWO_WEEKS_DAYS)


# --- the demo's line -------------------------------------------------------------------------


def at(instant_text: str) -> datetime:
    return datetime.fromisoformat(instant_text)


@cache
def boards_begun() -> dict[str, date]:
    """By episode, the date its board was begun, by the events."""
    log = bodies()
    struck = {body["data"]["position"] for body in log if body["type"] == "event.struck"}
    begun: dict[str, date] = {}
    for body in log:
        of_board = body["data"].get("department") == "storyboard" and body["subject"] in DEMO
        if of_board and body["type"] == "work.started" and body["position"] not in struck:
            begun.setdefault(body["subject"], at(body["time"]).date())
    return begun


@cache
def deliveries() -> dict[str, date]:
    """By episode, when it was delivered, by the events; else when the plan says it will be."""
    plan = schedule(
        make_board(final_state()), parse_instant(generated()[-1].clock_at) // US_PER_MIN
    )
    known = {
        event.subject: date_of(plan, event.time_us // US_PER_MIN)
        for event in standing()
        if event.fact.TYPE == "episode.delivered"
    }
    for name in DEMO:
        if name not in known:
            known[name] = date_of(plan, projected_min(plan, name, "delivery"))
    return {name: on for name in DEMO if (on := known[name]) is not None}


def demo_leads_weeks() -> list[float]:
    return [(deliveries()[name] - boards_begun()[name]).days / 7 for name in DEMO]


def test_each_of_the_demos_episodes_takes_about_three_months() -> None:
    assert len(DEMO) == len(boards_begun()) == len(deliveries()) == 13
    delivered = [name for name in DEMO if final_state().episodes[name].delivered_us >= 0]
    assert len(delivered) >= 4
    for name, weeks in zip(DEMO, demo_leads_weeks(), strict=True):
        assert weeks == about(MONTHS_3_WEEKS), name


def test_the_demo_lies_between_scene_by_scene_and_whole_episodes() -> None:
    # with nothing wrong and each scene handed on by itself: no line with its retakes is as fast
    floor = leads_weeks(with_returns(), "storyboard")
    most = leads_weeks(handed_on_whole(), "storyboard")
    assert floor < min(demo_leads_weeks()) < max(demo_leads_weeks()) < most


def test_the_demo_holds_a_weekly_episode_with_its_retakes() -> None:
    assert len(final_state().retakes) > 300
    begun = [boards_begun()[name] for name in DEMO]
    assert {(later - earlier).days for earlier, later in pairwise(begun)} <= {6, 7, 8}
    done = [deliveries()[name] for name in DEMO]
    assert done == sorted(done)
    assert (done[-1] - done[0]).days / (len(done) - 1) == about(7)
    # nothing piles up: those that entered last take no longer, within a week, a bound of ours
    leads = demo_leads_weeks()
    assert mean(leads[-6:]) < mean(leads[:6]) + 1


def laid_out() -> list[tuple[str, int, int]]:
    """Scenes whose first layout is handed off: their name, start and hand-off in minutes."""
    state = final_state()
    takes = {name: visit_of(state, name, "layout").takes[0] for name in state.scenes}
    return [
        (name, take.started_us // US_PER_MIN, take.ended_us // US_PER_MIN)
        for name, take in takes.items()
        if take.phase is Phase.HANDED_OFF and take.started_us >= 0
    ]


def test_the_demos_layout_artists_do_about_six_scenes_a_day() -> None:
    state, day_min = final_state(), 450
    worked = [elapsed_min(state, "layout", start, end) for _, start, end in laid_out()]
    assert len(worked) > 2_000
    assert day_min / mean(worked) == about(6)
    assert day_min / median(worked) == about(6)


def test_the_demos_layout_clears_about_200_scenes_for_each_episode_of_its_two_weeks() -> None:
    done = np.array(sorted(end for *_, end in laid_out()), "datetime64[m]").astype("datetime64[D]")
    weeks = np.busday_count(done[0], done[-1]) / 5
    assert weeks > 8
    scenes_in_two_weeks = len(done) / weeks * 2
    episodes_in_two_weeks = 2  # one enters a week
    assert scenes_in_two_weeks / episodes_in_two_weeks == about(SCENES)
