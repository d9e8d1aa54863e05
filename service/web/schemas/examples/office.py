"""What the office of the story says: a show with its route, hours and crews, and an episode."""

from typing import Any

from service.web.schemas.examples.shape import OFFICE, Example

_PICTURE = ["background", "character"]
_ALL = [*_PICTURE, "sound"]
_DAYS = ["monday", "tuesday", "wednesday", "thursday", "friday"]
_SHOW, _EPISODE = "LANTERN", "LANTERN-104"


def _department(
    name: str, grain: str, unit: str, *after: tuple[str, list[str]], **more: Any
) -> dict[str, Any]:
    follows = [{"department": before, "strands": strands} for before, strands in after]
    made = {"department": name, "grain": grain, "unit": unit, **more}
    return made | {"follows": follows} if follows else made


_ROUTE: dict[str, Any] = {
    "from_on": "2031-01-06",
    "departments": [
        _department("storyboard", "episode", "episodes"),
        _department("layout", "scene", "scenes", ("storyboard", _ALL), least=0.1),
        _department("background", "scene", "paintings", ("layout", ["background"]), least=0.25),
        _department("animation", "scene", "feet", ("layout", ["character"]), least=0.5),
        _department(
            "clean-up", "scene", "drawings", ("animation", ["character"]), drawings_part=0.5
        ),
        _department(
            "camera",
            "scene",
            "scenes",
            ("background", ["background"]),
            ("clean-up", ["character"]),
            redo="whole",
        ),
        _department("cutting", "episode", "episodes", ("camera", _PICTURE)),
        _department("mix", "episode", "episodes", ("cutting", ["sound"])),
        _department("design", "element", "drawings"),
    ],
    "kinds": [
        {
            "kind": "background",
            "departments": ["background"],
            "feeds": "camera",
            "strand": "background",
            "replaces": ["background"],
        },
        {
            "kind": "cast",
            "departments": ["design"],
            "feeds": "animation",
            "strand": "character",
            "approval": {"before": "animation", "days": 3},
        },
        {
            "kind": "cycle",
            "departments": ["animation"],
            "feeds": "clean-up",
            "strand": "character",
        },
    ],
    "gates": [
        {"gate": "rough-cut", "department": "cutting", "takes": "first"},
        {"gate": "delivery", "department": "mix"},
    ],
}


def _example(type_: str, subject: str, data: dict[str, Any], at: str = "09:00") -> Example:
    return Example(OFFICE, type_, subject, f"2031-01-06T{at}:00Z", data)


EXAMPLES = (
    _example(
        "show.opened",
        _SHOW,
        {
            "title": "The Harbour Light",
            "frames_per_second": 24,
            "timecode": "23.976",
            "scene_codes": ["#", "#@"],
        },
    ),
    _example("route.laid", _SHOW, _ROUTE),
    _example(
        "calendar.set",
        "studio",
        {
            "from_on": "2031-01-06",
            "zone": "Europe/Vienna",
            "shifts": [{"days": _DAYS, "opens": "09:00", "closes": "18:00"}],
            "days_off": ["2031-04-14", "2031-05-01"],
        },
    ),
    _example(
        "calendar.set",
        "studio",
        {
            "department": "camera",
            "from_on": "2031-01-06",
            "shifts": [{"days": _DAYS, "opens": "07:00", "closes": "15:00"}],
        },
    ),
    _example(
        "crew.set",
        "studio",
        {
            "department": "layout",
            "artists": 3,
            "units_per_artist_day": 2,
            "minutes_per_artist_day": 480,
            "from_on": "2031-01-06",
        },
    ),
    _example(
        "rate.set",
        _SHOW,
        {
            "currency": "EUR",
            "from_on": "2031-01-06",
            "rates": {
                "layout": "42.50",
                "background": "180",
                "animation": "31.00",
                "clean-up": "2.40",
                "camera": "12.00",
                "cutting": "1400",
                "mix": "2100",
                "design": "95.00",
            },
            "credit": 0.5,
        },
    ),
    _example(
        "episode.opened",
        _EPISODE,
        {
            "title": "The Ferry That Stayed",
            "frames": 31680,
            "difficulty": {"storyboard": 1.25},
            "work": {"mix": 1.5},
        },
        "10:00",
    ),
    _example("gate.set", _EPISODE, {"gate": "rough-cut", "due_on": "2031-05-02"}, "10:00"),
    _example(
        "gate.set",
        _EPISODE,
        {"gate": "delivery", "due_on": "2031-05-23", "hard": True, "reason": "As contracted"},
        "10:00",
    ),
    _example(
        "scene.listed",
        f"{_EPISODE}/42A",
        {
            "frames": 72,
            "drawings": 48,
            "levels": 2,
            "difficulty": {"animation": 1.5},
            "work": {"background": 0.5},
        },
        "11:00",
    ),
    _example(
        "element.listed",
        f"{_SHOW}:HARBOUR-NIGHT",
        {"kind": "background", "title": "Harbour, night", "difficulty": {"background": 1.5}},
        "12:00",
    ),
    _example(
        "element.listed",
        f"{_SHOW}:WAVES",
        {"kind": "cycle", "drawings": 12, "frames": 48, "work": {"animation": 4}},
        "12:00",
    ),
    _example(
        "element.used",
        f"{_SHOW}:HARBOUR-NIGHT",
        {"scenes": [f"{_EPISODE}/42A", f"{_EPISODE}/43"]},
        "13:00",
    ),
    _example("hook-up.declared", f"{_EPISODE}/42A", {"to": f"{_EPISODE}/43"}, "13:00"),
    _example(
        "same-as.declared",
        f"{_EPISODE}/58",
        {"source": f"{_EPISODE}/43", "joins": "camera", "strands": _PICTURE},
        "13:00",
    ),
    _example(
        "same-as.declared",
        f"{_EPISODE}/59",
        {
            "source": f"{_EPISODE}/42A",
            "joins": "clean-up",
            "strands": ["character"],
            "levels": ["A"],
        },
        "13:00",
    ),
    _example("scene.retimed", f"{_EPISODE}/44", {"frames": 88, "drawings": 40}, "14:00"),
    _example("scene.omitted", f"{_EPISODE}/61", {"why": "The chase ends on the quay."}, "14:00"),
    _example("scene.restored", f"{_EPISODE}/61", {"why": "The quay needs its answer."}, "15:00"),
)
