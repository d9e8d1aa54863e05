"""Workers that start from snapshots: they know what those know that folded the whole log."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from random import Random
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, text

from service import history as history_module
from service import kept as kept_module
from service.kept import Snapshots, load
from service.log.read import bodies
from service.log.snapshots import KEPT, write_snapshot
from service.planning.board.board import make_board
from service.planning.plan.schedule import schedule
from service.production.refusal import Refusal
from service.production.snapshot import Thawed
from service.record import OpenStudio
from tests.recording import NAME, SEAL_KEY, fact, post, posted, worker
from tests.workers import (
    SCENE,
    SMALL,
    assert_happened,
    assert_states,
    log_of,
    small_studio,
    state_at,
    strikes_of,
    tell_of_late_facts,
    tell_with_strikes,
)

SNAPSHOT_EVERY = 5
KEEPING = replace(SMALL, snapshot_every=SNAPSHOT_EVERY)


@pytest.fixture
def studio(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> Iterator[OpenStudio]:
    """A worker of a studio with a snapshot every few events."""
    made: list[Snapshots] = []

    class Noted(Snapshots):
        def __init__(self, *given: Any) -> None:
            super().__init__(*given)
            made.append(self)

    monkeypatch.setattr(history_module, "Snapshots", Noted)
    opened = small_studio(engine, KEEPING)
    _snapped(opened)
    yield opened
    for one in made:
        one.wait()  # nothing is written any more when the database goes


def _snapped(studio: OpenStudio) -> None:
    """Have the snapshot written that is due: not before the one that is being written."""
    studio.warm.history.snapshots.wait()
    studio.view()
    studio.warm.history.snapshots.wait()


def _snapshots(engine: Engine) -> list[int]:
    with engine.connect() as connection:
        query = text("SELECT position FROM snapshot ORDER BY position")
        return list(connection.execute(query).scalars())


def started_warm(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> OpenStudio:
    """A worker that started from the last snapshot and read no more than what follows it."""
    loaded: list[int] = []
    read: list[int] = []

    def watched_load(*args: Any) -> tuple[int, Thawed] | None:
        found = load(*args)
        loaded.append(found[0] if found else 0)
        return found

    def watched_bodies(
        connection: Connection, studio: str, after: int, *more: int
    ) -> list[tuple[int, bytes]]:
        read.append(after)
        return bodies(connection, studio, after, *more)

    opened = worker(engine, KEEPING)
    with monkeypatch.context() as patched:
        patched.setattr(history_module, "load", watched_load)
        patched.setattr(history_module, "bodies", watched_bodies)
        head = opened.view().position
    assert len(loaded) == 1
    assert loaded[0] > 0
    assert read[:1] == ([] if loaded[0] == head else loaded)
    opened.warm.history.snapshots.wait()
    return opened


def notes(count: int, name: str = "n") -> list[dict[str, object]]:
    return [
        fact("note.given", SCENE, {"note": f"{name}{number}", "to": "paint", "text": "Look."},
             id=f"note-{name}{number}")
        for number in range(count)
    ]  # fmt: skip


def test_a_worker_that_starts_from_a_snapshot_knows_all_that_was_known(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At every stage of the story: the last snapshots lie now before, now behind what is struck."""
    stages: list[OpenStudio] = []
    record = studio.recorder.record

    def watched(*args: Any) -> Any:
        answer = record(*args)
        _snapped(studio)
        stages.append(started_warm(engine, monkeypatch))
        return answer

    monkeypatch.setattr(studio.recorder, "record", watched)
    tell_with_strikes(studio)
    posted(studio, notes(7))
    assert len(_snapshots(engine)) == KEPT
    assert_states(engine, studio, *stages, started_warm(engine, monkeypatch))


def test_what_a_worker_started_from_need_not_be_read_again(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    posted(studio, notes(2))
    late = started_warm(engine, monkeypatch)

    def again(*_: object) -> None:
        raise AssertionError("a snapshot was asked for")

    monkeypatch.setattr(kept_module, "load", again)
    before = late.warm.history.as_known_at(late.view().position - 1)
    assert before == state_at(log_of(engine), late.view().position - 1)


def test_a_worker_that_starts_from_a_snapshot_plans_alike(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    tell_with_strikes(studio)
    _snapped(studio)
    posted(studio, [fact("hand-out.made", "KESTREL-1/2", {"department": "layout", "artist": "L7"},
                           id="out")])  # fmt: skip
    another = started_warm(engine, monkeypatch).warm
    warm, other = studio.view(), another.view()
    assert (other.position, other.now_us) == (warm.position, warm.now_us)
    one, same = studio.warm.planned(warm), another.planned(other)
    for planner, view, state in ((studio.warm, warm, other.state), (another, other, warm.state)):
        assert planner.branched(view, state).plan.finish.tolist() == one.plan.finish.tolist()
    assert same.plan.start.tolist() == one.plan.start.tolist()
    assert dict(same.board.frame.row_of) == dict(one.board.frame.row_of)
    assert len(one.plan.start) > 20
    cold = make_board(state_at(log_of(engine), warm.position))
    assert schedule(cold, warm.now_min).plan.finish.tolist() == one.plan.finish.tolist()


def test_the_impact_of_an_event_is_the_same_wherever_its_states_come_from(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A scene listed to be looked at is in the impact of the call, and of no event behind it."""
    posted(studio, [fact("hook-up.declared", SCENE, {"to": "KESTREL-1/2"}, id="joined")], "office")
    posted(studio, [fact("work.started", SCENE, {"department": "layout"}, id="started")])
    data: dict[str, object] = {"retake": "R1", "kind": "retake", "urgency": "must-fix"}
    data |= {"back_to": "layout", "strands": ["character"], "share": 0.5}
    (call,) = posted(studio, [fact("retake.called", SCENE, data, id="called")])
    (first, *_) = posted(studio, notes(6, "a"))
    posted(studio, strikes_of(first.position))
    posted(studio, notes(6, "b"))
    _snapped(studio)
    workers = [studio, started_warm(engine, monkeypatch)]
    listed = []
    for event in log_of(engine)[call.position - 1 :]:
        one, other = (worker.warm.impact_of(event) for worker in workers)
        assert one == other
        listed += [(event.position, look.scene) for look in one.to_look_at]
    assert listed == [(call.position, "KESTREL-1/2")]


def test_a_worker_that_starts_from_a_snapshot_tells_what_happened_alike(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    tell_of_late_facts(studio, engine)
    _snapped(studio)
    posted(studio, notes(3))
    _snapped(studio)
    assert_happened(engine, started_warm(engine, monkeypatch))


@pytest.mark.parametrize("behind", [0, 1, 4, 5, 9, 10, 14, 15, 16, 17])
def test_a_strike_of_what_lies_before_or_behind_a_snapshot(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch, behind: int
) -> None:
    for name in "abc":
        posted(studio, notes(SNAPSHOT_EVERY, name))
        _snapped(studio)
    posted(studio, notes(3, "d"))
    assert len(_snapshots(engine)) == KEPT
    before, striking = (started_warm(engine, monkeypatch) for _ in range(2))
    given = posted(striking, strikes_of(before.view().position - behind))
    assert striking.view().position == given[0].position
    after = started_warm(engine, monkeypatch)
    assert_states(engine, studio, before, striking, after)
    # and once more, on what was decided anew
    posted(after, strikes_of(before.view().position - 7))
    assert_states(engine, studio, before, striking, started_warm(engine, monkeypatch), after)


def test_reading_a_snapshot_holds_nobody_up(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in "abc":
        posted(studio, notes(SNAPSHOT_EVERY, name))
        _snapped(studio)
    cold = started_warm(engine, monkeypatch)
    others: list[bool] = []

    def slow_load(*args: Any) -> tuple[int, Thawed] | None:
        other = threading.Thread(target=cold.view, daemon=True)
        other.start()
        other.join(10)
        others.append(other.is_alive())
        return load(*args)

    early = cold.view().position - 2 * SNAPSHOT_EVERY
    monkeypatch.setattr(kept_module, "load", slow_load)
    assert cold.warm.history.as_known_at(early) == state_at(log_of(engine), early)
    assert others == [False]
    assert cold.warm.history.as_known_at(early) == state_at(log_of(engine), early)
    assert others == [False], "it is kept"


def test_a_batch_of_strikes_from_both_sides_of_a_snapshot(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within the batch one of two is struck and not yet what rests on it."""
    (first,) = posted(studio, notes(1, "x"))
    posted(studio, notes(20, "a"))  # so many that a state between the two is kept
    _snapped(studio)
    assert _snapshots(engine)[-1] > first.position
    answer = {"note": "x0", "text": "Done."}
    (second,) = posted(studio, [fact("note.answered", SCENE, answer, id="answered")])
    posted(studio, notes(7, "b"))
    _snapped(studio)
    striking = started_warm(engine, monkeypatch)
    batch = [*strikes_of(first.position, second.position), *notes(2, "c")]
    posted(striking, batch)
    posted(studio, notes(4, "d"))
    _snapped(studio)
    after = started_warm(engine, monkeypatch)
    assert_states(engine, studio, striking, after, worker(engine, KEEPING))


def test_no_snapshot_is_of_what_was_not_committed(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nor is it written of what took the place of that: writing waits until all is over."""
    wait = threading.Event()

    def last(*args: Any) -> bool:
        assert wait.wait(60)
        return write_snapshot(*args)

    def lost(*_: object, **_more: object) -> None:
        raise ConnectionResetError("gone before the commit")

    head = studio.view().position
    snapshots = Snapshots(NAME, engine, SEAL_KEY, SNAPSHOT_EVERY, last)
    snapshots.started_at(head)
    studio.warm.history.snapshots = snapshots
    with monkeypatch.context() as patched:
        patched.setattr("service.log.chain.append_rows", lost)
        with pytest.raises(ConnectionResetError):
            posted(studio, notes(2 * SNAPSHOT_EVERY, "lost"))
    assert _snapshots(engine) == [head]
    posted(studio, notes(2 * SNAPSHOT_EVERY, "kept"))
    wait.set()
    _snapped(studio)
    assert _snapshots(engine) == [head, head + 2 * SNAPSHOT_EVERY]
    late = started_warm(engine, monkeypatch)
    assert_states(engine, studio, late)


def test_spoilt_snapshots_are_done_without(
    studio: OpenStudio, engine: Engine, caplog: pytest.LogCaptureFixture
) -> None:
    tell_with_strikes(studio)
    posted(studio, notes(7))
    _snapped(studio)
    head = studio.view().position
    spoil = text(
        "WITH was AS (DELETE FROM snapshot RETURNING *) INSERT INTO snapshot "
        "SELECT studio, position, made_by, leaf, parts[2:], digest, seal FROM was"
    )
    with engine.begin() as connection:
        spoilt = connection.execute(spoil).rowcount
    late = worker(engine, KEEPING)
    assert_states(engine, late)
    assert late.view().position == head
    messages = [record.getMessage() for record in caplog.records if "passed over" in record.msg]
    assert len(set(messages)) == spoilt == KEPT
    late.warm.history.snapshots.wait()


@pytest.mark.parametrize("seed", range(5))
def test_whatever_workers_record_and_strike_between_them_they_know_the_same(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    random = Random(seed)
    workers = [studio]
    struck = 0
    for number in range(40):
        one = random.choice(workers)
        if random.random() < 0.3:
            positions = range(23, len(log_of(engine)) + 1)
            some = random.sample(positions, min(len(positions), random.randint(1, 3)))
            given = post(one, [{**strike, "id": f"{strike['id']}-{number}"}
                               for strike in strikes_of(*sorted(some))])  # fmt: skip
            struck += not isinstance(given, Refusal)
        else:
            for place in range(3):
                post(one, [_at_random(random, f"{number}-{place}")])
        one.warm.history.snapshots.wait()
        if random.random() < 0.15:
            workers.append(started_warm(engine, monkeypatch))
    assert struck > 3
    assert len(workers) > 3
    assert_states(engine, *workers, started_warm(engine, monkeypatch))


def _at_random(random: Random, id: str) -> dict[str, object]:
    scene = random.choice([SCENE, "KESTREL-1/2", "KESTREL-2/1"])
    kind = random.choice(["note", "priority", "work.started", "hand-off.made", "hold"])
    if kind == "note":
        return fact("note.given", scene, {"note": id, "to": "paint", "text": "Look."}, id=id)
    if kind == "priority":
        return fact("priority.set", scene, {"priority": random.randint(-3, 3)}, id=id)
    if kind == "hold":
        data = {"owes": "client", "by_on": "2031-03-10"}
        return random.choice([fact("scene.held", scene, data, id=id),
                              fact("scene.freed", scene, id=id)])  # fmt: skip
    return fact(kind, scene, {"department": random.choice(["layout", "animation"])}, id=id)
