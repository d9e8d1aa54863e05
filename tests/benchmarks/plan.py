"""From one more recorded event to a fresh plan of the demo's line, in process.

The line is the demo's as if no episode had been delivered yet: all 13 are planned at once, and the
state says so of every event that came before.
"""

from collections.abc import Callable
from typing import Any

from service.planning.board.board import advance, make_board
from service.planning.kernel.dispatch import dispatch, warm
from service.planning.plan.schedule import schedule
from service.production.folding import fold
from service.production.state import EMPTY, State
from service.production.takes import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.supervision import EpisodeDelivered
from service.vocabulary.instants import US_PER_MIN
from service.vocabulary.kinds import reviver
from tests.benchmarks.figures import Figure, Size, best_s, no_collector
from tests.seed.generated import DAYS, unstruck

TIMES = 15
DAYS_LEAST = 24


def measure(size: Size) -> list[Figure]:
    """Milliseconds by kind of event, beside a plan from nothing."""
    warm()
    recorded = unstruck(size.of(DAYS, DAYS_LEAST))
    state = fold(
        EMPTY, (event for event in recorded if not isinstance(event.fact, EpisodeDelivered))
    )
    last = recorded[-1]
    now_min = last.recorded_us // US_PER_MIN
    board = make_board(state)
    times = size.of(TIMES, 2)

    def from_nothing() -> object:
        return schedule(make_board(state), now_min)

    def after(event: Event) -> Callable[[], object]:
        return lambda: schedule(advance(board, fold(state, [event])), now_min)

    with no_collector():
        planned = schedule(board, now_min)
        dispatch_s = best_s(lambda: dispatch(planned.line), times)
        nothing_s = best_s(from_nothing, max(2, times // 5))
        figures = [
            Figure("episodes of the line", len(board.frame.episodes), "episodes"),
            Figure("visits of the line", len(board.phase), "visits"),
            Figure("dispatch alone", dispatch_s * 1000, "ms"),
            Figure("from nothing", nothing_s * 1000, "ms", nothing_s / dispatch_s, "dispatch"),
        ]
        for event in events(state, last):
            taken_s = best_s(after(event), times)
            what = f"after {event.fact.TYPE}"
            figures.append(
                Figure(what, taken_s * 1000, "ms", taken_s / nothing_s, "a plan from nothing")
            )
    return figures


def events(state: State, last: Event) -> list[Event]:
    """One of several kinds that could be recorded next; some change the items of the line."""
    item, department = next(
        (item, department)
        for item, visits in state.visits.items()
        if item in state.scenes and state.episodes[state.scenes[item].episode].delivered_us < 0
        for department, visit in visits.items()
        if visit.current.phase is Phase.ON_DESK
    )
    episode = state.scenes[item].episode
    call = {
        "retake": "R-MEASURED",
        "kind": "retake",
        "urgency": "must-fix",
        "back_to": department,
        "strands": ["background", "character"],
        "share": 0.2,
        "asked_by": "studio",
    }
    element = next(name for name, one in state.elements.items() if one.kind == "background")
    scene = next(
        name
        for name, one in state.scenes.items()
        if "background" in one.departments and "camera" not in state.visits.get(name, {})
    )
    facts: list[tuple[str, str, dict[str, Any]]] = [
        ("hand-off.made", item, {"department": department}),
        ("retake.called", item, call),
        ("scene.listed", f"{episode}/999Z", {"frames": 96, "drawings": 40, "levels": 1}),
        ("scene.omitted", item, {}),
        ("element.used", element, {"scenes": [scene]}),
        ("episode.delivered", episode, {}),
    ]
    return [
        Event(
            last.position + 1,
            "/measured",
            type_,
            subject,
            last.recorded_us,
            last.recorded_us,
            "measured",
            reviver(CATALOGUE[type_])(data),
        )
        for type_, subject, data in facts
    ]
