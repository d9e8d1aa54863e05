"""The fold of a year's log in memory, beside the reading of the same events' JSON."""

import orjson

from service.production.folding import fold
from service.production.state import EMPTY, State
from service.vocabulary.event import Event, read_event
from tests.benchmarks import year
from tests.benchmarks.figures import Figure, Size, best_s, no_collector

AT_ONCE = 8192


def measure(size: Size) -> list[Figure]:
    """Events a second: the fold of decoded events, and their decoding."""
    raw = [orjson.dumps(body) for body in year.bodies_of_part(size)]
    events = [read_event(body) for body in raw]
    with no_collector():
        parsed_s = best_s(lambda: [orjson.loads(body) for body in raw], 2)
        read_s = best_s(lambda: [read_event(body) for body in raw], 2)
        folded_s = best_s(lambda: folded(events), 2)
    count = len(events)
    beside = "JSON of the same events parsed"
    return [
        Figure("events in the log", count, "events"),
        Figure("JSON parsed", count / parsed_s, "events/s"),
        Figure("decoded", count / read_s, "events/s", parsed_s / read_s, beside),
        Figure("folded, decoded before", count / folded_s, "events/s", parsed_s / folded_s, beside),
    ]


def folded(events: list[Event]) -> State:
    """The state that the events add up to."""
    state = EMPTY
    for first in range(0, len(events), AT_ONCE):
        state = fold(state, events[first : first + AT_ONCE])
    return state
