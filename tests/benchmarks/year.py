"""A year's log of one studio, made up for measuring: two shows, an episode of each every week.

Only its size and its mixture of facts are meant to be real: some 200 scenes an episode, most
backgrounds painted for several of them, a hand-out, a start and a hand-off at every desk, a fifth
of the scenes called back from the camera, notes and answers, and now and then a fact recorded a day
late. Nothing in it is decided; the fold raises if something could not have happened.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from random import Random
from typing import Any, NamedTuple

from seed import scenario
from service.vocabulary.instants import US_PER_MIN, format_min, parse_instant
from tests.benchmarks.figures import Size

WEEKS = 44
SHOWS = ("HERONRY", "LAMPLIT")
SCENES = 206
SCENES_LEAST = 20
OPENED_MIN = parse_instant("2031-01-06T08:00:00Z") // US_PER_MIN
DAY_MIN = 24 * 60
WEEK_MIN = 7 * DAY_MIN
STAGES = (
    *("timing-and-sheets", "layout", "animation", "clean-up", "in-between", "ink-and-paint"),
    *("animation-check", "camera"),
)
"""A scene's departments in the order in which it passes them, a week apart."""

CREWS = {
    "storyboard": (6, 0.04),
    "timing-and-sheets": (3, 200),
    "design": (4, 5),
    "layout": (9, 6),
    "background": (9, 3),
    "animation": (51, 10),
    "clean-up": (49, 25),
    "in-between": (41, 30),
    "ink-and-paint": (25, 100),
    "animation-check": (3, 20),
    "camera": (4, 15),
    "cutting": (2, 0.25),
    "mix": (1, 0.5),
    "answer-print": (1, 1),
}
"""Artists for each show and units an artist-day; no other's, so that figures stay comparable."""
DRAWINGS_PARTS = {"clean-up": 0.5, "in-between": 0.5}


class Fact(NamedTuple):
    """A fact, when it was recorded and when it happened, in UTC minutes."""

    recorded_min: int
    at_min: int
    type: str
    subject: str
    data: dict[str, Any]


def bodies_of_part(size: Size, weeks: int = WEEKS) -> Iterator[dict[str, Any]]:
    """That part of so many weeks' log.

    Where it is less than a week, one week whose episodes have fewer scenes (SCENES_LEAST or more).
    """
    return bodies(size.of(weeks), min(SCENES, size.of(SCENES * weeks, SCENES_LEAST)))


def bodies(weeks: int = WEEKS, scenes: int = SCENES) -> Iterator[dict[str, Any]]:
    """The log's events as JSON objects, in order of position.

    They are those of that many weeks' episodes, each with that many scenes.
    """
    facts = [*_opening(), *_episodes(weeks, scenes)]
    facts.sort(key=lambda fact: fact.recorded_min)
    for position, fact in enumerate(facts, 1):
        desk = fact.data.get("department", "office")
        yield {
            "specversion": "1.0",
            "id": f"{desk}-{position}",
            "source": f"/{desk}",
            "type": fact.type,
            "subject": fact.subject,
            "time": format_min(fact.at_min),
            "datacontenttype": "application/json",
            "data": fact.data,
            "position": position,
            "recordedat": format_min(fact.recorded_min),
            "poster": desk,
        }


def _opening() -> Iterator[Fact]:
    at_min = OPENED_MIN - 4 * WEEK_MIN
    from_on = str(date(2030, 12, 1))
    for show in SHOWS:
        opened = {"title": show.title(), "frames_per_second": 24}
        yield Fact(at_min, at_min, "show.opened", show, opened)
        yield Fact(at_min, at_min, "route.laid", show, _route())
    for department, hours in (("", scenario.STUDIO_HOURS), ("camera", scenario.CAMERA_HOURS)):
        calendar: dict[str, Any] = {"from_on": from_on, "shifts": hours}
        calendar |= {"department": department} if department else {"zone": scenario.ZONE}
        yield Fact(at_min, at_min, "calendar.set", "studio", calendar)
    for department, (artists, rate) in CREWS.items():
        crew = {
            "department": department,
            "artists": 2 * artists,
            "units_per_artist_day": rate,
            "minutes_per_artist_day": scenario.DAY_MIN,
            "from_on": from_on,
        }
        yield Fact(at_min, at_min, "crew.set", "studio", crew)


def _route() -> dict[str, Any]:
    route = scenario.route()
    for department in route["departments"]:
        department["drawings_part"] = DRAWINGS_PARTS.get(department["department"], 1)
    return route


def _episodes(weeks: int, scenes: int) -> Iterator[Fact]:
    random = Random("a year")
    for week in range(weeks):
        for show in SHOWS:
            episode = f"{show}-{101 + week}"
            begun_min = OPENED_MIN + week * WEEK_MIN
            yield from _episode(episode, begun_min, scenes, random)


def _episode(episode: str, begun_min: int, count: int, random: Random) -> Iterator[Fact]:
    opened_min = begun_min - 2 * DAY_MIN
    yield Fact(opened_min, opened_min, "episode.opened", episode, {"title": f"Week {episode}"})
    due_on = date(2031, 1, 6) + timedelta(minutes=begun_min - OPENED_MIN, weeks=13)
    gate = {"gate": "delivery", "due_on": str(due_on), "hard": True}
    yield Fact(opened_min, opened_min, "gate.set", episode, gate)
    board = _Desk(episode, begun_min, random)
    yield from board.visit("storyboard", 0, 3 * DAY_MIN)
    scenes = [f"{episode}/{number}" for number in range(1, count + 1)]
    for scene in scenes:
        data = {"frames": random.randint(40, 260), "drawings": random.randint(20, 80), "levels": 2}
        yield Fact(opened_min + 1, opened_min + 1, "scene.listed", scene, data)
    yield from _backgrounds(episode, scenes, begun_min, random)
    for scene in scenes:
        yield from _scene(scene, begun_min + 4 * DAY_MIN, random)
    end_min = 11 * WEEK_MIN
    for department in ("cutting", "mix", "answer-print"):
        end_min += 2 * DAY_MIN
        yield from board.visit(department, end_min, DAY_MIN)
    at_min = begun_min + end_min + 2 * DAY_MIN
    yield Fact(at_min, at_min, "episode.delivered", episode, {})


def _backgrounds(episode: str, scenes: list[str], begun_min: int, random: Random) -> Iterator[Fact]:
    show, _, code = episode.partition("-")
    for number in range(len(scenes) // 2):
        element = f"{show}:bg-{code}-{number}"
        at_min = begun_min - DAY_MIN
        listed = {"kind": "background", "title": f"Place {number}"}
        yield Fact(at_min, at_min, "element.listed", element, listed)
        users = {"scenes": scenes[2 * number : 2 * number + 2]}
        yield Fact(at_min + 1, at_min + 1, "element.used", element, users)
        desk = _Desk(element, begun_min, random)
        yield from desk.visit("background", 3 * WEEK_MIN + random.randrange(DAY_MIN), DAY_MIN)


def _scene(scene: str, begun_min: int, random: Random) -> Iterator[Fact]:
    desk = _Desk(scene, begun_min, random)
    for stage, department in enumerate(STAGES):
        yield from desk.visit(department, stage * WEEK_MIN, 2 * DAY_MIN)
    recorded_min = begun_min + 5 * WEEK_MIN + random.randrange(DAY_MIN)
    for number in range(random.randrange(3)):
        note = {"note": f"n-{scene.replace('/', '-')}-{number}", "to": "clean-up"}
        yield Fact(recorded_min, recorded_min, "note.given", scene, note)
        answer = {"note": note["note"]}
        yield Fact(recorded_min + DAY_MIN, recorded_min + DAY_MIN, "note.answered", scene, answer)
    if random.random() < 0.2:
        called_min = begun_min + len(STAGES) * WEEK_MIN
        retake = {
            "retake": f"r-{scene.replace('/', '-')}",
            "kind": "retake",
            "urgency": "must-fix",
            "back_to": "ink-and-paint",
            "strands": ["character"],
            "share": 0.2,
            "asked_by": "studio",
        }
        yield Fact(called_min, called_min, "retake.called", scene, retake)
        for stage, department in enumerate(STAGES[5:]):
            since_min = called_min - begun_min + stage * DAY_MIN + 60
            yield from desk.visit(department, since_min, 12 * 60)
    bought_min = begun_min + 10 * WEEK_MIN + DAY_MIN
    yield Fact(bought_min, bought_min, "scene.bought", scene, {})


class _Desk:
    """An item at the desks."""

    def __init__(self, item: str, begun_min: int, random: Random) -> None:
        self.item = item
        self.begun_min = begun_min
        self.random = random

    def visit(self, department: str, since_min: int, within_min: int) -> Iterator[Fact]:
        """Handed out, started and handed off within that many minutes."""
        start = self.begun_min + since_min
        out, begun, done = sorted(start + self.random.randrange(within_min) for _ in range(3))
        artist = f"{scenario.CODES[department]}{self.random.randrange(20):02}"
        late_min = DAY_MIN if self.random.random() < 0.01 else 0
        who = {"department": department, "artist": artist}
        yield Fact(out, out, "hand-out.made", self.item, who)
        yield Fact(begun, begun, "work.started", self.item, who)
        recorded_min = done + 1 + late_min
        yield Fact(recorded_min, done + 1, "hand-off.made", self.item, {"department": department})
