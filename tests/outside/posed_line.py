"""Small lines recorded as facts, for checks of practice: what the service computes by rules.

The order of departments is the trade's: boards, timing, layout; then the work parts into background
and animation, which meet again at camera (common practice, no source). Rates, hours and dates are
chosen by the checks.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any, NamedTuple

import numpy as np

from service.planning.board.board import make_board
from service.planning.plan.schedule import Schedule, schedule
from service.production.state import Node
from service.vocabulary.instants import US_PER_MIN, instant, parse_instant
from tests.telling import Story

MONDAY = date(2031, 1, 6)
NOW = "2031-01-06T09:00:00Z"
DAY_MIN = 480
DAYS_OFF = ("2031-01-22", "2031-02-17")  # a Wednesday, a Monday
CALENDAR = np.busdaycalendar("1111100", [np.datetime64(on) for on in DAYS_OFF])
OPENS_HOUR = 9

B, C, S = "background", "character", "sound"
PICTURE, ALL = [B, C], [B, C, S]


class Desk(NamedTuple):
    """A department: what it counts, what it follows on which strands, its part of the drawings."""

    name: str
    follows: Mapping[str, list[str]]
    grain: str = "scene"
    unit: str = "scenes"
    drawings_part: float = 1


LINE = (
    Desk("storyboard", {}, "episode", "episodes"),
    Desk("timing-and-sheets", {"storyboard": ALL}),
    Desk("layout", {"timing-and-sheets": ALL}),
    Desk("background", {"layout": [B]}),
    Desk("animation", {"layout": [C]}),
    Desk("clean-up", {"animation": [C]}),
    Desk("in-between", {"clean-up": [C]}),
    Desk("ink-and-paint", {"in-between": [C]}),
    Desk("animation-check", {"ink-and-paint": [C]}),
    Desk("camera", {"background": [B], "animation-check": [C]}),
    Desk("cutting", {"camera": PICTURE}, "episode", "episodes"),
    Desk("mix", {"cutting": [S]}, "episode", "episodes"),
)
CHARACTER_SIDE = ("animation", "clean-up", "in-between", "ink-and-paint", "animation-check")


def opened(desks: Sequence[Desk] = LINE) -> Story:
    """A studio with a show by that route, weekdays from 9 to 17, two days off; nobody works yet."""
    story = Story()
    story.now = NOW
    departments = [
        {
            "department": desk.name,
            "grain": desk.grain,
            "unit": desk.unit,
            "drawings_part": desk.drawings_part,
            "follows": [{"department": name, "strands": on} for name, on in desk.follows.items()],
        }
        for desk in desks
    ]
    followed = {name for desk in desks for name in desk.follows}
    (last,) = (desk.name for desk in desks if desk.name not in followed)
    gates = [{"gate": gate, "department": last} for gate in ("delivery", "air")]
    story.tell("show.opened", "KESTREL", {"title": "Kestrel"})
    story.tell("route.laid", "KESTREL", {"departments": departments, "gates": gates})
    week = ["monday", "tuesday", "wednesday", "thursday", "friday"]
    hours = {"days": week, "opens": "09:00", "closes": "17:00"}
    calendar = {"from_on": "2031-01-01", "zone": "UTC", "shifts": [hours]}
    story.tell("calendar.set", "studio", calendar | {"days_off": [*DAYS_OFF]})
    return story


def crew(story: Story, department: str, artists: int, rate: float, from_on: date = MONDAY) -> None:
    """Have a department's crew work at a rate in its unit an artist-day."""
    data = {"department": department, "artists": artists, "units_per_artist_day": rate}
    more = {"minutes_per_artist_day": DAY_MIN, "from_on": str(from_on)}
    story.tell("crew.set", "studio", data | more)


def episode(story: Story, number: int, scenes: int, **data: Any) -> list[str]:
    """Open an episode and list its scenes, each with the same data; gives their names."""
    name = f"KESTREL-{number}"
    story.tell("episode.opened", name, {"title": f"Number {number}"})
    names = [f"{name}/{scene}" for scene in range(1, scenes + 1)]
    first = len(story.events) + 1
    listed = [
        story.event("scene.listed", scene, {"frames": 16, **data}, position=first + place)
        for place, scene in enumerate(names)
    ]
    if listed:
        story.record(*listed)
    return names


def a_day_each(episodes: int, scenes: int, *, desks: Sequence[Desk] = LINE) -> Story:
    """A line in which every visit takes an artist a day and each department has one artist."""
    story = opened(desks)
    for desk in LINE:
        crew(story, desk.name, 1, 1)
    for number in range(1, episodes + 1):
        work = {desk.name: 1 for desk in LINE if desk.grain == "scene"}
        episode(story, number, scenes, work=work)
    return story


def plan_of(story: Story) -> Schedule:
    """The plan of what was recorded, at the story's moment."""
    return schedule(make_board(story.state), parse_instant(story.now) // US_PER_MIN)


def day(number: int) -> date:
    """The studio's working day of that number, the first Monday being 0; by numpy."""
    return workdays_on(MONDAY, number)


def workdays_on(on: date, count: int) -> date:
    """So many of the studio's working days later; by numpy."""
    return date.fromisoformat(str(np.busday_offset(on, count, busdaycal=CALENDAR)))


def worked_min(at_min: int) -> int:
    """Working minutes from the first Monday's opening to an instant in working hours; by numpy."""
    at: datetime = instant(at_min * US_PER_MIN)
    days = int(np.busday_count(MONDAY, at.date(), busdaycal=CALENDAR))
    return days * DAY_MIN + (at.hour - OPENS_HOUR) * 60 + at.minute


def start_min(plan: Schedule, node: Node) -> int:
    """When a visit is planned to start, in working minutes from the first Monday."""
    return worked_min(int(plan.plan.start[plan.board.frame.row_of[node]]))


def finish_min(plan: Schedule, node: Node) -> int:
    """When a visit is planned to be done, likewise."""
    return worked_min(int(plan.plan.finish[plan.board.frame.row_of[node]]))
