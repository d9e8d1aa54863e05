"""The trail in the database: the same rows however it is built, and never half."""

from contextlib import suppress
from itertools import count
from typing import Any

import pytest
from msgspec.structs import replace
from sqlalchemy import Engine, func, select
from sqlalchemy.exc import OperationalError

from service import history
from service.log.append import read_head
from service.log.read import bodies
from service.log.schema import trail
from service.log.studios import make_studio, move_clock
from service.planning.compare.trail import DateMove, pass_time
from service.production.state import State
from service.projections import rows
from service.projections.diary import read_diary
from service.projections.present import USUAL_LIMITS, BehindError, TrailAhead, WalkLimits
from service.projections.walking import Progress, Walker, over_min
from service.studio import Studio
from service.vocabulary.event import Event
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import US_PER_MIN
from tests import recording
from tests.planning.trails import walked
from tests.projections.logs import (
    NAME,
    LogEntry,
    built_by_other_rules,
    entries_at_random,
    office_story,
    record,
)
from tests.recording import fact, posted, set_clock
from tests.workers import SCENE, SMALL, assert_states, small_studio, started, strikes_of

SEEDS = (1, 2, 3, 4)


def studio_of(engine: Engine) -> Studio:
    return Studio(NAME, engine, lambda: 0)


def stored(engine: Engine) -> list[DateMove]:
    columns = [trail.c[name] for name in DateMove._fields]
    with engine.connect() as connection:
        query = select(*columns).where(trail.c.studio == NAME)
        found = [DateMove(*row) for row in connection.execute(query)]
    return in_order(found)


def in_order(moves: list[DateMove]) -> list[DateMove]:
    return sorted(moves, key=lambda move: (move.episode, move.number))


def build(engine: Engine, walker: Walker, piece_s: float = 100.0) -> Progress:
    with engine.connect() as connection:
        while True:
            progress = walker.piece(connection, piece_s)
            if progress.done:
                return progress


def over(entries: list[LogEntry]) -> list[LogEntry]:
    """What was recorded before the last minute."""
    last_min = entries[-1][0].recorded_us // US_PER_MIN
    return [one for one in entries if one[0].recorded_us // US_PER_MIN < last_min]


def wanted(entries: list[LogEntry]) -> list[DateMove]:
    return in_order(walked([event for event, _ in entries])[0])


@pytest.mark.parametrize("seed", SEEDS)
def test_stored_rows_are_those_of_the_minutes_that_are_over(engine: Engine, seed: int) -> None:
    recording.make(engine)
    entries = entries_at_random(seed)
    record(engine, entries)
    progress = build(engine, Walker(studio_of(engine), engine))
    assert progress == (over(entries)[-1][0].position, len(entries), True)
    assert stored(engine) == wanted(over(entries))
    with engine.begin() as connection:
        move_clock(connection, NAME, entries[-1][0].recorded_us + US_PER_MIN)
    assert build(engine, Walker(studio_of(engine), engine)).position == len(entries)
    assert stored(engine) == wanted(entries)


@pytest.mark.parametrize("seed", SEEDS)
def test_workers_in_turn_build_what_a_rebuild_builds(engine: Engine, seed: int) -> None:
    recording.make(engine)
    entries = entries_at_random(seed)
    walkers = [Walker(studio_of(engine), engine, read_events=5) for _ in range(2)]
    first = 0
    for number, until in enumerate((20, 21, 33, 34, 35, 50, len(entries))):
        record(engine, entries[first:until])
        first = until
        # a piece of no length still ends at a whole minute, and the other worker goes on from it
        with engine.connect() as connection:
            walkers[number % 2].piece(connection, 0.001)
        build(engine, walkers[(number + 1) % 2], 0.001)
    live = stored(engine)
    assert live == wanted(over(entries))
    with engine.begin() as connection:
        rows.clear(connection, NAME)
    build(engine, Walker(studio_of(engine), engine))
    assert stored(engine) == live


def test_rows_built_by_other_rules_are_built_anew(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(1)
    record(engine, entries)
    build(engine, Walker(studio_of(engine), engine))
    built_by_other_rules(engine)
    with pytest.raises(BehindError):
        TrailAhead(studio_of(engine), engine).present()
    build(engine, Walker(studio_of(engine), engine))
    assert stored(engine) == wanted(over(entries))


def test_who_was_overtaken_writes_nothing(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(2)
    record(engine, entries)
    build(engine, Walker(studio_of(engine), engine))
    before = stored(engine)
    at = rows.Checkpoint(len(entries), 1, rows.RULES)
    with pytest.raises(rows.MovedOnError), engine.begin() as connection:
        rows.write(connection, NAME, rows.NOTHING, at, before[:1])
    assert stored(engine) == before


def test_one_that_dies_in_the_middle_leaves_a_whole_piece_or_nothing(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(3)
    record(engine, entries)
    plans = 0

    def die() -> None:
        nonlocal plans
        plans += 1
        if plans % 7 == 0:
            raise KeyboardInterrupt

    deaths = 0
    while True:
        try:
            with engine.connect() as connection:
                if Walker(studio_of(engine), engine).piece(connection, 0.001, die).done:
                    break
        except KeyboardInterrupt:
            deaths += 1
        with engine.connect() as connection:
            at = rows.read_checkpoint(connection, NAME)
        whole = [move for move in wanted(over(entries)) if move.at_min <= at.at_min]
        assert stored(engine) == whole
    assert deaths
    assert stored(engine) == wanted(over(entries))


def test_only_one_builds_at_a_time(engine: Engine) -> None:
    with engine.connect() as one, engine.connect() as other:
        assert rows.try_lock(one, NAME)
        assert not rows.try_lock(other, NAME)
        assert rows.try_lock(other, "another")
        rows.unlock(one, NAME)
        assert rows.try_lock(other, NAME)
        one.invalidate()


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("behind", [0, 3, 1000])
def test_a_reader_gets_what_is_not_stored_yet(engine: Engine, seed: int, behind: int) -> None:
    recording.make(engine)
    entries = entries_at_random(seed)
    ahead = TrailAhead(studio_of(engine), engine)
    walker = Walker(studio_of(engine), engine)
    for until in (20, 30, 45, len(entries)):
        record(engine, entries[:until][_head(engine) :])
        if until > behind:
            build(engine, walker)
        present = ahead.present(until)
        now_min = entries[until - 1][0].recorded_us // US_PER_MIN + 90
        with engine.begin() as connection:
            move_clock(connection, NAME, now_min * US_PER_MIN)
        later = ahead.present()
        moves, walk = walked([event for event, _ in entries[:until]])
        shown = [*stored(engine), *present.moves]
        # an open minute that was read in parts may be grouped otherwise, but adds up to the same
        assert ends(shown) == ends(moves)
        shown = [*stored(engine), *later.moves]
        assert ends(shown) == ends([*moves, *pass_time(walk, now_min)[0]])
        assert later.view.now_min == now_min
        # the clock has been moved ahead of the next facts: record them no earlier
        entries = entries[:until] + [
            (_recorded(event, now_min), data) for event, data in entries[until:]
        ]


def ends(moves: list[DateMove]) -> dict[str, tuple[int | None, int]]:
    """By episode, its last date and the sum of its deltas."""
    found: dict[str, tuple[int | None, int]] = {}
    for move in moves:
        _, before = found.get(move.episode, (None, 0))
        found[move.episode] = (move.after_min, before + (move.delta_min or 0))
    return found


def _recorded(event: Event, least_min: int) -> Event:
    return replace(event, recorded_us=max(event.recorded_us, least_min * US_PER_MIN))


def _head(engine: Engine) -> int:
    with engine.connect() as connection:
        return read_head(connection, NAME).position


def test_a_long_way_is_not_walked_in_a_request(engine: Engine) -> None:
    recording.make(engine)
    entries = entries_at_random(4)
    record(engine, entries)
    ahead = TrailAhead(studio_of(engine), engine, WalkLimits(events_max=30))
    with pytest.raises(BehindError):
        ahead.present()
    for _ in range(len(entries) // 30):
        try:
            present = ahead.present()
        except BehindError:
            continue
    assert ends(present.moves) == ends(wanted(entries))
    with pytest.raises(BehindError):
        TrailAhead(studio_of(engine), engine, WalkLimits(behind_events_max=10)).present()
    build(engine, Walker(studio_of(engine), engine))
    with engine.connect() as connection:
        count = connection.scalar(select(func.count()).select_from(trail))
    assert count == len(wanted(over(entries)))


def test_minutes_by_real_clocks_are_over_a_little_later(engine: Engine) -> None:
    with engine.begin() as connection:
        make_studio(connection, NAME, "real", None)
    entries = entries_at_random(1)
    last_us = entries[-1][0].recorded_us
    with engine.connect() as connection:
        head = read_head(connection, NAME)._replace(recorded_at_us=last_us)
    for after_min, is_over in ((0, False), (2, False), (3, True)):
        clock = Studio(NAME, engine, lambda after=after_min: last_us + after * US_PER_MIN)  # type: ignore[misc]  # mypy cannot infer a lambda with a default
        assert (over_min(clock, head) > last_us // US_PER_MIN) is is_over


def test_a_batch_of_strikes_is_one_step(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    """The states half-way through it never stood, and each would cost a fold."""
    opened = small_studio(engine)
    notes = [
        fact("note.given", SCENE, {"note": f"N{number}", "to": "layout"}, id=f"n{number}")
        for number in range(30)
    ]
    first = posted(opened, notes)[0].position
    posted(opened, strikes_of(*range(first, first + 30)))
    counted_positions: list[int] = []
    as_known_at = opened.warm.history.as_known_at

    def counted(position: int) -> State:
        counted_positions.append(position)
        return as_known_at(position)

    monkeypatch.setattr(opened.warm.history, "as_known_at", counted)
    ahead = TrailAhead(opened.warm, engine)
    present = ahead.present()
    assert present.view.position == first + 59
    assert counted_positions.count(first + 59) == 1
    assert len(counted_positions) <= 2  # and the beginning of the walk


class Clock:
    """A clock that each look at it moves on by a tenth of a second, and one look by much more."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self.stands_still_in = 0

    def __call__(self) -> float:
        self.stands_still_in -= 1
        self.now_s += 1000.0 if self.stands_still_in == 0 else 0.1
        return self.now_s


LITTLE = WalkLimits(walked_s_max=2.0, walked_share=0.2, piece_events=5)


def reached(ahead: TrailAhead) -> int:
    with pytest.raises(BehindError) as raised:
        ahead.present()
    return raised.value.position


def use_up(ahead: TrailAhead) -> int:
    """Read until nothing is walked any more; how far it is then."""
    before = -1
    while (last := walked_to(ahead)) != before:
        before = last
    return last


def walked_to(ahead: TrailAhead) -> int:
    """How far a reader is told that the trail is, which must be so."""
    position = reached(ahead)
    assert ahead._ahead is not None
    assert position == ahead._ahead.walk.position
    return position


def test_readers_have_a_share_of_the_time_and_what_they_walked_is_kept(engine: Engine) -> None:
    recording.make(engine)
    record(engine, entries_at_random(4))
    clock = Clock()
    ahead = TrailAhead(studio_of(engine), engine, LITTLE, clock)
    first = walked_to(ahead)
    assert first > 0
    took_s = clock.now_s
    assert took_s < 2 * LITTLE.walked_s_max
    assert use_up(ahead) < 2 * first
    clock.now_s += took_s / LITTLE.walked_share
    assert walked_to(ahead) > first


def test_nobody_is_refused_for_long_after_a_machine_that_stood_still(engine: Engine) -> None:
    recording.make(engine)
    record(engine, entries_at_random(4))
    clock = Clock()
    ahead = TrailAhead(studio_of(engine), engine, LITTLE, clock)
    clock.stands_still_in = 5  # once it walks
    before = walked_to(ahead)
    with pytest.raises(BehindError) as raised:
        ahead.present()
    assert raised.value.retry_s <= LITTLE.walked_s_max / LITTLE.walked_share
    clock.now_s += raised.value.retry_s
    assert walked_to(ahead) > before


def test_those_who_are_refused_take_nothing_from_what_may_be_walked(engine: Engine) -> None:
    recording.make(engine)
    record(engine, entries_at_random(4))
    ahead = TrailAhead(studio_of(engine), engine, LITTLE, Clock())
    before = use_up(ahead)
    for _ in range(100):  # a tenth of a second after each other
        last = walked_to(ahead)
    assert last > before


def test_what_was_worked_out_is_not_worked_out_again(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = small_studio(engine)
    clock = Clock()
    ahead = TrailAhead(opened.warm, engine, clock_s=clock)
    set_clock(engine, "2031-03-20T12:00:00Z")
    first = ahead.present()
    looked_at_s = clock.now_s
    again = ahead.present()
    assert again.moves == first.moves != []
    assert clock.now_s == looked_at_s
    set_clock(engine, "2031-03-20T12:01:00Z")
    assert ahead.present().view.now_min == first.view.now_min + 1
    assert clock.now_s > looked_at_s


def test_a_piece_that_takes_long_is_left_to_the_projector(engine: Engine) -> None:
    opened = small_studio(engine)
    clock = Clock()
    ahead = TrailAhead(opened.warm, engine, clock_s=clock)
    clock.stands_still_in = 4  # the first look of the piece itself
    assert walked_to(ahead) == 0
    clock.now_s += USUAL_LIMITS.walked_s_max / USUAL_LIMITS.walked_share
    assert ahead.present().moves


@pytest.mark.parametrize("struck_before", [False, True])
def test_strikes_are_recorded_before_the_other_facts_of_their_batch(
    engine: Engine, struck_before: bool
) -> None:
    """A batch is decided without what it strikes, so that is how it must read, event by event."""
    opened = small_studio(engine)
    posted(opened, [started("layout", 1), started("layout", 1, "hand-off.made")])
    (begun,) = posted(opened, [started("animation", 1)])
    (called,) = posted(opened, [retake(0.3)])
    if struck_before:
        data = {"owes": "client", "by_on": "2031-03-20"}
        (held,) = posted(opened, [fact("scene.held", SCENE, data, id="held")])
        posted(opened, strikes_of(held.position))
    # none of these could follow what is struck: the last would overwrite it unnoticed
    again = [started("animation", 2), retake(0.5)]
    receipts = posted(opened, [*again, *strikes_of(begun.position, called.position)])
    last = max(receipt.position for receipt in receipts)
    assert [receipt.position - last for receipt in receipts] == [-1, 0, -3, -2]
    assert_states(engine, opened, recording.worker(engine, SMALL))
    present = TrailAhead(opened.warm, engine).present()
    assert present.view.position == last
    with engine.connect() as connection:
        page = read_diary(
            connection, opened.warm, present.view.state, "KESTREL-1",
            after=0, limit=100, until=last,
        )  # fmt: skip
    assert page.page[-1].stored.position == last


def retake(share: float) -> dict[str, object]:
    data = {
        "retake": "R-1", "kind": "retake", "urgency": "must-fix", "items": [SCENE],
        "back_to": "layout", "strands": ["character"], "share": share, "asked_by": "client",
        "found_at": "screening",
    }  # fmt: skip
    return fact("retake.called", "KESTREL-1", data, id=f"retake-{share}")


def test_after_a_fault_between_two_strikes_it_is_built_on(engine: Engine) -> None:
    """What it folded on to must not be taken for where it stands."""
    recording.make(engine)
    entries = entries_at_random(8, facts=120)
    record(engine, entries)
    strikes = [event for event, _ in over(entries) if isinstance(event.fact, EventStruck)]
    assert len(strikes) > 3
    for after in range(1, 40, 3):
        walker = Walker(studio_of(engine), engine)
        plans = 0

        def fail(most: int = after) -> None:
            nonlocal plans
            plans += 1
            if plans == most:
                raise OperationalError("", {}, Exception())

        with engine.begin() as connection:
            rows.clear(connection, NAME)
        with engine.connect() as connection, suppress(OperationalError):
            walker.piece(connection, 100.0, fail)
        build(engine, walker)
        assert stored(engine) == wanted(over(entries))


def test_after_a_fault_in_a_fold_it_is_built_on(
    engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read of strikes before the fault must not count where they were not yet known."""
    recording.make(engine)
    entries = entries_at_random(8, facts=120)
    record(engine, entries)
    due = wanted(over(entries))
    for failing in count(1):
        reads = 0

        def fail(*asked: Any, most: int = failing) -> list[tuple[int, bytes]]:
            nonlocal reads
            reads += 1
            if reads == most:
                raise OperationalError("", {}, Exception())
            return bodies(*asked)

        walker = Walker(studio_of(engine), engine)
        with engine.begin() as connection:
            rows.clear(connection, NAME)
        monkeypatch.setattr(history, "bodies", fail)
        with engine.connect() as connection, suppress(OperationalError):
            walker.piece(connection, 100.0)
        monkeypatch.undo()
        if reads < failing:
            break
        build(engine, walker)
        assert stored(engine) == due
    assert failing > 10


def test_a_read_that_ends_between_the_strikes_of_a_batch_shows_no_date_that_never_was(
    engine: Engine,
) -> None:
    recording.make(engine)
    story = office_story()
    for minute, (number, by_on) in enumerate(((1, "2031-03-20"), (2, "2031-03-25"))):
        story.now = f"2031-03-03T08:3{minute}:00Z"
        story.tell("scene.held", f"KESTREL-1/{number}", {"owes": "client", "by_on": by_on})
    story.now = "2031-03-03T08:40:00Z"
    held = [event.position for event in story.events[-2:]]
    strikes = [
        story.event("event.struck", "studio", {"position": at, "why": "slip"},
                    position=len(story.events) + place)
        for place, at in enumerate(reversed(held), 1)
    ]  # fmt: skip
    story.record(*strikes)
    entries = [(event, story.data_by_position[event.position]) for event in story.events]
    record(engine, entries)
    ahead = TrailAhead(studio_of(engine), engine, WalkLimits(events_max=len(entries) - 1))
    with suppress(BehindError):
        ahead.present()
    assert in_order(ahead.present().moves) == wanted(entries)
    few = TrailAhead(studio_of(engine), engine, WalkLimits(events_max=1, behind_events_max=0))
    with engine.connect() as connection, pytest.raises(BehindError):
        few._recorded(connection, len(entries) - len(strikes), len(entries))
