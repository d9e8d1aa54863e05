"""Workers of one studio: facts to post through them, and the history that each must then give."""

from sqlalchemy import Engine

from service.kept import Keeping
from service.log.read import bodies
from service.production.decide import retell
from service.production.state import EMPTY, State
from service.record import OpenStudio
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck
from tests import recording
from tests.recording import NAME, fact, posted, set_clock, worker
from tests.telling import office_facts

SCENE = "KESTREL-1/1"
SMALL = Keeping(every=4, far_every=8, states_most=6, read_at_once=7)


def small_studio(engine: Engine, keeping: Keeping = SMALL) -> OpenStudio:
    """A worker of a new studio; so little is kept that a short log passes through all branches."""
    recording.make(engine)
    opened = worker(engine, keeping)
    posted(opened, office_facts(scenes=3), role="office")
    return opened


def started(department: str, number: int, kind: str = "work.started") -> dict[str, object]:
    return fact(kind, SCENE, {"department": department}, id=f"{kind}-{department}-{number}")


def strikes_of(*positions: int) -> list[dict[str, object]]:
    """A strike for each of these events, to be posted as a batch."""
    return [
        fact(
            "event.struck", "studio", {"position": at, "why": "slip of the pen"}, id=f"strike-{at}"
        )
        for at in positions
    ]


def tell_with_strikes(studio: OpenStudio) -> None:
    """Desks at work on a scene, another one held and freed; some of it struck, some in batches."""
    posted(studio, [started("layout", 1), started("layout", 1, "hand-off.made")])
    (start, end) = posted(
        studio, [started("animation", 1), started("animation", 1, "hand-off.made")]
    )
    posted(studio, [fact("scene.held", "KESTREL-1/2",
                         {"owes": "client", "by_on": "2031-03-10"}, id="held")])  # fmt: skip
    posted(studio, strikes_of(start.position, end.position))
    posted(studio, [started("animation", 2)])
    (freed,) = posted(studio, [fact("scene.freed", "KESTREL-1/2", id="freed")])
    posted(studio, strikes_of(freed.position))


def log_of(engine: Engine) -> list[Event]:
    with engine.connect() as connection:
        return [read_event(body) for _, body in bodies(connection, NAME, 0)]


def state_at(events: list[Event], position: int) -> State:
    """The definition, by the slow way: all of the log up to there, less what it strikes."""
    return retell(EMPTY, unstruck_of([e for e in events if e.position <= position])).state


def unstruck_of(events: list[Event]) -> list[Event]:
    """What stands of events by the strikes among them."""
    struck = {event.fact.position for event in events if isinstance(event.fact, EventStruck)}
    return [event for event in events if event.position not in struck]


def assert_states(engine: Engine, *workers: OpenStudio) -> None:
    """Every worker that has caught up gives the state of every position as the log has it."""
    events = log_of(engine)
    for one in workers:
        one.view()
    for position in range(len(events) + 1):
        wanted = state_at(events, position)
        for one in workers:
            found = one.warm.history.as_known_at(position)
            assert found == wanted, (position, found.differences(wanted))
    for one in workers:
        assert one.view().state == wanted


def tell_of_late_facts(studio: OpenStudio, engine: Engine) -> None:
    """Facts that come in another order than they happened in; two of them struck."""
    set_clock(engine, "2031-03-05T12:00:00Z")
    facts = [
        ("work.started", "layout", "2031-03-04T09:00:00Z"),
        ("hand-off.made", "layout", "2031-03-04T13:00:00Z"),
        # recorded last, but before both
        ("hand-out.made", "layout", "2031-03-03T09:00:00Z"),
        ("work.started", "animation", "2031-03-05T09:00:00Z"),
    ]
    for number, (type_, department, at) in enumerate(facts):
        data = {"department": department} | ({"artist": "L7"} if type_ == "hand-out.made" else {})
        posted(studio, [fact(type_, SCENE, data, id=f"late-{number}", at=at)])
    tell_late_strikes(studio, engine)


def assert_happened(engine: Engine, *workers: OpenStudio) -> None:
    """Every worker gives for every moment what by the whole log had happened until then."""
    events = log_of(engine)
    unstruck = unstruck_of(events)
    for at_us in sorted({event.time_us + step for event in events for step in (-1, 0)}):
        wanted = retell(EMPTY, [event for event in unstruck if event.time_us <= at_us])
        for one in workers:
            happened = one.warm.history.as_it_happened(at_us, len(events))
            assert happened.state == wanted.state, wanted.state.differences(happened.state)
            assert happened.set_aside == wanted.set_aside


def tell_late_strikes(studio: OpenStudio, engine: Engine) -> None:
    """Strike the last start, and the hand-out that was recorded late."""
    starts = [
        event.position
        for event in log_of(engine)
        if event.subject == SCENE and event.fact.TYPE in {"hand-out.made", "work.started"}
    ]
    posted(studio, strikes_of(*starts[-2:]))
