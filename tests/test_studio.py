"""The warm fold: the same in every worker, at every position, strikes included."""

import pytest
from sqlalchemy import Engine

from service.log.read import PAGE_BYTES_MAX
from service.production.decide import retell
from service.production.folding import fold
from service.production.state import EMPTY, visit_of
from service.production.takes import Phase
from service.record import OpenStudio
from service.studio import NotYetError
from service.vocabulary.event import Event
from service.vocabulary.facts.record import EventStruck
from tests import recording
from tests.projections.logs import office_story, record
from tests.recording import fact, posted, set_clock, worker
from tests.telling import office_facts
from tests.workers import (
    SCENE,
    SMALL,
    assert_happened,
    assert_states,
    log_of,
    small_studio,
    started,
    state_at,
    strikes_of,
    tell_of_late_facts,
    tell_with_strikes,
    unstruck_of,
)


@pytest.fixture
def studio(engine: Engine) -> OpenStudio:
    return small_studio(engine)


def test_every_worker_folds_to_the_same_state(studio: OpenStudio, engine: Engine) -> None:
    other = worker(engine, SMALL)
    other.view()
    tell_with_strikes(studio)
    cold = worker(engine, SMALL)
    assert other.view().state == cold.view().state == studio.view().state
    take = visit_of(cold.view().state, SCENE, "animation").current
    assert (take.number, take.phase) == (1, Phase.ON_DESK)


def test_the_state_as_it_was_known_at_every_position(studio: OpenStudio, engine: Engine) -> None:
    tell_with_strikes(studio)
    assert_states(engine, studio, worker(engine, SMALL))


def test_a_strike_by_one_worker_is_decided_against_what_another_recorded(
    studio: OpenStudio, engine: Engine
) -> None:
    other = worker(engine, SMALL)
    (start,) = posted(studio, [started("layout", 1)])
    posted(other, [started("layout", 1, "hand-off.made")])
    posted(studio, strikes_of(start.position))
    for one in (studio, other, worker(engine, SMALL)):
        take = visit_of(one.view().state, SCENE, "layout").current
        assert take.phase is Phase.HANDED_OFF
        assert take.started_us == take.ended_us


def test_a_read_waits_for_a_position_and_says_so_when_it_does_not_come(
    studio: OpenStudio,
) -> None:
    head = studio.view().position
    assert studio.view(head).position == head
    with pytest.raises(NotYetError) as raised:
        studio.view(head + 1, 0.05)
    assert (raised.value.position, raised.value.head) == (head + 1, head)


def test_the_plan_is_kept_for_a_position_and_a_minute(studio: OpenStudio, engine: Engine) -> None:
    view = studio.view()
    warm = studio.warm
    assert warm.planned(view) is warm.planned(studio.view())
    set_clock(engine, "2031-03-03T10:00:30Z")
    later = studio.view()
    assert later.now_min == view.now_min + 120
    assert warm.planned(later) is not warm.planned(view)


def test_the_impact_of_a_recorded_event_does_not_change(studio: OpenStudio, engine: Engine) -> None:
    posted(studio, [started("layout", 1), started("layout", 1, "hand-off.made")])
    call = {
        "retake": "R1",
        "kind": "retake",
        "urgency": "must-fix",
        "back_to": "layout",
        "strands": ["character"],
        "share": 0.5,
    }
    (receipt,) = posted(studio, [fact("retake.called", SCENE, call, id="r1")])
    event = log_of(engine)[receipt.position - 1]
    first = studio.warm.impact_of(event)
    assert [visit.department for visit in first.reopened] == ["layout"]
    set_clock(engine, "2031-05-01T10:00:00Z")
    posted(studio, [started("layout", 2), started("layout", 2, "hand-off.made")])
    assert worker(engine, SMALL).warm.impact_of(event) == first
    assert len(first.episodes) == 2


def test_what_is_now_known_to_have_been_at_every_moment(studio: OpenStudio, engine: Engine) -> None:
    tell_of_late_facts(studio, engine)
    cold = worker(engine, SMALL)
    cold.view()
    assert_happened(engine, studio, cold)


def test_what_happened_is_read_to_its_end_however_long_the_log(
    studio: OpenStudio, engine: Engine
) -> None:
    """A page of events is bounded by bytes; what is folded is not."""
    tell_of_late_facts(studio, engine)
    # told last, of what happened first: all of it is read for the moments between
    said = {"to": "paint", "text": "Moon too low. " * 4000}
    more = range(PAGE_BYTES_MAX // len(said["text"]) + 2)
    posted(studio, [fact("note.given", SCENE, {"note": f"L{n}", **said}, id=f"l{n}") for n in more])
    cold = worker(engine, SMALL)
    cold.view()
    assert_happened(engine, cold)


def test_what_a_strike_is_decided_against_is_what_was_known_then(
    studio: OpenStudio, engine: Engine
) -> None:
    """Also where the worker has read on since, past strikes that were not known then."""
    tell_with_strikes(studio)
    events, cold = log_of(engine), worker(engine, SMALL)
    cold.view()
    with engine.connect() as connection:
        for until in between_batches(events):
            wanted = state_at(events, until)
            for one in (studio, cold):
                for before in range(1, until + 2):
                    past = one.warm.history.past(connection, before, until, ())
                    assert fold(past.state, past.events) == wanted
                    assert past.struck == one.warm.history.struck_at(until)


def test_what_was_known_of_every_moment_at_every_position(
    studio: OpenStudio, engine: Engine
) -> None:
    tell_of_late_facts(studio, engine)
    events, cold = log_of(engine), worker(engine, SMALL)
    cold.view()
    moments = {event.time_us for event in events}
    for until in between_batches(events):
        so_far = [event for event in events if event.position <= until]
        unstruck = unstruck_of(so_far)
        for at_us in moments:
            wanted = retell(EMPTY, [event for event in unstruck if event.time_us <= at_us])
            for one in (studio, cold):
                assert one.warm.history.as_it_happened(at_us, until) == wanted


def between_batches(events: list[Event]) -> list[int]:
    """Positions from the office's last on at which no batch of strikes was half recorded."""
    strikes = {event.position for event in events if isinstance(event.fact, EventStruck)}
    first = len(office_facts(scenes=3))
    return [at for at in range(first, len(events) + 1) if not {at, at + 1} <= strikes]


def test_a_history_apart_tells_what_was_known_from_position_to_position(
    studio: OpenStudio, engine: Engine
) -> None:
    tell_with_strikes(studio)
    log = log_of(engine)
    strikes = {event.position for event in log if isinstance(event.fact, EventStruck)}
    ends = [at for at in range(1, len(log) + 1) if not {at, at + 1} <= strikes]
    assert strikes - set(ends), "some follow each other"
    past = studio.warm.history.apart()
    for position in ends:
        assert past.at(position) == studio.warm.history.as_known_at(position)
    assert past.at(ends[0]) == studio.warm.history.as_known_at(ends[0])


def test_what_was_taken_by_earlier_rules_stands_as_known_whatever_is_struck_later(
    engine: Engine,
) -> None:
    """Such as a hold of a scene that is held already, which today's rules refuse."""
    recording.make(engine)
    story = office_story()
    for by_on in ("2031-03-20", "2031-03-25"):
        held = story.event("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": by_on})
        story.events.append(held)
    first = len(story.events) + 1
    for number in (1, 2):
        story.events.append(story.event("priority.set", "KESTREL-1/2", {"priority": number}))
    for minute, position in enumerate((first, first + 1)):
        story.now = f"2031-03-05T12:0{minute}:00Z"
        strike = {"position": position, "why": "slip"}
        story.events.append(story.event("event.struck", "studio", strike))
    entries = [(event, story.data_by_position[event.position]) for event in story.events]
    record(engine, entries[:-1])
    then = worker(engine, SMALL)
    known = then.view().state
    record(engine, entries[-1:])
    for one in (then, worker(engine, SMALL)):
        one.view()
        assert one.warm.history.as_known_at(len(entries) - 1) == known
