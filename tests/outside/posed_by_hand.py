"""The line that facts pose, by the rules as they are written down and nothing of the service's.

Minute by minute whether a department works, arc by arc who waits for whom, and as a tuple what goes
before what in a tray.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import ceil
from typing import Any
from zoneinfo import ZoneInfo

from service.planning.kernel.line import OUT, Line
from service.vocabulary.calendar import WorkingTime
from tests.outside.random_studios import WEEK, Studio
from tests.outside.read_by_hand import Node, Read, minute_of, read
from tests.planning.lines import Crew, Department, Row, line_of

Rank = tuple[tuple[int, int], int, float, int, tuple[Any, ...]]

FIRST, PAST = datetime(2031, 3, 3, tzinfo=UTC), datetime(2031, 4, 12, tzinfo=UTC)
DAYS_BACK, DAYS_AHEAD = 2, 12
E4 = 10_000


def midnight(zone: str, on: date) -> int:
    """The UTC minute at which a date begins on the wall."""
    return minute_of(datetime(on.year, on.month, on.day, tzinfo=ZoneInfo(zone)))


@lru_cache
def days_on_the_wall(zone: str) -> dict[date, list[tuple[int, int]]]:
    """Each date's UTC minutes with the minute of the day that the wall shows, one by one."""
    days: dict[date, list[tuple[int, int]]] = {}
    for t in range(minute_of(FIRST), minute_of(PAST)):
        wall = datetime.fromtimestamp(t * 60, ZoneInfo(zone))
        days.setdefault(wall.date(), []).append((t, wall.hour * 60 + wall.minute))
    return days


# --- who works when ----------------------------------------------------------------------------


def minutes_of(versions: list[dict[str, Any]], zone: str, now: int) -> list[int]:
    """Every minute around `now` in which a calendar has somebody work, looked up one by one."""
    worked: set[int] = set()
    for on, minutes in days_on_the_wall(zone).items():
        if minutes[-1][0] >= now - DAYS_BACK * 1440 and minutes[0][0] < now + DAYS_AHEAD * 1440:
            nights = shifts_on(versions, on - timedelta(days=1))
            hours = [(0, closes - 1440) for _, closes in nights if closes > 1440]
            for opens, closes in [*hours, *shifts_on(versions, on)]:
                worked.update(t for t, minute in minutes if opens <= minute < closes)
    return sorted(worked)


def shifts_on(versions: list[dict[str, Any]], on: date) -> list[tuple[int, int]]:
    """Hours that open on a date, past 24:00 where they close on the next."""
    in_force = [version for version in versions if version["from_on"] <= on.isoformat()]
    version = max(in_force, key=lambda version: str(version["from_on"]))
    if on.isoformat() in version.get("days_off", []):
        return []
    hours = []
    for shift in version["shifts"]:
        opens, closes = minute_of_day(shift["opens"]), minute_of_day(shift["closes"])
        if WEEK[on.weekday()] in shift["days"]:
            hours.append((opens, closes if closes > opens else closes + 1440))
    return hours


def minute_of_day(text: str) -> int:
    """Minutes of a wall time, HH:MM."""
    hours, minutes = text.split(":")
    return 60 * int(hours) + int(minutes)


def windows_of(worked: list[int]) -> WorkingTime:
    """Minutes that follow on each other, as windows."""
    breaks = [place for place in range(1, len(worked)) if worked[place] > worked[place - 1] + 1]
    edges = [0, *breaks, len(worked)]
    return WorkingTime.of(
        (worked[first], worked[past - 1] + 1) for first, past in pairwise(edges) if first < past
    )


def hours_by_department(found: Read, now: int) -> dict[str, WorkingTime]:
    """When each department works: by its own calendar or the studio's, unless it is stopped."""
    minutes = {
        owner: minutes_of(versions, found.zone, now) for owner, versions in found.calendars.items()
    }
    hours = {owner: windows_of(worked) for owner, worked in minutes.items()}
    for name, stoppages in found.stoppages.items():
        worked = minutes.get(name, minutes[""])
        for begun, expected, resumed in stoppages:
            end = max(expected, now + 1) if resumed is None else resumed
            worked = [t for t in worked if not begun <= t < end]
        hours[name] = windows_of(worked)
    return {name: hours.get(name, hours[""]) for name in found.route}


def crews_of(found: Read, name: str) -> list[Crew]:
    return [
        Crew(
            crew["artists"],
            midnight(found.zone, from_on),
            int(Fraction(str(crew["units_per_artist_day"])) * E4),
            crew["minutes_per_artist_day"],
        )
        for from_on, crew in sorted(found.crews[name].items())
    ]


# --- what is to be done, and what waits for what -------------------------------------------------


def still_using(found: Read, users: list[str]) -> list[str]:
    """Scenes in the picture of episodes that are not delivered."""
    return [
        user
        for user in users
        if user not in found.omitted and episode_of(user) not in found.delivered
    ]


def planned(found: Read) -> list[Node]:
    """All visits of undelivered episodes, and of elements that nobody uses or somebody still does.

    A scene that is omitted, or of a delivered episode, uses nothing any more.
    """
    nodes = []
    for episode in sorted(found.episodes.keys() - found.delivered):
        nodes += [(episode, name) for name in by_grain(found, "episode")]
    for scene in found.scenes:
        if episode_of(scene) not in found.delivered:
            nodes += [(scene, name) for name in visited(found, scene)]
    for element, data in found.elements.items():
        users = found.users[element]
        if not users or still_using(found, users):
            nodes += [(element, name) for name in found.kinds[data["kind"]]["departments"]]
    return nodes


def by_grain(found: Read, grain: str) -> list[str]:
    return [name for name, entry in found.route.items() if entry["grain"] == grain]


def episode_of(scene: str) -> str:
    return scene.partition("/")[0]


def visited(found: Read, scene: str) -> list[str]:
    """The departments that a scene visits itself."""
    spared = [
        name
        for element, users in found.users.items()
        if scene in users
        for name in found.kinds[found.elements[element]["kind"]].get("replaces", [])
    ]
    return [name for name in by_grain(found, "scene") if name not in spared]


def followed(found: Read, item: str, department: str) -> list[Node]:
    """What must be handed off before a visit: by the route, and by what the scene uses."""
    if item in found.elements:
        made_by = found.kinds[found.elements[item]["kind"]]["departments"]
        place = made_by.index(department)
        return [(item, made_by[place - 1])] if place else []
    if item in found.episodes:
        return before_episode(found, item, department)
    nodes = [
        (item if found.route[name]["grain"] == "scene" else episode_of(item), name)
        for name in through(found, item, department)
    ]
    for element, users in found.users.items():
        kind = found.kinds[found.elements[element]["kind"]]
        if item in users and kind["feeds"] == department:
            nodes.append((element, kind["departments"][-1]))
    return nodes


def before_episode(found: Read, episode: str, department: str) -> list[Node]:
    nodes = []
    for arc in found.route[department]["follows"]:
        name = arc["department"]
        if found.route[name]["grain"] == "episode":
            nodes.append((episode, name))
    for scene in found.scenes:
        if episode_of(scene) == episode:
            names = through(found, scene, department)
            nodes += [(scene, name) for name in names if found.route[name]["grain"] == "scene"]
    return nodes


def through(found: Read, scene: str, department: str) -> list[str]:
    """What a department follows for a scene; one that it does not visit is passed through."""
    names: list[str] = []
    for arc in found.route[department]["follows"]:
        name = arc["department"]
        stands = found.route[name]["grain"] == "episode" or name in visited(found, scene)
        names += [name] if stands else through(found, scene, name)
    return names


def work_e4(found: Read, item: str, department: str) -> int:
    """Work of a visit's take, in ten-thousandths: what is stated or counted, and its part."""
    everything = {**found.episodes, **found.scenes, **found.elements}
    data, entry = everything[item], found.route[department]
    if department in data.get("work", {}):
        units = Fraction(str(data["work"][department]))
    elif entry["unit"] == "drawings":
        units = data.get("drawings", 0) * Fraction(str(entry.get("drawings_part", 1)))
    elif entry["unit"] == "feet":
        units = Fraction(data.get("frames") or 0, 16)
    else:
        units = Fraction(1)
    base = ceil(units * Fraction(str(data.get("difficulty", {}).get(department, 1))) * E4)
    share = found.visit(item, department).share
    if share is None:
        return base
    again = base if entry.get("redo") == "whole" else ceil(base * share)
    return max(again, int(Fraction(str(entry.get("least", 0))) * E4))


# --- what goes first -----------------------------------------------------------------------------


def rank(found: Read, item: str, department: str) -> Rank:
    """Put first (the latest order before all); priority; the earliest delivery that waits for it;
    must-fix; the order of scenes, and of whatever else there is.
    """
    order = found.first.get((item, department))
    put_first = (1, 0) if order is None else (0, -order)
    priority = found.priorities.get(item, 0)
    if item in found.scenes and item not in found.priorities:
        priority = found.priorities.get(episode_of(item), 0)
    users = still_using(found, found.users[item]) if item in found.users else []
    episodes = [episode_of(user) for user in users]
    episodes = episodes or ([] if item in found.elements else [episode_of(item)])
    dues = [found.dues[name].toordinal() for name in episodes if waits(found, name)]
    must_fix = found.visit(item, department).must_fix
    return put_first, -priority, min(dues, default=float("inf")), not must_fix, identity(item)


def waits(found: Read, episode: str) -> bool:
    return episode not in found.delivered and episode in found.dues


def identity(item: str) -> tuple[Any, ...]:
    """Episodes by number, each before its scenes; scenes by number, 10 before 10A; elements."""
    if ":" in item:
        return 1, int(item.split(":E")[1])
    episode, _, scene = item.partition("/")
    digits = scene.rstrip("AB")
    return 0, int(episode.split("-")[1]), int(digits or 0), scene[len(digits) :]


# --- the line ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reading:
    """The line that the facts pose, with each row's visit and its rank in a tray."""

    line: Line
    nodes: list[Node]
    ranks: list[Rank]


def pose(studio: Studio) -> Reading:
    found, now = read(studio), minute_of(studio.now)
    nodes = planned(found)
    row_of = {node: row for row, node in enumerate(nodes)}
    names = list(found.route)
    ranks = [rank(found, *node) for node in nodes]
    place = {node: key for key, (_, node) in enumerate(sorted(zip(ranks, nodes, strict=True)))}
    rows = []
    for item, department in nodes:
        visit = found.visit(item, department)
        release = 0
        if item in found.held:
            over = midnight(found.zone, found.held[item] + timedelta(days=1))
            release = over if over > now else now + 1
        before = {row_of[node] for node in followed(found, item, department) if node in row_of}
        rows.append(
            Row(
                names.index(department),
                work_e4(found, item, department),
                sorted(before),
                OUT if item in found.omitted else visit.state,
                visit.started,
                release,
                place[item, department],
            )
        )
    departments = [
        Department(crews_of(found, name), worked)
        for name, worked in hours_by_department(found, now).items()
    ]
    return Reading(line_of(departments, rows, now), nodes, ranks)
