"""What is called back in the story, answered, accepted and struck."""

from typing import Any

from service.web.schemas.examples.shape import OWNER, PRODUCTION, SUPERVISION, Example

_EPISODE = "LANTERN-104"
_LAMPLIGHTER = "LANTERN:LAMPLIGHTER"


def _example(type_: str, subject: str, at: str, source: str = SUPERVISION, **data: Any) -> Example:
    return Example(source, type_, subject, f"2031-03-{at}:00Z", data)


EXAMPLES = (
    _example(
        "approval.asked",
        _LAMPLIGHTER,
        "07T09:00",
        of="client",
        why="Three poses and the turn-around.",
    ),
    _example(
        "approval.refused",
        _LAMPLIGHTER,
        "10T09:00",
        PRODUCTION,
        by="client",
        back_to="design",
        share=0.4,
        retake="RK-101",
        why="Too young to have kept a light for forty years.",
    ),
    _example(
        "approval.given",
        _LAMPLIGHTER,
        "13T09:00",
        PRODUCTION,
        by="client",
        why="That is he.",
    ),
    _example(
        "retake.called",
        _EPISODE,
        "20T09:00",
        retake="RK-118",
        kind="retake",
        urgency="must-fix",
        back_to="animation",
        strands=["character"],
        items=[f"{_EPISODE}/42A"],
        share=0.3,
        levels=["A"],
        found_at="screening",
        fault_of="animation",
        asked_by="client",
        dependents=[{"scene": f"{_EPISODE}/43", "mark": "look-at"}],
        why="The lantern is on the wrong side.",
    ),
    _example(
        "retake.called",
        f"{_EPISODE}/44",
        "20T09:00",
        retake="RK-119",
        kind="correction",
        urgency="if-time",
        back_to="clean-up",
        strands=["character"],
        drawings=6,
        why="The line of the coat is thin.",
    ),
    _example(
        "look-at.answered",
        f"{_EPISODE}/43",
        "20T10:00",
        retake="RK-118",
        answer="redo",
        back_to="animation",
        why="The hand that comes in is the wrong one now.",
    ),
    _example(
        "retake.withdrawn",
        f"{_EPISODE}/44",
        "20T11:00",
        retake="RK-119",
        why="It does not show at that size.",
    ),
    _example(
        "retake.bought-as-is",
        _EPISODE,
        "20T12:00",
        retake="RK-118",
        why="The client lives with it.",
    ),
    _example("scene.bought", f"{_EPISODE}/44", "21T09:00"),
    _example("episode.delivered", "LANTERN-103", "21T10:00", PRODUCTION),
    _example(
        "event.struck",
        "studio",
        "21T11:00",
        position=118,
        why="It was said of the wrong scene.",
    ),
    _example(
        "event.struck",
        "studio",
        "21T11:30",
        PRODUCTION,
        position=122,
        why="I took the other episode's slot.",
        reason="The slot was that of another episode",
    ),
    _example(
        "text.forgotten",
        "studio",
        "21T12:00",
        OWNER,
        positions=[119, 120],
        by="data-protection",
        ground="Request 12",
    ),
)
