"""Snapshots: the state that is read back is the one written, and all that follows is alike."""

import json
import os
import subprocess
import sys
from collections.abc import Sequence
from random import Random

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st
from immutables import Map

from service.planning.board.board import advance, make_board
from service.planning.compare.impact import compare
from service.planning.plan.schedule import Schedule, schedule
from service.production.decide import Accepted, Past, decide
from service.production.folding import fold
from service.production.refusal import Refusal
from service.production.snapshot import freeze, thaw
from service.production.state import EMPTY, State
from service.vocabulary.event import Event
from service.vocabulary.instants import US_PER_MIN, parse_instant
from tests.places import TOP
from tests.production.random_logs import ALL, LOGS, SEEDS, furnished, proposed, tell_at_random
from tests.production.records import note_members, spelled
from tests.properties import tried
from tests.seed.generated import final_state
from tests.telling import APPROVING, ROUTE, SUPERVISOR, Story

NOW_MIN = parse_instant("2031-03-12T10:30:00Z") // US_PER_MIN
STRUCK = st.dictionaries(st.integers(1, 2**40), st.integers(1, 2**40), max_size=5)
SHORT_ROUTE = {**ROUTE, "departments": [d for d in ROUTE["departments"] if d["grain"] != "element"]}
SHORT_ROUTE["kinds"] = ROUTE["kinds"][:1]


def full() -> Story:
    """A studio in which every record has every member: two shows, and a route from a date on."""
    story = furnished()
    story.tell("route.laid", "KESTREL", {**SHORT_ROUTE, "from_on": "2031-03-03"})
    story.tell("episode.opened", "KESTREL-3", {"title": "Number 3", "frames": 31_680})
    story.tell("scene.listed", "KESTREL-3/1", {"frames": 80, "drawings": 40})
    story.tell("element.listed", "KESTREL:owl", {"kind": "background", "title": "The owl"})
    story.tell(
        "show.opened", "LINNET", {"title": "Linnet", "timecode": "23.976", "scene_codes": ["#"]}
    )
    story.tell("route.laid", "LINNET", APPROVING)
    story.tell("episode.opened", "LINNET-1", {"title": "One"})
    story.tell("scene.listed", "LINNET-1/1", {"frames": 48, "drawings": 12})
    story.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T12:00:00Z")
    more = {"drawings": 10, "found_at": "camera", "fault_of": "layout"}
    story.call("R0", "KESTREL-1/1", "layout", "character", at="2031-03-04T08:00:00Z", **more)
    return story


FULL = full()


def story_of(seeds: Sequence[int]) -> Story:
    return tell_at_random(FULL.copy(), seeds)


def through(state: State) -> State:
    """The state that comes back."""
    return thaw(list(freeze(state, {}))).state


def test_the_logs_say_something_of_every_member_of_every_record() -> None:
    filled: dict[str, bool] = {}
    random = Random(7)
    for _ in range(8):
        note_members(story_of([random.getrandbits(32) for _ in range(200)]).state, filled)
    assert [name for name, ever in filled.items() if not ever] == []
    assert {"State.latest", "Retake.marks", "Take.settled", "Scene.omissions"} <= set(filled)


@tried(20)
@given(LOGS, STRUCK)
def test_what_comes_back_is_what_was_there(seeds: list[int], struck: dict[int, int]) -> None:
    state = story_of(seeds).state
    back = thaw(list(freeze(state, struck)))
    assert back.state == state, state.differences(back.state)
    assert spelled(back.state) == spelled(state)
    assert back.struck == struck


def test_nothing_comes_back_as_nothing() -> None:
    assert thaw(list(freeze(EMPTY, {}))) == (EMPTY, {})


def test_the_demos_whole_log_comes_back() -> None:
    state = final_state()
    back = through(state)
    assert back == state, state.differences(back)
    assert len(back.visits) > 2000
    assert planned(back) == planned(state)
    assert_routes_shared(back)


@tried(20)
@given(LOGS, st.integers(0, 1000))
def test_going_on_from_what_came_back_ends_where_the_whole_does(seeds: list[int], cut: int) -> None:
    events = story_of(seeds).events
    place = cut % (len(events) + 1)
    state = fold(through(fold(EMPTY, events[:place])), events[place:])
    assert spelled(state) == spelled(fold(EMPTY, events))


@tried(20)
@given(LOGS, st.lists(SEEDS, min_size=1, max_size=8))
def test_what_came_back_is_decided_on_alike(seeds: list[int], more: list[int]) -> None:
    story = story_of(seeds)
    back = through(story.state)
    for seed in more:
        event = proposed(story, seed, ALL)
        on_it, on_this = story.propose(event, state=back), story.propose(event)
        assert type(on_it) is type(on_this)
        if isinstance(on_it, Refusal):
            assert on_it == on_this
        else:
            assert isinstance(on_this, Accepted)
            assert spelled(on_it.state) == spelled(on_this.state)


@tried(20)
@given(LOGS, SEEDS, st.integers(0, 1000))
def test_a_strike_is_decided_alike_on_what_came_back(
    seeds: list[int], which: int, cut: int
) -> None:
    story = story_of(seeds)
    struck = story.events[which % len(story.events)]
    strike = story.event("event.struck", "studio", {"position": struck.position, "why": "Wrong."})
    actor = SUPERVISOR._replace(role=sorted(struck.fact.ROLES)[-1])
    place = cut % struck.position  # what comes before the struck event may be thawed
    base = fold(EMPTY, story.events[:place])
    answers = [
        decide(story.state, [strike], actor, Past(state, tuple(story.events[place:]), frozenset()))
        for state in (base, through(base))
    ]
    if isinstance(answers[0], Refusal):
        assert answers[0] == answers[1]
    else:
        assert isinstance(answers[1], Accepted)
        assert spelled(answers[1].state) == spelled(answers[0].state)


def planned(state: State) -> dict[tuple[str, str], tuple[int, int, int]]:
    return shown(schedule(make_board(state), NOW_MIN))


def shown(made: Schedule) -> dict[tuple[str, str], tuple[int, int, int]]:
    """Start, finish and latest finish of every visit."""
    latest = made.latest_of()
    return {
        node: (int(made.plan.start[row]), int(made.plan.finish[row]), int(latest[row]))
        for node, row in made.board.frame.row_of.items()
    }


@tried(20)
@given(LOGS)
def test_the_plan_of_what_came_back_is_the_same(seeds: list[int]) -> None:
    story = story_of(seeds)
    back = through(story.state)
    assert planned(back) == planned(story.state)
    # also where the board of the one is patched for the other: nothing in it is the same object
    patched = schedule(advance(make_board(story.state), back), NOW_MIN)
    assert shown(patched) == planned(story.state)


@tried(20)
@given(LOGS, SEEDS)
def test_the_impact_on_what_came_back_is_the_same(seeds: list[int], seed: int) -> None:
    story = story_of(seeds)
    event = proposed(story, seed, ALL)
    if not isinstance(story.propose(event), Accepted):
        return
    impacts = []
    for state in (story.state, through(story.state)):
        before = schedule(make_board(state), NOW_MIN)
        after = schedule(advance(before.board, fold(state, [event])), NOW_MIN)
        impacts.append(compare(before, after))
    assert impacts[0] == impacts[1]


def assert_routes_shared(state: State) -> None:
    """Each route is one object, whoever holds it: what is worked out on it is worked out once."""
    laid = [laid.route for show in state.shows.values() for laid in show.routes]
    items = [*state.scenes.values(), *state.episodes.values(), *state.elements.values()]
    held = [item.route for item in items]
    assert held
    assert len({id(route) for route in (*laid, *held)}) == len({*laid, *held})


def test_a_route_is_one_object_for_all_that_take_it() -> None:
    back = through(FULL.state)
    assert_routes_shared(back)
    routes = {item.route for item in back.scenes.values()}
    assert len(routes) == 2
    assert back.scenes["KESTREL-3/1"].route is back.shows["KESTREL"].routes[1].route
    assert back.scenes["LINNET-1/1"].route is back.scenes["KESTREL-1/1"].route


def test_the_order_in_which_things_lie_does_not_matter() -> None:
    story = story_of(range(40))
    maps = {name: list(getattr(story.state, name).items()) for name in State.__slots__}
    maps["visits"] = [(item, dict([*visits.items()][::-1])) for item, visits in maps["visits"]]
    other = through(State({name: Map(entries[::-1]) for name, entries in maps.items()}))
    assert other == story.state
    assert planned(other) == planned(story.state)


_GO_ON = """
import json, sys
from tests.production import test_snapshot as here
parts, place, seeds = json.load(sys.stdin)
events = here.story_of(seeds).events[place:]
state = here.fold(here.thaw([bytes.fromhex(part) for part in parts]).state, events)
json.dump([hash("layout"), [part.hex() for part in here.freeze(state, {3: 5})]], sys.stdout)
"""


def test_another_process_with_other_hashes_goes_on_alike() -> None:
    seeds = list(range(60))
    story = story_of(seeds)
    place = len(FULL.events) + 10
    parts = [part.hex() for part in freeze(fold(EMPTY, story.events[:place]), {})]
    other = "1" if os.environ.get("PYTHONHASHSEED") == "0" else "0"
    made = subprocess.run(
        [sys.executable, "-c", _GO_ON],
        input=json.dumps([parts, place, seeds]),
        env={**os.environ, "PYTHONHASHSEED": other},
        cwd=TOP,
        capture_output=True,
        text=True,
        check=True,
    )
    hashed, back = json.loads(made.stdout)
    assert hashed != hash("layout")
    assert thaw([bytes.fromhex(part) for part in back]) == (story.state, {3: 5})


@pytest.mark.parametrize("most", [1, 2, 7])
def test_no_part_is_larger_than_it_may_be(most: int) -> None:
    state = story_of(range(40)).state
    parts = list(freeze(state, {}, items_per_part=most))
    items = [len(msgspec.msgpack.decode(part)) for part in parts[3:-1]]
    assert sum(items) == len(state.visits)
    assert all(count == most for count in items[:-1])
    assert 0 < items[-1] <= most
    assert thaw(parts).state == state


class Unheard:
    """Something that no state holds."""


def test_a_state_that_holds_something_unheard_of_is_a_fault() -> None:
    maps = {name: getattr(FULL.state, name) for name in State.__slots__}
    scene = maps["scenes"]["KESTREL-1/1"]
    visits = maps["visits"]["KESTREL-1/1"]
    for name, key, value in (
        ("units", "layout", Unheard()),
        ("scenes", "KESTREL-1/1", scene._replace(route=Unheard())),
        ("visits", "KESTREL-1/1", {**visits, "layout": Unheard()}),
    ):
        odd = State({**maps, name: maps[name].set(key, value)})
        with pytest.raises(NotImplementedError, match="a state holds a Unheard"):
            list(freeze(odd, {}))


SMALL = list(freeze(FULL.state, {4: 9}))


@given(st.data())
def test_a_byte_that_changed_is_noticed(data: st.DataObject) -> None:
    parts = list(SMALL)
    place = data.draw(st.sampled_from(range(len(parts))))
    changed = bytearray(parts[place])
    at = data.draw(st.integers(0, len(changed) - 1))
    changed[at] ^= data.draw(st.integers(1, 255))
    parts[place] = bytes(changed)
    with pytest.raises(msgspec.MsgspecError):
        thaw(parts)


@pytest.mark.parametrize(
    "garbage",
    [
        [],
        [b""],
        [b"", b"", b"", b""],
        [b"garbage"] * 5,
        SMALL[:-1],
        SMALL[1:],
        [SMALL[0], SMALL[2], SMALL[1], *SMALL[3:]],
        [*SMALL[:3], SMALL[-1]],
        [*SMALL[:-1], b"", SMALL[-1]],
        [SMALL[0] + SMALL[1][:1], SMALL[1][1:], *SMALL[2:]],
        [SMALL[0][:-1], *SMALL[1:]],
        [SMALL[0] + b"\x00", *SMALL[1:]],
    ],
)
def test_what_freezing_never_writes_is_refused(garbage: list[bytes]) -> None:
    with pytest.raises(msgspec.MsgspecError):
        thaw(garbage)


def test_what_is_frozen_does_not_move_while_the_studio_goes_on() -> None:
    """A worker freezes beside its own work."""
    story = FULL.copy()
    before = story.state
    written = freeze(before, {})
    first = next(written)
    events: list[Event] = tell_at_random(story, range(60)).events
    assert len(events) > len(FULL.events) + 10
    assert thaw([first, *written]).state == before == fold(EMPTY, FULL.events)
