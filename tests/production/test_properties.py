"""What must hold of every legal log: proposed at random, kept where it is accepted."""

from collections import Counter
from collections.abc import Iterable
from random import Random
from typing import Any

from hypothesis import given, note
from hypothesis import strategies as st
from immutables import Map
from msgspec import Struct
from msgspec.structs import replace

from service.production.decide import Accepted, decide
from service.production.folding import fold
from service.production.refusal import Code, Refusal
from service.production.state import EMPTY, State, visit_of
from service.production.takes import Phase
from service.production.visits import Move, replay
from service.production.work import remaining_of, terms_of
from service.vocabulary.event import Event
from tests.production.random_logs import (
    ALL,
    LOGS,
    OF_ITEMS,
    SEEDS,
    furnished,
    proposed,
    tell_at_random,
)
from tests.telling import SUPERVISOR, Story, studio

FURNISHED = furnished()
BARE = studio()


def story_of(seeds: Iterable[int]) -> Story:
    return tell_at_random(FURNISHED.copy(), seeds)


def same(one: State, other: State) -> bool:
    if one != other:
        note(f"they differ in {one.differences(other)}")
    return one == other


def test_the_random_logs_hold_facts_of_every_kind() -> None:
    story = FURNISHED.copy()
    random = Random(7)
    types: Counter[str] = Counter()
    for _ in range(16):
        story = tell_at_random(FURNISHED.copy(), (random.getrandbits(32) for _ in range(200)))
        types.update(event.fact.TYPE for event in story.events[len(FURNISHED.events) :])
    missing = {
        *("hand-out.made", "work.started", "hand-off.made", "hand-off.refused"),
        *("scene.omitted", "scene.restored", "scene.held", "scene.freed", "visit.put-first"),
        *("retake.called", "retake.withdrawn", "retake.bought-as-is", "look-at.answered"),
        *("same-as.declared", "hook-up.declared", "element.used", "scene.retimed", "crew.set"),
        *("approval.asked", "approval.given", "approval.refused"),
        *("note.given", "note.answered", "scene.bought", "episode.delivered", "priority.set"),
    } - set(types)
    assert not missing
    assert types["retake.called"] > 50


@given(LOGS)
def test_the_fold_ends_where_deciding_one_by_one_does(seeds: list[int]) -> None:
    story = story_of(seeds)
    assert same(fold(EMPTY, story.events), story.state)


@given(LOGS)
def test_the_short_way_of_the_desks_ends_where_the_long_way_does(seeds: list[int]) -> None:
    story = story_of(seeds)
    assert fold(EMPTY, story.events) == fold(EMPTY, story.events, in_order={})


@given(LOGS, st.integers(0, 1000))
def test_folding_in_pieces_equals_folding_whole(seeds: list[int], cut: int) -> None:
    events = story_of(seeds).events
    place = cut % (len(events) + 1)
    assert same(fold(fold(EMPTY, events[:place]), events[place:]), fold(EMPTY, events))
    state = fold(EMPTY, events[:place])
    for event in events[place : place + 3]:
        state = fold(state, [event])
    assert same(state, fold(EMPTY, events[: place + 3]))


def dump(value: Any, names: dict[int, str] | None = None, field: str = "") -> Any:
    """A value as plain data; positions as names of events where these are given."""
    if names is not None and field in {"position", "answered_position", "order", "put_first"}:
        if value is None:
            return None
        return names.get(value, value) if isinstance(value, int) else dump_map(value, names, field)
    if isinstance(value, State):
        fields = {name: getattr(value, name) for name in value.__slots__}
        shown = {name: dump(inner, names, name) for name, inner in fields.items()}
        if names is not None:
            shown["marks"] = {names[place]: marks for place, marks in fields["marks"].items()}
        return shown
    if isinstance(value, Map | dict):
        return dump_map(value, names, "")
    if isinstance(value, tuple) and hasattr(value, "_fields"):
        pairs = zip(value._fields, value, strict=True)
        return (type(value).__name__, *(dump(inner, names, name) for name, inner in pairs))
    if isinstance(value, Struct):
        members = {name: getattr(value, name) for name in value.__struct_fields__}
        return {name: dump(inner, names, name) for name, inner in members.items()}
    if isinstance(value, tuple | list):
        return tuple(dump(inner, names) for inner in value)
    return value


def dump_map(value: Any, names: dict[int, str] | None, field: str) -> dict[Any, Any]:
    return {key: dump(inner, names, field) for key, inner in value.items()}


def renumbered(events: list[Event], first: int) -> list[Event]:
    return [replace(event, position=first + place) for place, event in enumerate(events)]


@given(LOGS, LOGS, SEEDS)
def test_facts_of_items_that_no_arc_joins_may_come_in_either_order(
    one: list[int], other: list[int], shuffle: int
) -> None:
    """Two episodes that share nothing, each recorded alone, then interleaved in any way."""
    first = len(BARE.events) + 1
    strands = [
        tell_at_random(BARE.copy(), seeds, OF_ITEMS, episode).events[first - 1 :]
        for seeds, episode in ((one, "KESTREL-1"), (other, "KESTREL-2"))
    ]
    named = [
        [replace(event, id=f"{number}-{place}") for place, event in enumerate(strand)]
        for number, strand in enumerate(strands)
    ]
    random = Random(shuffle)
    waiting = [list(strand) for strand in named]
    mixed: list[Event] = []
    while any(waiting):
        mixed.append(random.choice([strand for strand in waiting if strand]).pop(0))
    ends = []
    for log in ([*named[0], *named[1]], mixed):
        events = renumbered(log, first)
        state = BARE.state
        for event in events:
            decided = decide(state, [event], SUPERVISOR._replace(role=sorted(event.fact.ROLES)[-1]))
            assert isinstance(decided, Accepted), decided
            state = decided.state
        names = {event.position: event.id for event in (*BARE.events, *events)}
        ends.append(dump(state, names))
    assert ends[0] == ends[1]


@given(LOGS, SEEDS)
def test_striking_ends_where_the_log_would_be_without_the_event(
    seeds: list[int], which: int
) -> None:
    story = story_of(seeds)
    struck = story.events[which % len(story.events)]
    strike = story.event("event.struck", "studio", {"position": struck.position, "why": "Wrong."})
    role = sorted(struck.fact.ROLES)[-1]
    decided = story.propose(strike, actor=SUPERVISOR._replace(role=role))
    rest = [event for event in story.events if event is not struck]
    if isinstance(decided, Accepted):
        assert same(decided.state, fold(EMPTY, rest))
        assert decided.struck == {struck.position}
        return
    assert {reason.code for reason in decided.reasons} == {Code.STRIKE_BREAKS}
    # what is named cannot be recorded, in its place, without what is struck
    named = [
        event
        for event in rest
        if any(f"event {event.position} " in reason.detail for reason in decided.reasons)
    ]
    assert named
    assert min(event.position for event in named) > struck.position
    before = [event for event in rest if event.position < named[0].position]
    again = story.propose(
        named[0],
        state=fold(EMPTY, before),
        actor=SUPERVISOR._replace(role=sorted(named[0].fact.ROLES)[-1]),
    )
    assert isinstance(again, Refusal)


@given(LOGS, st.lists(SEEDS, min_size=1, max_size=10))
def test_a_draft_never_alters_the_state_it_came_from(seeds: list[int], more: list[int]) -> None:
    story = story_of(seeds)
    before, kept = dump(story.state), story.state
    for seed in more:
        story.propose(proposed(story, seed, ALL))
    tell_at_random(story, more)
    assert dump(kept) == before


@given(LOGS, st.lists(SEEDS, min_size=1, max_size=8))
def test_a_refused_batch_leaves_nothing_behind(seeds: list[int], more: list[int]) -> None:
    story = story_of(seeds)
    state, before = story.state, dump(story.state)
    batch = [proposed(story, seed, ALL) for seed in more]
    batch = renumbered(batch, len(story.events) + 1)
    wrong = story.event("scene.held", "KESTREL-9/1", {"owes": "client", "by_on": "2031-03-20"})
    decided = story.propose(*batch, wrong)
    assert isinstance(decided, Refusal)
    assert len(batch) in {reason.place for reason in decided.reasons}
    assert story.state is state
    assert dump(state) == before


@given(LOGS, st.lists(SEEDS, min_size=1, max_size=12))
def test_withdrawing_straight_after_the_call_returns_every_visit_as_it_was(
    seeds: list[int], calls: list[int]
) -> None:
    """What was on a desk waits instead, with what was left of it: its artist was freed."""
    story = story_of(seeds)
    for seed in calls:
        call = proposed(story, seed, (next(p for p in OF_ITEMS if p.__name__ == "_call"),))
        after_us = max(event.time_us for event in story.events) + 1
        call = replace(call, time_us=after_us, recorded_us=after_us)
        before = story.state
        if not isinstance(story.propose(call), Accepted):
            continue
        story.record(call)
        assert_undone(story, before, call)
        return


def assert_undone(story: Story, before: State, call: Event) -> None:
    reach = story.state.retakes[call.fact.retake].reach  # type: ignore[attr-defined]  # a call
    data = {"retake": call.fact.retake}  # type: ignore[attr-defined]  # a call
    end = story.event("retake.withdrawn", call.subject, data)
    story.record(replace(end, time_us=call.time_us, recorded_us=call.time_us))
    assert set(story.state.visits) - set(before.visits) <= {step.node[0] for step in reach}
    for item, visits in story.state.visits.items():
        for department, visit in visits.items():
            was = visit_of(before, item, department)
            if was.current.phase is not Phase.ON_DESK or visit.takes == was.takes:
                assert visit.takes == was.takes
                continue
            terms = terms_of(before, item, department)(None)
            left = remaining_of(before, department)(was.current, terms, call.time_us)
            assert visit.takes[: len(was.takes) - 1] == was.takes[:-1]
            assert visit.takes[-2].phase is Phase.TAKEN_BACK
            assert (visit.current.phase, visit.current.shares) == (Phase.WAITING, ())
            assert visit.current.carried_e4 == left


@given(LOGS)
def test_the_takes_of_a_visit_follow_from_its_entries(seeds: list[int]) -> None:
    """Also where facts came late: the order in which they were recorded leaves no trace."""
    quiet = tuple(p for p in OF_ITEMS if p.__name__ != "_listing")
    story = tell_at_random(FURNISHED.copy(), seeds, quiet)
    state = story.state
    for item, visits in state.visits.items():
        for department, visit in visits.items():
            assert list(visit.entries) == sorted(
                visit.entries, key=lambda entry: (entry.at_us, entry.rank, entry.position)
            )
            terms, remaining = terms_of(state, item, department), remaining_of(state, department)
            assert replay(visit.entries, terms, remaining) == visit


@given(LOGS)
def test_an_episodes_frames_are_those_of_its_scenes_in_the_picture(seeds: list[int]) -> None:
    state = story_of(seeds).state
    for episode in state.episodes.values():
        scenes = [state.scenes[name] for name in episode.scenes]
        assert episode.scene_frames == sum(s.frames for s in scenes if not s.omitted)


@given(LOGS)
def test_every_call_that_stands_is_known_to_the_visits_it_reaches(seeds: list[int]) -> None:
    state = story_of(seeds).state
    for code, retake in state.retakes.items():
        nodes = [step.node for step in retake.reach]
        assert len(set(nodes)) == len(nodes)
        for step in retake.reach:
            entries = visit_of(state, *step.node).entries
            assert any(entry.move is Move.CALL and entry.retake == code for entry in entries)
            assert step.via is None or step.via in nodes
