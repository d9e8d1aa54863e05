"""What the golden log holds: every type of event at least once, in an order the rules accept.

Add batches at the end and never change one that is recorded: its bytes are in `log.jsonl` for good.
The show KESTREL is invented; the rules check the amounts of its order when it is recorded.
"""

from collections.abc import Iterable
from typing import Any, NamedTuple

from service.vocabulary.event import Event
from service.vocabulary.facts.base import OWNER
from service.vocabulary.instants import parse_instant

_PICTURE = ["background", "character"]
_ALL = ["background", "character", "sound"]
_DAYS = ["monday", "tuesday", "wednesday", "thursday", "friday"]
_SHOW, _ONE, _TWO = "KESTREL", "KESTREL-1", "KESTREL-2"
_FOX, _HALL = "KESTREL:fox", "KESTREL:hall"

LAST = -1
"""Stands for the position of the last event before the batch."""
QUOTED = "quoted"
"""A member in whose place stand the figures of the order's quote."""


class Batch(NamedTuple):
    """What one role posts at once: a name, the clock, and (type, subject, data) of each fact."""

    name: str
    role: str
    clock_at: str
    facts: tuple[tuple[str, str, dict[str, Any]], ...]


def is_recorded(batch: Batch, log: Iterable[Event]) -> bool:
    """Whether a log has a batch already."""
    if batch.role == OWNER:  # whose events have ids that nobody chooses
        at_us = parse_instant(batch.clock_at)
        return any(event.role == OWNER and event.time_us == at_us for event in log)
    return any(event.id == f"{batch.name}-1" for event in log)


def _follows(*arcs: tuple[str, list[str]]) -> list[dict[str, Any]]:
    return [{"department": department, "strands": strands} for department, strands in arcs]


_ROUTE: dict[str, Any] = {
    "departments": [
        {"department": "storyboard", "grain": "episode", "unit": "episodes"},
        {"department": "layout", "grain": "scene", "unit": "scenes", "least": 0.1,
         "follows": _follows(("storyboard", _ALL))},
        {"department": "background", "grain": "scene", "unit": "paintings",
         "follows": _follows(("layout", ["background"]))},
        {"department": "animation", "grain": "scene", "unit": "feet",
         "follows": _follows(("layout", ["character"]))},
        {"department": "camera", "grain": "scene", "unit": "scenes", "redo": "whole",
         "follows": _follows(("background", ["background"]), ("animation", ["character"]))},
        {"department": "cutting", "grain": "episode", "unit": "episodes",
         "follows": _follows(("camera", _PICTURE))},
        {"department": "design", "grain": "element", "unit": "drawings"},
    ],
    "kinds": [
        {"kind": "background", "departments": ["background"], "feeds": "camera",
         "strand": "background", "replaces": ["background"]},
        {"kind": "cast", "departments": ["design"], "feeds": "animation", "strand": "character",
         "approval": {"before": "animation", "days": 3}},
    ],
    "gates": [
        {"gate": "rough-cut", "department": "camera", "takes": "first"},
        {"gate": "delivery", "department": "cutting"},
    ],
}  # fmt: skip
_SHIFTS = [{"days": _DAYS, "opens": "09:00", "closes": "17:00"}]
_LINE = ("storyboard", "layout", "background", "animation", "camera", "cutting", "design")


def _crew(department: str) -> tuple[str, str, dict[str, Any]]:
    crew = {"department": department, "artists": 2, "units_per_artist_day": 2.5}
    return (
        "crew.set", "studio", {**crew, "minutes_per_artist_day": 480, "from_on": "2031-01-01"}
    )  # fmt: skip


def _scene(scene: str, **more: Any) -> tuple[str, str, dict[str, Any]]:
    return "scene.listed", scene, {"frames": 80, "drawings": 40, "levels": 2, **more}


def _done(item: str, *departments: str) -> tuple[tuple[str, str, dict[str, Any]], ...]:
    return tuple(
        (type_, item, {"department": department})
        for department in departments
        for type_ in ("work.started", "hand-off.made")
    )


def _call(code: str, **more: Any) -> dict[str, Any]:
    return {"retake": code, "kind": "correction", "urgency": "should-fix", **more}


_OPENING = Batch("opening", "office", "2031-03-03T08:00:00Z", (
    ("show.opened", _SHOW, {"title": "Kestrel", "frames_per_second": 24}),
    ("route.laid", _SHOW, _ROUTE),
    ("calendar.set", "studio", {"from_on": "2031-01-01", "zone": "Europe/Lisbon",
                                "shifts": _SHIFTS, "days_off": ["2031-04-25"]}),
    *(_crew(department) for department in _LINE),
    ("rate.set", _SHOW, {"currency": "EUR", "from_on": "2031-01-01",
                         "rates": dict.fromkeys(_LINE, "10.50"), "credit": 0.5}),
    ("episode.opened", _ONE, {"title": "Number one", "frames": 31680}),
    ("episode.opened", _TWO, {"title": "Number two"}),
    ("gate.set", _ONE, {"gate": "delivery", "due_on": "2031-04-15", "hard": True}),
    ("gate.set", _TWO, {"gate": "delivery", "due_on": "2031-05-15", "hard": False}),
    *(_scene(f"{_ONE}/{number}") for number in range(1, 7)),
    _scene(f"{_TWO}/1", difficulty={"animation": 1.5}, work={"layout": 2}),
    ("element.listed", _FOX, {"kind": "cast", "title": "The fox", "drawings": 6}),
    ("element.listed", _HALL, {"kind": "background", "title": "The hall, night"}),
    ("element.used", _FOX, {"scenes": [f"{_ONE}/1"]}),
    ("element.used", _HALL, {"scenes": [f"{_ONE}/1", f"{_ONE}/2"]}),
    ("hook-up.declared", f"{_ONE}/2", {"to": f"{_ONE}/3"}),
    ("same-as.declared", f"{_ONE}/5", {"source": f"{_ONE}/4", "joins": "camera",
                                       "strands": ["character"]}),
))  # fmt: skip

_DESKS = Batch("desks", "supervisor", "2031-03-04T16:00:00Z", (
    *_done(_ONE, "storyboard"),
    ("hand-out.made", f"{_ONE}/2", {"department": "layout", "artist": "lo-07"}),
    *_done(f"{_ONE}/2", "layout"),
    ("hand-off.refused", f"{_ONE}/2", {"department": "animation", "sender": "layout",
                                       "share": 0.25, "why": "The door opens the other way."}),
    *_done(f"{_ONE}/2", "layout", "animation"),
    *_done(f"{_ONE}/3", "layout", "background", "animation", "camera"),
    *_done(_HALL, "background"),
    *_done(f"{_ONE}/2", "camera"),
    ("department.stopped", "studio", {"department": "camera", "why": "No power.",
                                      "expected_end_at": "2031-03-06T08:00:00Z"}),
    ("department.resumed", "studio", {"department": "camera"}),
    *_done(_FOX, "design"),
    ("approval.asked", _FOX, {"of": "client", "why": "New this season."}),
    ("approval.refused", _FOX, {"by": "client", "retake": "R-FOX", "why": "Redder, please."}),
    *_done(_FOX, "design"),
    ("approval.asked", _FOX, {}),
    ("approval.given", _FOX, {"by": "client"}),
))  # fmt: skip

_SUPERVISION = Batch("supervision", "supervisor", "2031-03-05T16:00:00Z", (
    ("note.given", f"{_ONE}/4", {"note": "N-1", "to": "layout", "text": "Mind the stairs."}),
    ("note.answered", f"{_ONE}/4", {"note": "N-1", "text": "Minded."}),
    ("scene.held", f"{_ONE}/4", {"owes": "client", "by_on": "2031-03-12", "why": "Which coat?"}),
    ("scene.freed", f"{_ONE}/4", {"why": "The grey one."}),
    ("visit.put-first", f"{_ONE}/4", {"department": "layout"}),
    ("priority.set", f"{_ONE}/6", {"priority": 5}),
    ("scene.retimed", f"{_ONE}/6", {"frames": 96, "drawings": 48}),
    ("scene.omitted", f"{_ONE}/6", {"why": "Cut from the story."}),
    ("scene.restored", f"{_ONE}/6", {"why": "Back in the story."}),
    ("retake.called", f"{_ONE}/2", _call("R-1", back_to="animation", strands=["character"],
                                         share=0.3, found_at="camera", fault_of="animation",
                                         asked_by="studio", why="The hand slides.")),
    ("look-at.answered", f"{_ONE}/3", {"retake": "R-1", "answer": "fine", "why": "It still fits."}),
    ("retake.withdrawn", f"{_ONE}/2", {"retake": "R-1", "why": "It does not, on the big screen."}),
    ("retake.called", f"{_ONE}/3", _call("R-2", back_to="camera", strands=_PICTURE, share=1)),
    ("retake.bought-as-is", f"{_ONE}/3", {"retake": "R-2", "why": "Nobody will see it."}),
    ("scene.bought", f"{_ONE}/3", {}),
))  # fmt: skip

_ORDERS = Batch("orders", "supervisor", "2031-03-06T16:00:00Z", (
    ("change-order.raised", _ONE, {"order": "CO-1", "asked_by": "client", "words": "Without it.",
                                   "lines": [{"change": "omit", "scene": f"{_ONE}/6"}]}),
    ("change-order.raised", _ONE, {"order": "CO-2", "asked_by": "client", "words": "And a fee.",
                                   "lines": [{"change": "omit", "scene": f"{_ONE}/4"}]}),
    ("change-order.raised", _ONE, {"order": "CO-3", "asked_by": "studio", "words": "Or so.",
                                   "lines": [{"change": "omit", "scene": f"{_ONE}/4"}]}),
))  # fmt: skip

_WITHDRAWN = Batch("withdrawn", "supervisor", "2031-03-06T17:00:00Z", (
    ("change-order.withdrawn", _ONE, {"order": "CO-3", "why": "We found another way."}),
))  # fmt: skip

_MISTAKE = Batch("mistake", "supervisor", "2031-03-07T08:00:00Z", (
    ("priority.set", f"{_ONE}/1", {"priority": 9}),
))  # fmt: skip

_STRUCK = Batch("struck", "supervisor", "2031-03-07T09:00:00Z", (
    ("event.struck", "studio", {"position": LAST, "why": "That was another scene."}),
))  # fmt: skip

_PRICED = Batch("priced", "supervisor", "2031-03-07T16:00:00Z", (
    ("change-order.priced", _ONE, {"order": "CO-1", QUOTED: True, "valid_until": "2031-12-31"}),
))  # fmt: skip

_ANSWERED = Batch("answered", "producer", "2031-03-08T16:00:00Z", (
    ("change-order.approved", _ONE, {"order": "CO-1", "gates": [
        {"episode": _ONE, "gate": "delivery", "due_on": "2031-04-16"}]}),
    ("change-order.declined", _ONE, {"order": "CO-2", "why": "We keep the stairs."}),
    ("episode.delivered", _TWO, {}),
))  # fmt: skip

_FORGOTTEN = Batch(OWNER, OWNER, "2031-03-09T16:00:00Z", (
    ("text.forgotten", "studio", {"positions": [61], "by": "office", "ground": "Request 12"}),
))  # fmt: skip

_LOOKED_AT = Batch("looked-at", "supervisor", "2031-03-10T08:00:00Z", (
    ("scene.retimed", f"{_ONE}/3", {"frames": 96}),
    ("look-at.answered", f"{_ONE}/3", {"answer": "fine"}),
    ("department.stopped", "studio", {"department": "camera", "why": "A lamp broke."}),
))  # fmt: skip

_HARD_DATE = Batch("hard-date", "producer", "2031-03-10T09:00:00Z", (
    ("gate.set", _ONE, {"gate": "delivery", "due_on": "2031-04-21", "hard": True,
                        "reason": "A later slot was agreed"}),
    ("priority.set", f"{_ONE}/1", {}),
))  # fmt: skip

_CODES = Batch("codes", "office", "2031-03-10T10:00:00Z", (
    ("show.opened", "LINNET", {"title": "Linnet", "scene_codes": ["###", "###@"]}),
))  # fmt: skip

_DATES = Batch("dates", "producer", "2031-03-10T11:00:00Z", (
    ("gate.set", _ONE, {"gate": "delivery", "due_on": "2031-04-23", "reason": "Two days more"}),
))  # fmt: skip

_DATE_STRUCK = Batch("date-struck", "producer", "2031-03-10T12:00:00Z", (
    ("event.struck", "studio", {"position": LAST, "why": "We misheard.",
                                "reason": "The two days were for another show"}),
))  # fmt: skip

_DATE_ANEW = Batch("date-anew", "producer", "2031-03-10T13:00:00Z", (
    ("gate.set", _ONE, {"gate": "delivery", "due_on": "2031-04-22", "reason": "One day more"}),
))  # fmt: skip

_SALTED = Batch("salted", "office", "2031-03-10T14:00:00Z", (
    ("rate.set", _SHOW, {"currency": "EUR", "from_on": "2031-06-01",
                         "rates": dict.fromkeys(_LINE, "11"), "credit": 0.5}),
    ("element.listed", "KESTREL:attic", {"kind": "background", "title": "The attic"}),
))  # fmt: skip

_TAKEN_BACK = Batch("taken-back", "supervisor", "2031-03-10T15:00:00Z", (
    ("hand-out.made", f"{_ONE}/4", {"department": "layout", "artist": "lo-07"}),
    ("hand-out.withdrawn", f"{_ONE}/4", {"department": "layout"}),
))  # fmt: skip

BATCHES: tuple[Batch, ...] = (
    _OPENING,
    _DESKS,
    _SUPERVISION,
    _ORDERS,
    _WITHDRAWN,
    _MISTAKE,
    _STRUCK,
    _PRICED,
    _ANSWERED,
    _FORGOTTEN,
    _LOOKED_AT,
    _HARD_DATE,
    _CODES,
    _DATES,
    _DATE_STRUCK,
    _DATE_ANEW,
    _SALTED,
    _TAKEN_BACK,
)
