"""The demo studio as its office would set it up: show, route, calendars, crews, dates.

Everything here is invented: names, dates, rates, crews and the sizes of episodes. The figures are
chosen so that the studio just keeps up, and differ on purpose from the trade's rules of thumb
(tests/seed/test_scenario.py holds them apart), so that nobody takes them for those.
"""

from datetime import date, timedelta
from typing import Any, Final, NamedTuple

STUDIO: Final = "saltmarsh"
STUDIO_TITLE: Final = "Saltmarsh Pictures"
ZONE: Final = "Europe/Copenhagen"
SHOW: Final = "TIDEWICK"
SHOW_TITLE: Final = "The Tidewick Mail"
FRAMES_PER_SECOND: Final = 24
EPISODE_FRAMES: Final = 22 * 60 * FRAMES_PER_SECOND

FIRST_ON: Final = date(2031, 3, 3)
LAST_ON: Final = date(2031, 6, 3)
FINAL_ON: Final = date(2031, 6, 4)
"""First and last date on which desks work, and that of the retake that the demo ends with."""

FIRST_BOARD_ON: Final = date(2031, 2, 3)
"""The first boards were begun on paper, some weeks before the record."""

DAYS_OFF: Final = (
    *("2031-04-10", "2031-04-11", "2031-04-14", "2031-05-01", "2031-05-22", "2031-06-02"),
    *("2031-06-05", "2031-12-24", "2031-12-25", "2031-12-26", "2031-12-31", "2032-01-01"),
)

_WEEK = ["monday", "tuesday", "wednesday", "thursday", "friday"]
STUDIO_HOURS: Final = [
    {"days": _WEEK, "opens": "08:30", "closes": "12:00"},
    {"days": _WEEK, "opens": "12:45", "closes": "16:45"},
]
CAMERA_HOURS: Final = [
    {"days": _WEEK, "opens": "11:00", "closes": "14:30"},
    {"days": _WEEK, "opens": "15:00", "closes": "19:00"},
]
"""Camera keeps later hours: it shoots in the afternoon what check passes in the morning."""

DAY_MIN: Final = 450
MORNING_MIN: Final = 8 * 60 + 28
EVENING_MIN: Final = 19 * 60 + 20
"""Wall times, in minutes, at which a day's posts are made: before the desks open, and after."""


class Station(NamedTuple):
    """A department of the route: its place in it, and its crew."""

    name: str
    code: str  # prefix of its artists' codes
    grain: str
    unit: str
    follows: dict[str, list[str]]
    rate: float
    artists: int
    redo: str = "part"
    least: float = 0
    drawings_part: float = 1


_B, _C, _S = "background", "character", "sound"

# An episode a week is the load: some 158 scenes and 10,800 drawings. The spring has 61 working days
# in its thirteen and a half weeks, so a week is 4.5 days long: 41 animators make 2,300 feet in it,
# for 1,980 of a first pass, some 7% that goes back and 4% by which desks run over; clean-up makes
# 4,450 drawings for 4,300, in-between 6,600 for 6,500, so that both work on what goes back while a
# lighter episode passes. That holds the line with a queue here and there, as it should be. Camera
# (4) makes 207 scenes for 158, of which a fourth and more are shot again; retakes of whole
# backgrounds come on top, so it has two more from April on. Cutting (1) would cut 1.3 episodes a
# week, and each one comes back at least once after the client has seen it: it has 2. A board takes
# four weeks with the client's remarks (0.05 a day), so that 5 make 1.1 a week. Overlays and cycles
# come on top of the paintings and drawings of the scenes.
STATIONS: Final = (
    Station("storyboard", "sb", "episode", "episodes", {}, 0.05, 5, least=0.05),
    Station(
        "timing-and-sheets", "ts", "scene", "feet", {"storyboard": [_B, _C, _S]}, 180, 3, least=2
    ),
    Station("design", "ds", "element", "drawings", {}, 4.5, 4, least=0.5),
    Station(
        "layout", "lo", "scene", "scenes", {"timing-and-sheets": [_B, _C, _S]}, 4.5, 9, least=0.1
    ),
    Station("background", "bg", "scene", "paintings", {"layout": [_B]}, 2.4, 9, least=0.1),
    Station("animation", "an", "scene", "feet", {"layout": [_C]}, 12.5, 41, least=0.5),
    Station("clean-up", "cu", "scene", "drawings", {"animation": [_C]}, 22, 45, "part", 1, 0.4),
    Station("in-between", "ib", "scene", "drawings", {"clean-up": [_C]}, 36, 41, "part", 1, 0.6),
    Station("ink-and-paint", "ip", "scene", "drawings", {"in-between": [_C]}, 84, 30, least=2),
    Station(
        "animation-check", "ac", "scene", "scenes", {"ink-and-paint": [_C]}, 16, 3, "whole", 0.5
    ),
    Station(
        "camera",
        "cm",
        "scene",
        "scenes",
        {"background": [_B], "animation-check": [_C]},
        11.5,
        4,
        "whole",
        0.5,
    ),
    Station("cutting", "ct", "episode", "episodes", {"camera": [_B, _C]}, 0.3, 2, least=0.05),
    Station("mix", "mx", "episode", "episodes", {"cutting": [_S]}, 0.6, 1, least=0.1),
    # picture and sound meet again in the print that is delivered: without it a picture retake
    # after the mix would not move the delivery
    Station(
        "answer-print",
        "ap",
        "episode",
        "episodes",
        {"cutting": [_B, _C], "mix": [_S]},
        1,
        1,
        "whole",
        1,
    ),
)
CURRENCY: Final = "EUR"
CREDIT: Final = 0.8
# invented, in the order of the stations: what an artist's day costs the client, about 240 to 300,
# over what is done in one
RATES: Final = dict(
    zip(
        (station.name for station in STATIONS),
        (
            *("5440.00", "1.50", "64.40", "64.00", "119.00", "22.80", "11.80", "7.15", "3.05"),
            *("16.90", "24.80", "960.00", "515.00", "310.00"),
        ),
        strict=True,
    )
)
DEPARTMENTS: Final = tuple(station.name for station in STATIONS)
CODES: Final = {station.name: station.code for station in STATIONS}
GRAINS: Final = {station.name: station.grain for station in STATIONS}


class CrewChange(NamedTuple):
    """A crew that changes: said on one date, in force from another."""

    announced_on: date
    department: str
    artists: int
    from_on: date


CREW_CHANGES: Final = (
    CrewChange(date(2031, 3, 31), "camera", 6, date(2031, 4, 7)),
    CrewChange(date(2031, 4, 28), "clean-up", 47, date(2031, 5, 5)),
)


class Stop(NamedTuple):
    """A department that stops for two days; wall times in minutes."""

    department: str
    on: date
    at_min: int
    resumed_on: date
    resumed_at_min: int


STOP: Final = Stop("ink-and-paint", date(2031, 5, 6), 9 * 60 + 10, date(2031, 5, 8), 8 * 60 + 40)


def route() -> dict[str, Any]:
    """The data of the show's `route.laid`."""
    departments = []
    for station in STATIONS:
        department: dict[str, Any] = {
            "department": station.name,
            "grain": station.grain,
            "unit": station.unit,
            "redo": station.redo,
            "least": station.least,
            "drawings_part": station.drawings_part,
        }
        if station.follows:
            department["follows"] = [
                {"department": name, "strands": strands}
                for name, strands in station.follows.items()
            ]
        departments.append(department)
    return {"departments": departments, "kinds": _kinds(), "gates": _gates()}


def _kinds() -> list[dict[str, Any]]:
    return [
        {
            "kind": "background",
            "departments": ["background"],
            "feeds": "camera",
            "strand": _B,
            "replaces": ["background"],
        },
        {"kind": "overlay", "departments": ["background"], "feeds": "camera", "strand": _B},
        {"kind": "model-sheet", "departments": ["design"], "feeds": "animation", "strand": _C},
        {
            "kind": "prop",
            "departments": ["design"],
            "feeds": "animation",
            "strand": _C,
            "approval": {"before": "animation", "days": 3},
        },
        {"kind": "colour-model", "departments": ["design"], "feeds": "ink-and-paint", "strand": _C},
        {
            "kind": "cycle",
            "departments": ["animation", "clean-up", "in-between", "ink-and-paint"],
            "feeds": "animation-check",
            "strand": _C,
        },
    ]


def _gates() -> list[dict[str, str]]:
    return [
        {"gate": "rough-cut", "department": "camera", "takes": "first"},
        {"gate": "lock", "department": "cutting", "takes": "final"},
        {"gate": "retake-cut-off", "department": "camera", "takes": "final"},
        {"gate": "delivery", "department": "answer-print", "takes": "final"},
        {"gate": "air", "department": "answer-print", "takes": "final"},
    ]


class EpisodePlan(NamedTuple):
    """An episode before anything is drawn of it."""

    code: str
    title: str
    scenes: int
    drawings: float  # drawings a frame, against the usual
    difficulty: float = 1  # animation, against the usual


EPISODES: Final = (
    EpisodePlan("101", "The Letter With No Stamp", 151, 0.96),
    EpisodePlan("102", "Fog at the Landing", 144, 0.95),
    EpisodePlan("103", "A Parcel for the Heron", 159, 1.0),
    EpisodePlan("104", "The Sluice Is Stuck", 162, 1.02),
    EpisodePlan("105", "Jory Sells the Boat", 156, 0.98),
    EpisodePlan("106", "Nobody Sleeps at Eel Lock", 153, 0.97),
    EpisodePlan("107", "The Great Reed Regatta", 174, 1.16, 1.12),
    EpisodePlan("108", "Bad Ice", 149, 0.94),
    EpisodePlan("109", "Aunt Sedge Comes to Stay", 158, 1.0),
    EpisodePlan("110", "The Lamp That Went Home", 163, 1.03),
    EpisodePlan("111", "Forty Wet Sheep", 169, 1.1, 1.06),
    EpisodePlan("112", "The Postmaster Stays in Bed", 154, 0.97),
    EpisodePlan("113", "Water in the Cellar", 164, 1.05),
)


APPROVED_FROM: Final = 2
"""From which episode on (0 is the first) the broadcaster wants to see the props."""


def episode_subject(code: str) -> str:
    """The subject of an episode."""
    return f"{SHOW}-{code}"


def board_on(number: int) -> date:
    """The Monday on which the board of the episode of that number (0 is the first) is begun."""
    return FIRST_BOARD_ON + timedelta(weeks=number)


class GateDate(NamedTuple):
    """A gate's date, counted in days from the Monday of the board."""

    gate: str
    days: int
    hard: bool


GATE_DATES: Final = (
    GateDate("rough-cut", 53, False),
    GateDate("retake-cut-off", 64, False),
    GateDate("lock", 67, False),
    GateDate("delivery", 70, True),
    GateDate("air", 84, True),
)


class Preview(NamedTuple):
    """An episode that the broadcaster wants to show sooner than agreed."""

    announced_on: date
    number: int
    due_on: date


PREVIEW: Final = Preview(date(2031, 5, 21), 8, date(2031, 6, 11))


def gate_dates(number: int) -> list[tuple[str, dict[str, Any]]]:
    """Gate and data of every `gate.set` of an episode; all fall a week later than those before."""
    return [
        (
            dated.gate,
            {
                "gate": dated.gate,
                "due_on": str(board_on(number) + timedelta(days=dated.days)),
                "hard": dated.hard,
            },
        )
        for dated in GATE_DATES
    ]
