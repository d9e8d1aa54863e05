"""The warm fold: the same in every worker, at every position, strikes included."""

import pytest
from sqlalchemy import Engine

from service import kept as kept_module
from service import studio as studio_module
from service.log.read import bodies
from service.production.decide import retell
from service.production.state import EMPTY, State, visit_of
from service.production.visits import Phase
from service.record import OpenStudio
from service.studio import NotYetError
from service.vocabulary.event import Event, read_event
from service.vocabulary.facts.record import EventStruck
from tests import recording
from tests.recording import NAME, fact, posted, set_clock, worker
from tests.telling import office_facts

SCENE = "KESTREL-1/1"


@pytest.fixture
def studio(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> OpenStudio:
    # small figures, so that a short log passes through every branch
    for module in (studio_module, kept_module):
        monkeypatch.setattr(module, "KEPT_EVERY", 4)
        monkeypatch.setattr(module, "KEPT_DENSE", 3)
        monkeypatch.setattr(module, "KEPT_SPARSE_EVERY", 8)
    monkeypatch.setattr(studio_module, "CHUNK_EVENTS", 7)
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    return opened


def _started(department: str, number: int, kind: str = "work.started") -> dict[str, object]:
    return fact(kind, SCENE, {"department": department}, id=f"{kind}-{department}-{number}")


def _strike(*positions: int) -> list[dict[str, object]]:
    return [
        fact(
            "event.struck", "studio", {"position": at, "why": "slip of the pen"}, id=f"strike-{at}"
        )
        for at in positions
    ]


def _tell_with_strikes(studio: OpenStudio) -> None:
    posted(studio, [_started("layout", 1), _started("layout", 1, "hand-off.made")])
    (start, end) = posted(
        studio, [_started("animation", 1), _started("animation", 1, "hand-off.made")]
    )
    posted(studio, [fact("scene.held", "KESTREL-1/2",
                         {"owes": "client", "by_on": "2031-03-10"}, id="held")])  # fmt: skip
    posted(studio, _strike(start.position, end.position))
    posted(studio, [_started("animation", 2)])
    (freed,) = posted(studio, [fact("scene.freed", "KESTREL-1/2", id="freed")])
    posted(studio, _strike(freed.position))


def _log(engine: Engine) -> list[Event]:
    with engine.connect() as connection:
        return [read_event(body) for _, body in bodies(connection, NAME, 0)]


def _known_at(events: list[Event], position: int) -> State:
    """The definition, by the slow way: all of the log up to there, less what it strikes."""
    told = [event for event in events if event.position <= position]
    struck = {event.fact.position for event in told if isinstance(event.fact, EventStruck)}
    return retell(EMPTY, [event for event in told if event.position not in struck]).state


def test_every_worker_folds_to_the_same_state(studio: OpenStudio, engine: Engine) -> None:
    other = worker(engine)
    other.view()
    _tell_with_strikes(studio)
    cold = worker(engine)
    assert other.view().state == cold.view().state == studio.view().state
    take = visit_of(cold.view().state, SCENE, "animation").current
    assert (take.number, take.phase) == (1, Phase.ON_DESK)


def test_the_state_as_it_was_known_at_every_position(studio: OpenStudio, engine: Engine) -> None:
    _tell_with_strikes(studio)
    events = _log(engine)
    warm, cold = studio, worker(engine)
    cold.view()
    for position in range(len(events) + 1):
        wanted = _known_at(events, position)
        for one in (warm, cold):
            known = one.warm.as_known_at(position)
            assert known == wanted, (position, known.differences(wanted))


def test_a_strike_by_one_worker_is_decided_against_what_another_recorded(
    studio: OpenStudio, engine: Engine
) -> None:
    other = worker(engine)
    (start,) = posted(studio, [_started("layout", 1)])
    posted(other, [_started("layout", 1, "hand-off.made")])
    posted(studio, _strike(start.position))
    for one in (studio, other, worker(engine)):
        take = visit_of(one.view().state, SCENE, "layout").current
        assert take.phase is Phase.HANDED_OFF
        assert take.started_us == take.ended_us


def test_a_read_waits_for_a_position_and_says_so_when_it_does_not_come(
    studio: OpenStudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(studio_module, "WAIT_S_MAX", 0.05)
    head = studio.view().position
    assert studio.view(head).position == head
    with pytest.raises(NotYetError) as told:
        studio.view(head + 1)
    assert (told.value.position, told.value.head) == (head + 1, head)


def test_the_plan_is_kept_for_a_position_and_a_minute(studio: OpenStudio, engine: Engine) -> None:
    view = studio.view()
    assert view.schedule() is studio.view().schedule()
    set_clock(engine, "2031-03-03T10:00:30Z")
    later = studio.view()
    assert later.now_min == view.now_min + 120
    assert later.schedule() is not view.schedule()


def test_the_impact_of_a_recorded_event_does_not_change(studio: OpenStudio, engine: Engine) -> None:
    posted(studio, [_started("layout", 1), _started("layout", 1, "hand-off.made")])
    call = {
        "retake": "R1",
        "kind": "retake",
        "urgency": "must-fix",
        "back_to": "layout",
        "strands": ["character"],
        "share": 0.5,
    }
    (receipt,) = posted(studio, [fact("retake.called", SCENE, call, id="r1")])
    event = _log(engine)[receipt.position - 1]
    first = studio.warm.impact_of(event)
    assert [visit.department for visit in first.reopened] == ["layout"]
    set_clock(engine, "2031-05-01T10:00:00Z")
    posted(studio, [_started("layout", 2), _started("layout", 2, "hand-off.made")])
    assert worker(engine).warm.impact_of(event) == first
    assert len(first.episodes) == 2


def test_what_is_now_known_to_have_been_at_every_moment(studio: OpenStudio, engine: Engine) -> None:
    set_clock(engine, "2031-03-05T12:00:00Z")
    told = [
        ("work.started", "layout", "2031-03-04T09:00:00Z"),
        ("hand-off.made", "layout", "2031-03-04T13:00:00Z"),
        # recorded last, but before both
        ("hand-out.made", "layout", "2031-03-03T09:00:00Z"),
        ("work.started", "animation", "2031-03-05T09:00:00Z"),
    ]
    for number, (type_, department, at) in enumerate(told):
        data = {"department": department} | ({"artist": "L7"} if type_ == "hand-out.made" else {})
        posted(studio, [fact(type_, SCENE, data, id=f"late-{number}", at=at)])
    _tell_with_strikes_of(studio, engine)
    events = _log(engine)
    cold = worker(engine)
    cold.view()
    struck = {event.fact.position for event in events if isinstance(event.fact, EventStruck)}
    standing = [event for event in events if event.position not in struck]
    for at_us in sorted({event.time_us + step for event in events for step in (-1, 0)}):
        wanted = retell(EMPTY, [event for event in standing if event.time_us <= at_us])
        for one in (studio, cold):
            told_then = one.warm.as_it_happened(at_us, len(events))
            assert told_then.state == wanted.state, wanted.state.differences(told_then.state)
            assert told_then.set_aside == wanted.set_aside


def _tell_with_strikes_of(studio: OpenStudio, engine: Engine) -> None:
    """Strike the last start, and the hand-out that was recorded late."""
    starts = [
        event.position
        for event in _log(engine)
        if event.subject == SCENE and event.fact.TYPE in {"hand-out.made", "work.started"}
    ]
    posted(studio, _strike(*starts[-2:]))
