"""A line at the trade's usual figures: an episode a week enters it, and nothing goes wrong.

Loads, rates and the shares redone are rules of thumb for a half hour of 22 minutes, from memory of
the trade: common practice, no source. Crews are no rule of thumb: each is the number of artists
with which its department does an episode in a week at those rates, so that the line keeps the pace
of an episode a week by construction.
"""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

import numpy as np

from service.planning.board.board import Board
from service.planning.plan.schedule import Schedule, schedule
from service.vocabulary.instants import US_PER_MIN, instant, parse_instant
from tests.telling import Story

NOW = "2031-01-06T09:00:00Z"  # a Monday
FIRST_ON = date(2031, 1, 6)
SCENES = 200
EPISODES = 12
DAY_MIN = 480
WEEK_MIN = 5 * DAY_MIN


class Desk(NamedTuple):
    """A department: what an artist does in a day, the share that is redone, the crew."""

    name: str
    grain: str
    unit: str
    rate: float
    redone: float
    artists: int
    follows: Mapping[str, list[str]]


_B, _C, _S = "background", "character", "sound"
_ALL = [_B, _C, _S]
LINE = (
    # one script a week is what lets one episode a week into the line
    Desk("story", "episode", "episodes", 0.2, 0, 1, {}),
    # two and a half weeks
    Desk("storyboard", "episode", "episodes", 0.08, 0.15, 3, {"story": _ALL}),
    Desk("timing-and-sheets", "scene", "feet", 200, 0.05, 3, {"storyboard": _ALL}),
    Desk("layout", "scene", "scenes", 6, 0.2, 9, {"timing-and-sheets": _ALL}),
    Desk("background", "scene", "paintings", 3, 0.1, 9, {"layout": [_B]}),
    Desk("animation", "scene", "feet", 10, 0.15, 51, {"layout": [_C]}),
    Desk("clean-up", "scene", "drawings", 25, 0.1, 49, {"animation": [_C]}),
    Desk("in-between", "scene", "drawings", 30, 0.1, 41, {"clean-up": [_C]}),
    Desk("ink-and-paint", "scene", "drawings", 100, 0.1, 25, {"in-between": [_C]}),
    Desk("animation-check", "scene", "scenes", 20, 0.2, 3, {"ink-and-paint": [_C]}),
    Desk(
        *("camera", "scene", "scenes", 15, 0.25, 4),
        {"background": [_B], "animation-check": [_C]},
    ),
    Desk("cutting", "episode", "episodes", 0.25, 0.1, 1, {"camera": [_B, _C]}),
    Desk("mix", "episode", "episodes", 0.5, 0, 1, {"cutting": [_S]}),
)
BY_NAME = {desk.name: desk for desk in LINE}
HALVED = {"clean-up": 0.5, "in-between": 0.5}  # each makes half of a scene's drawings


def episode(number: int) -> str:
    return f"KESTREL-{number}"


def scenes_of(number: int) -> list[str]:
    return [f"{episode(number)}/{scene}" for scene in range(1, SCENES + 1)]


def _route(whole: bool) -> dict[str, Any]:
    departments = []
    for desk in LINE:
        follows = [
            # an episode's own visit waits for all its scenes: it hands them on together
            {"department": f"{name}-over" if _handed_whole(name, whole) else name, "strands": on}
            for name, on in desk.follows.items()
        ]
        data = {"department": desk.name, "grain": desk.grain, "unit": desk.unit}
        part = HALVED.get(desk.name, 1)
        departments.append({**data, "drawings_part": part, "follows": follows})
        if _handed_whole(desk.name, whole):
            data = {"department": f"{desk.name}-over", "grain": "episode", "unit": "episodes"}
            over = [{"department": desk.name, "strands": _ALL}]
            departments.append({**data, "follows": over})
    gates = [{"gate": "delivery", "department": "mix"}]
    return {"departments": departments, "gates": gates}


def _handed_whole(name: str, whole: bool) -> bool:
    return whole and BY_NAME[name].grain == "scene"


def crew(department: str, artists: int, rate: float) -> dict[str, Any]:
    return {
        "department": department,
        "artists": artists,
        "units_per_artist_day": rate,
        "minutes_per_artist_day": DAY_MIN,
        "from_on": "2031-01-01",
    }


def line_story(*, episodes: int = EPISODES, redone: bool = False, whole: bool = False) -> Story:
    """The line with its episodes; `redone` adds to each load the share that goes back.

    With `whole`, a department hands an episode on when all its scenes are done, not one by one.
    """
    story = Story()
    story.now = NOW
    week = ["monday", "tuesday", "wednesday", "thursday", "friday"]
    hours = {"days": week, "opens": "09:00", "closes": "17:00"}
    story.tell("show.opened", "KESTREL", {"title": "Kestrel"})
    story.tell("route.laid", "KESTREL", _route(whole))
    set_ = {"from_on": "2031-01-01", "zone": "UTC", "shifts": [hours]}
    story.tell("calendar.set", "studio", set_)
    for desk in LINE:
        story.tell("crew.set", "studio", crew(desk.name, desk.artists, desk.rate))
        if _handed_whole(desk.name, whole):
            story.tell("crew.set", "studio", crew(f"{desk.name}-over", 1, DAY_MIN))
    for number in range(1, episodes + 1):
        _tell_episode(story, number, redone)
    return story


def _tell_episode(story: Story, number: int, redone: bool) -> None:
    def harder(grain: str) -> dict[str, float]:
        return {desk.name: 1 + desk.redone for desk in LINE if redone and desk.grain == grain}

    opened = {"title": f"Number {number}", "difficulty": harder("episode")}
    story.tell("episode.opened", episode(number), opened)
    due_on = FIRST_ON + timedelta(weeks=13 + number)
    story.tell("gate.set", episode(number), {"gate": "delivery", "due_on": str(due_on)})
    listed = []
    for place, scene in enumerate(scenes_of(number)):
        data = {
            "frames": 158 + (place % 5 < 2),  # 31,680 in all
            "drawings": 50,
            "work": {"background": 0.5},  # every other scene has a painting of its own
            "difficulty": harder("scene"),
        }
        position = len(story.events) + 1 + place
        listed.append(story.event("scene.listed", scene, data, position=position))
    story.record(*listed)


def planned(board: Board) -> Schedule:
    return schedule(board, parse_instant(NOW) // US_PER_MIN)


def worked_min(at_min: int) -> int:
    """Working minutes of the line's hours from its first day until an instant within them."""
    at: datetime = instant(at_min * US_PER_MIN)
    return int(np.busday_count(FIRST_ON, at.date())) * DAY_MIN + (at.hour - 9) * 60 + at.minute


def finish_min(plan: Schedule, item: str, department: str) -> int:
    """When a visit is planned to be done, in the line's working minutes."""
    return worked_min(int(plan.plan.finish[plan.board.frame.row_of[item, department]]))


def start_min(plan: Schedule, item: str, department: str) -> int:
    """When a visit is planned to start, in the line's working minutes."""
    return worked_min(int(plan.plan.start[plan.board.frame.row_of[item, department]]))
