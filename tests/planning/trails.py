"""Random logs, strikes among them, with the minutes at which they were recorded, and their trails.

The slow way beside them: every state folded from nothing, every plan made from nothing.
"""

from collections.abc import Sequence
from functools import partial
from itertools import groupby
from random import Random

from msgspec.structs import replace

from service.planning.board.board import make_board
from service.planning.compare.trail import DateMove, Walk, begin, step
from service.planning.plan.schedule import Schedule, schedule
from service.production.decide import Accepted, retell
from service.production.state import EMPTY, State
from service.vocabulary.event import Event
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.production.random_logs import tell_at_random
from tests.telling import Story, studio

OPENED_MIN = parse_instant("2031-03-03T08:00:00Z") // US_PER_MIN
NOTHING = begin(schedule(make_board(EMPTY), OPENED_MIN), 0, {})
STEPS_MIN = (0, 0, 0, 1, 7, 60, 60, 600, 2 * 1440)
STRIKES_SHARE = 0.1


def log_at_random(seeds: Sequence[int]) -> list[Event]:
    """The small studio, then a random fact for each seed that the rules accept, or a strike."""
    story = studio(scenes=2)
    for seed in seeds:
        random = Random(seed)
        if random.random() < STRIKES_SHARE:
            strike_at_random(story, random)
        else:
            tell_at_random(story, [seed])
    return recorded_at_random(story.events, Random(len(seeds)))


def strike_at_random(story: Story, random: Random) -> None:
    """Strike one of the last facts, if the rules let it."""
    position = random.choice(story.unstruck()[-20:]).position
    event = story.event("event.struck", "studio", {"position": position, "why": "a slip"})
    if isinstance(story.propose(event), Accepted):
        story.record(event)


def recorded_at_random(events: Sequence[Event], random: Random) -> list[Event]:
    """The same events, recorded one after the other, often several in a minute."""
    at_us = OPENED_MIN * US_PER_MIN
    stamped = []
    for event in events:
        at_us = max(at_us, event.time_us) + random.choice(STEPS_MIN) * US_PER_MIN
        stamped.append(replace(event, recorded_us=at_us))
    return stamped


def state_at(events: Sequence[Event], position: int) -> State:
    """The state at a position, folded from nothing."""
    so_far = events[:position]
    struck = {event.fact.position for event in so_far if isinstance(event.fact, EventStruck)}
    return retell(EMPTY, [event for event in so_far if event.position not in struck]).state


def plan_from_nothing(events: Sequence[Event], position: int, now_min: int) -> Schedule:
    """The plan of a position at a minute."""
    return schedule(make_board(state_at(events, position)), now_min)


def minutes_of(events: Sequence[Event]) -> list[tuple[int, list[Event]]]:
    """What was recorded in each minute."""
    grouped = groupby(events, lambda event: event.recorded_us // US_PER_MIN)
    return [(minute, list(of_minute)) for minute, of_minute in grouped]


def walked(
    events: Sequence[Event], walk: Walk = NOTHING, cuts: frozenset[int] = frozenset()
) -> tuple[list[DateMove], Walk]:
    """The trail of a log; before the minutes in `cuts` it begins anew from what is stored."""
    moves: list[DateMove] = []
    for number, (now_min, recorded) in enumerate(minutes_of(events)):
        if number in cuts:
            planned = plan_from_nothing(events, walk.position, walk.now_min)
            walk = begin(planned, walk.position, walk.ends)
        after = partial(state_at, events)
        more, walk = step(walk, now_min, recorded, after)
        moves += more
    return moves, walk
