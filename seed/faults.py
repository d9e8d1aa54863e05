"""What goes back: which scenes, found where, whose fault, and how much of them.

A quarter of the scenes get a retake, a fifth of those another. Half are found at checking, a
third at a screening, the rest by client or broadcaster. The fault is paint's in 3 of 10,
animation's and camera's in 2 to 3 each. All of it is invented.
"""

from random import Random
from typing import Any, Final, NamedTuple

from seed import words
from service.production.graph import predecessors
from service.production.state import Scene, State, visit_of
from service.production.takes import Phase

RETAKE_SHARE: Final = 0.24
AGAIN_SHARE: Final = 0.2

CHECK, SCREENING, CLIENT = "animation-check", "screening", "client-viewing"

# fault by where it is found; a mistake found at check cannot be camera's, so camera has its share
# of all (0.22) from the other half
_FAULTS: Final[dict[str, dict[str, int]]] = {
    CHECK: {
        "ink-and-paint": 42,
        "animation": 27,
        "clean-up": 14,
        "in-between": 12,
        "layout": 5,
    },
    SCREENING: {"camera": 46, "ink-and-paint": 20, "animation": 18, "background": 14, "layout": 2},
    CLIENT: {"camera": 38, "ink-and-paint": 18, "animation": 26, "background": 14, "layout": 4},
}

_STRANDS: Final[dict[str, list[str]]] = {
    "layout": ["background", "character"],
    "background": ["background"],
    "camera": ["background", "character"],
}

_SHARES: Final[dict[str, tuple[float, float]]] = {
    "layout": (0.2, 0.5),
    "background": (0.15, 0.5),
    "animation": (0.1, 0.45),
    "clean-up": (0.1, 0.4),
    "in-between": (0.1, 0.35),
    "ink-and-paint": (0.05, 0.3),
    "camera": (0.05, 0.1),
}
_AFTER_CUTTING = 0.3
"""Once the picture is cut a call is for little: the share counts for the cutting too."""


class Fates:
    """Which mistakes are in which scene, in the order in which they will be found."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self._of: dict[str, list[str]] = {}

    def draw(self, scene: str, checked: bool) -> None:
        """Decide once, when a scene is listed, whether it will go back.

        One that has no visit of its own at check shows it on the screen.
        """
        if self.rng.random() >= RETAKE_SHARE:
            return
        found = self.rng.choices((CHECK, SCREENING, CLIENT), (50, 33, 17))
        if self.rng.random() < AGAIN_SHARE:
            found += self.rng.choices((CHECK, SCREENING), (60, 40))
        self._of[scene] = [
            SCREENING if where == CHECK and not checked else where for where in found
        ]

    def next(self, scene: str) -> str:
        """Where the scene's next mistake will be found; "" if it has none left."""
        return next(iter(self._of.get(scene, ())), "")

    def found(self, scene: str) -> None:
        """The next mistake has been found."""
        self._of[scene].pop(0)


class Call(NamedTuple):
    """A retake as it will be called: on what, and the rest of its data but the code."""

    subject: str
    data: dict[str, Any]


def call_for(rng: Random, state: State, scene: str, found_at: str) -> Call | None:
    """The call for a mistake found in a scene; None where nothing of it could be reopened."""
    record = state.scenes[scene]
    chances = _FAULTS[found_at]
    places = {name: _place(state, scene, record, name) for name in chances}
    able = [name for name, item in places.items() if item and _begun(state, item, name)]
    if not able:
        return None
    fault = rng.choices(able, [chances[name] for name in able])[0]
    subject = places[fault] or scene
    data: dict[str, Any] = {
        "kind": _kind(rng, found_at),
        "urgency": _urgency(rng, found_at),
        "back_to": fault,
        "strands": _STRANDS.get(fault, ["character"]),
        "found_at": found_at,
        "fault_of": fault,
        "asked_by": "studio" if found_at != CLIENT else _asker(rng),
        "why": rng.choice(words.FAULTS[fault]),
    }
    data |= _extent(rng, record, subject == scene, fault, found_at)
    if data["asked_by"] != "studio":
        data["found_at"] = f"{data['asked_by']}-viewing"
    return Call(subject, data)


def _place(state: State, scene: str, record: Scene, department: str) -> str | None:
    """The item to name: the scene, or the background element it uses."""
    if department in record.departments:
        return scene
    for name in record.elements if department == "background" else ():
        if state.elements[name].kind == "background":
            return name
    return None


def _begun(state: State, item: str, department: str) -> bool:
    takes = visit_of(state, item, department).takes
    return len(takes) > 1 or takes[0].phase is not Phase.WAITING


def _kind(rng: Random, found_at: str) -> str:
    if found_at == CHECK:
        return "correction"
    return "revision" if found_at == CLIENT and rng.random() < 0.3 else "retake"


def _urgency(rng: Random, found_at: str) -> str:
    weights = {CHECK: (80, 20, 0), SCREENING: (50, 38, 12), CLIENT: (75, 20, 5)}
    return rng.choices(("must-fix", "should-fix", "if-time"), weights[found_at])[0]


def _asker(rng: Random) -> str:
    return rng.choices(("client", "broadcaster", "standards"), (70, 22, 8))[0]


def _extent(rng: Random, record: Scene, own: bool, fault: str, found_at: str) -> dict[str, Any]:
    """How much is touched: a share, or for some a number of drawings, with their levels."""
    least, most = _SHARES[fault]
    share = rng.uniform(least, most) * (_AFTER_CUTTING if found_at == CLIENT else 1)
    if own and fault not in ("camera", "layout", "background") and rng.random() < 0.4:
        levels = sorted(rng.sample("ABCD"[: max(1, record.levels)], 1))
        return {"drawings": max(1, round(record.drawings * share)), "levels": levels}
    return {"share": max(0.02, round(share, 2))}


def users_shot(state: State, element: str) -> list[str]:
    """Scenes of open episodes that use a background and have been shot with it."""
    return [
        scene
        for scene in state.elements[element].scenes
        if state.episodes[state.scenes[scene].episode].delivered_us < 0
        and visit_of(state, scene, "camera").current.phase is Phase.HANDED_OFF
        and any(arc.node[0] == element for arc in predecessors(state, scene, "camera"))
    ]
