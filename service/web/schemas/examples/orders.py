"""What is asked for in the story as change orders, and what becomes of each."""

from typing import Any

from service.web.schemas.examples.shape import PRODUCTION, SUPERVISION, Example

_SHOW, _EPISODE = "LANTERN", "LANTERN-104"


def _example(type_: str, at: str, source: str = SUPERVISION, **data: Any) -> Example:
    return Example(source, f"change-order.{type_}", _EPISODE, f"2031-03-24T{at}:00Z", data)


EXAMPLES = (
    _example(
        "raised",
        "09:00",
        order="CO-31",
        asked_by="client",
        words="A storm instead of the farewell, and the ferry seen once more.",
        lines=[
            {"change": "omit", "scene": f"{_EPISODE}/61"},
            {
                "change": "add",
                "scene": f"{_EPISODE}/61B",
                "frames": 160,
                "drawings": 90,
                "levels": 3,
                "difficulty": {"animation": 1.25},
                "work": {"background": 2},
                "elements": [f"{_SHOW}:WAVES"],
            },
            {"change": "fee", "amount": "240.00", "what": "Design of the waves"},
        ],
    ),
    _example(
        "raised",
        "09:10",
        order="CO-32",
        asked_by="broadcaster",
        words="No naked flame near a child, and the ferry stays longer.",
        lines=[
            {
                "change": "retake",
                "items": [f"{_EPISODE}/42A"],
                "back_to": "animation",
                "strands": ["character"],
                "share": 0.2,
                "urgency": "should-fix",
                "kind": "revision",
                "dependents": [{"scene": f"{_EPISODE}/43", "mark": "leave"}],
            },
            {
                "change": "retake",
                "items": [f"{_EPISODE}/44"],
                "back_to": "clean-up",
                "strands": ["character"],
                "drawings": 8,
            },
            {"change": "retime", "scene": f"{_EPISODE}/62", "frames": 120, "drawings": 60},
        ],
    ),
    _example(
        "raised",
        "09:20",
        order="CO-33",
        asked_by="studio",
        words="The lamplighter older still, and scene 63 after all.",
        lines=[
            {"change": "redesign", "element": f"{_SHOW}:LAMPLIGHTER", "share": 0.5},
            {"change": "restore", "scene": f"{_EPISODE}/63"},
        ],
    ),
    _example(
        "priced",
        "10:00",
        order="CO-31",
        position=127,
        currency="EUR",
        lines=[
            {"line": 1, "amount": "-218.75"},
            {"line": 2, "amount": "910.00"},
            {"line": 3, "amount": "240.00"},
        ],
        total="931.25",
        valid_until="2031-04-04",
    ),
    _example(
        "approved",
        "11:00",
        PRODUCTION,
        order="CO-31",
        position=127,
        gates=[{"episode": _EPISODE, "gate": "delivery", "due_on": "2031-05-27"}],
    ),
    _example(
        "declined",
        "11:10",
        PRODUCTION,
        order="CO-32",
        why="The scene is on the air date's side of the cut-off.",
    ),
    _example("withdrawn", "11:20", order="CO-33", why="He is old enough."),
)
