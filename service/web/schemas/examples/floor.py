"""What the desks and supervision of the story say while scenes pass through the line."""

from typing import Any

from service.web.schemas.examples.shape import (
    ANIMATION,
    LAYOUT,
    PRODUCTION,
    SUPERVISION,
    Example,
)

_EPISODE = "LANTERN-104"
_SCENE = f"{_EPISODE}/42A"


def _example(source: str, type_: str, subject: str, at: str, **data: Any) -> Example:
    return Example(source, type_, subject, f"2031-03-{at}:00Z", data)


EXAMPLES = (
    _example(
        LAYOUT,
        "hand-out.made",
        _SCENE,
        "04T08:00",
        department="layout",
        artist="lo-07",
        take=1,
    ),
    _example(
        LAYOUT,
        "hand-out.withdrawn",
        f"{_EPISODE}/43",
        "04T08:05",
        department="layout",
        take=1,
    ),
    _example(
        LAYOUT,
        "work.started",
        _SCENE,
        "04T08:10",
        department="layout",
        artist="lo-07",
        take=1,
    ),
    _example(LAYOUT, "hand-off.made", _SCENE, "04T15:30", department="layout", take=1),
    _example(
        ANIMATION,
        "hand-off.refused",
        _SCENE,
        "04T16:00",
        department="animation",
        sender="layout",
        share=0.25,
        take=1,
        why="The ferry has no deck to stand on.",
    ),
    _example(
        LAYOUT,
        "department.stopped",
        "studio",
        "05T08:00",
        department="layout",
        expected_end_at="2031-03-05T12:00:00Z",
        why="No power on the floor.",
    ),
    _example(LAYOUT, "department.resumed", "studio", "05T11:30", department="layout"),
    _example(
        SUPERVISION,
        "scene.held",
        f"{_EPISODE}/44",
        "05T12:00",
        owes="client",
        by_on="2031-03-10",
        why="Does the lamp burn or not?",
    ),
    _example(
        SUPERVISION,
        "scene.freed",
        f"{_EPISODE}/44",
        "06T09:00",
        why="It burns.",
    ),
    _example(SUPERVISION, "visit.put-first", f"{_EPISODE}/44", "06T09:10", department="layout"),
    _example(PRODUCTION, "priority.set", _EPISODE, "06T10:00", priority=5),
    _example(
        LAYOUT,
        "note.given",
        _SCENE,
        "06T11:00",
        note="N-2031-118",
        to="animation",
        text="The lantern is in the left hand.",
        department="layout",
    ),
    _example(
        ANIMATION,
        "note.answered",
        _SCENE,
        "06T13:00",
        note="N-2031-118",
        department="animation",
        text="Moved to the left.",
    ),
)
