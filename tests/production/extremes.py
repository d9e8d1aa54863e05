"""Facts at the ends of what may be said: proposed at random among the usual ones."""

from random import Random
from typing import Any

from tests.production.random_logs import Proposal, Proposer
from tests.telling import Story

DAYS = (
    *("1900-01-01", "1969-12-31", "1970-01-01", "2031-03-10", "2199-12-31"),
    *("2001-12-31", "2061-03-03"),
)
"""The first and last dates that the schemas take, those around the epoch, and, near the bounds
around the clock of a story, such as the rules take."""
MOMENTS = ("2031-03-20T12:00:00Z", "2061-03-03T23:59:59.999999Z", "2199-12-31T23:59:59.999999Z")
DEPARTMENTS = ("layout", "background", "animation", "paint", "camera", "cutting", "design")
WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


def _episode(story: Story, random: Random, prefix: str) -> str:
    return random.choice(sorted(name for name in story.state.episodes if name.startswith(prefix)))


def _scene(story: Story, random: Random, prefix: str) -> str:
    return random.choice(sorted(name for name in story.state.scenes if name.startswith(prefix)))


def _table(random: Random, least: float, most: float) -> dict[str, float]:
    departments = random.sample(("layout", "animation", "paint", "camera"), random.randint(0, 3))
    return {name: random.choice((least, most)) for name in departments}


def _listed(story: Story, random: Random, prefix: str) -> Proposal:
    data: dict[str, Any] = {
        "frames": random.choice((1, 10_000_000)),
        "drawings": random.choice((0, 0, 1_000_000)),
        "levels": random.choice((0, 100)),
        "work": _table(random, 0, 10_000_000),
        "difficulty": _table(random, 0.0001, 100),
    }
    return "scene.listed", f"{_episode(story, random, prefix)}/x{len(story.events)}", data


def _retimed(story: Story, random: Random, prefix: str) -> Proposal:
    data = {"frames": random.choice((1, 10_000_000)), "drawings": random.choice((0, 1_000_000))}
    return "scene.retimed", _scene(story, random, prefix), data


def _element(story: Story, random: Random, prefix: str) -> Proposal:
    data: dict[str, Any] = {"kind": random.choice(("background", "model-sheet", "cast"))}
    data |= {"drawings": random.choice((0, 1_000_000))}
    if random.random() < 0.5:
        data["work"] = {"design": random.choice((0, 10_000_000))}
    return "element.listed", f"KESTREL:x{len(story.events)}", data


def _crew(story: Story, random: Random, prefix: str) -> Proposal:
    data = {
        "department": random.choice(DEPARTMENTS),
        "artists": random.choice((0, 1, 10_000)),
        "units_per_artist_day": random.choice((0.0001, 1, 100_000)),
        "minutes_per_artist_day": random.choice((1, 480, 1440)),
        "from_on": random.choice(DAYS),
    }
    return "crew.set", "studio", data


def _calendar(story: Story, random: Random, prefix: str) -> Proposal:
    hours = [
        {
            "days": random.sample(WEEK, random.randint(1, 7)),
            "opens": random.choice(("00:00", "09:00", "23:59")),
            "closes": random.choice(("00:00", "00:01", "17:00")),
        }
        for _ in range(random.randint(0, 3))
    ]
    data: dict[str, Any] = {"from_on": random.choice(DAYS), "shifts": hours}
    data["days_off"] = random.sample(DAYS, random.randint(0, 3))
    if random.random() < 0.7:
        data["department"] = random.choice(DEPARTMENTS)
    return "calendar.set", "studio", data


def _gate(story: Story, random: Random, prefix: str) -> Proposal:
    gate = random.choice(("rough-cut", "lock", "retake-cut-off", "delivery", "air"))
    data = {"gate": gate, "due_on": random.choice(DAYS), "hard": random.random() < 0.3}
    return "gate.set", _episode(story, random, prefix), data


def _held(story: Story, random: Random, prefix: str) -> Proposal:
    data = {"owes": "client", "by_on": random.choice(DAYS)}
    return "scene.held", _scene(story, random, prefix), data


def _stopped(story: Story, random: Random, prefix: str) -> Proposal:
    department = random.choice(DEPARTMENTS)
    if random.random() < 0.4:
        return "department.resumed", "studio", {"department": department}
    data = {"department": department}
    if random.random() < 0.7:
        data["expected_end_at"] = random.choice(MOMENTS)
    return "department.stopped", "studio", data


def _ordered(story: Story, random: Random, prefix: str) -> Proposal:
    scene = _scene(story, random, prefix)
    if random.random() < 0.5:
        return "priority.set", scene, {"priority": random.choice((-1000, 0, 1000))}
    return "visit.put-first", scene, {"department": random.choice(DEPARTMENTS)}


EXTREMES: tuple[Proposer, ...] = (
    *(_listed, _retimed, _element, _crew, _calendar, _gate, _held, _stopped, _ordered),
)
