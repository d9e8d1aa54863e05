"""When gates were met, held against a look at every visit at every instant at which one changes."""

from random import Random
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from service.production.decide import Accepted
from service.production.meeting import meeting
from service.production.state import Meeting, Scene, State, visit_of
from service.production.takes import Phase
from service.production.visits import Visit
from service.vocabulary.instants import US_PER_MIN, format_instant, parse_instant
from tests.properties import tried
from tests.telling import ROUTE, Story, studio

EPISODE = "KESTREL-1"
SCENES = [f"{EPISODE}/{number}" for number in range(1, 6)]
GATES = [
    {"gate": "rough-cut", "department": "layout", "takes": "first"},
    {"gate": "retake-cut-off", "department": "layout"},
    {"gate": "lock", "department": "cutting", "takes": "first"},
    {"gate": "delivery", "department": "cutting"},
]
OPENED_US = parse_instant("2031-03-04T09:00:00Z")
STEPS_MIN = (0, 0, 1, 30, 600)
LOGS = st.tuples(st.integers(0, 2**32 - 1), st.integers(0, 60))

# of what happens in one instant: scenes come in, hand-offs and omissions are made, calls reopen,
# and what a call opened may be handed off
RANKS = range(4)
Moment = tuple[int, int]


def story_at_random(seed: int, facts: int) -> Story:
    """Two scenes to begin with, three more to list; hand-offs, calls and omissions of them."""
    random = Random(seed)
    story = studio(scenes=2, episodes=(EPISODE,), route={**ROUTE, "gates": GATES})
    at_us = OPENED_US
    for number in range(facts):
        at_us += random.choice(STEPS_MIN) * US_PER_MIN
        story.now = format_instant(at_us)
        late_us = random.choice((0, 0, 0, 45, 700)) * US_PER_MIN
        fact = fact_at_random(random, number)
        event = story.event(*fact, at=format_instant(max(OPENED_US, at_us - late_us)))
        if isinstance(story.propose(event), Accepted):
            story.record(event)
    return story


def fact_at_random(random: Random, number: int) -> tuple[str, str, dict[str, Any]]:
    """A fact at random, which the rules may refuse."""
    scene = random.choice(SCENES)
    item, department = random.choice(((scene, "layout"),) * 5 + ((EPISODE, "cutting"),))
    call = {
        "retake": f"R{number}",
        "kind": "retake",
        "urgency": "if-time",
        "back_to": department,
        "strands": ["background", "character", "sound"],
        "share": 0.5,
    }
    refused = {"sender": "layout", "department": "animation", "share": 1}
    done: tuple[str, str, dict[str, Any]] = ("hand-off.made", item, {"department": department})
    return random.choice((
        done, done, done, done,
        ("retake.called", item, call),
        ("retake.withdrawn", random.choice((*SCENES, EPISODE)),
         {"retake": f"R{random.randint(0, number)}"}),
        ("hand-off.refused", scene, refused),
        ("scene.omitted", scene, {}),
        ("scene.restored", scene, {}),
        ("scene.listed", scene, {"frames": 20, "drawings": 4}),
    ))  # fmt: skip


def looked_at(state: State, department: str, *, first: bool) -> tuple[int, int]:
    """When a gate was met and since when it stands so, by a look at each moment."""
    episode = state.episodes[EPISODE]
    visits: list[tuple[Visit, Scene | None]]
    if department in episode.route.episode_departments:
        visits = [(visit_of(state, EPISODE, department), None)]
    else:
        visits = [
            (visit_of(state, name, department), state.scenes[name]) for name in episode.scenes
        ]
    instants = {at_us for visit, scene in visits for at_us in _instants(visit, scene)}
    met_us = stands_us = -1
    for at_us in sorted(instants):
        for rank in RANKS:
            there = [visit for visit, scene in visits if _there(scene, (at_us, rank))]
            if there and all(_done(visit, (at_us, rank), first=first) for visit in there):
                met_us = at_us if met_us < 0 else met_us
                stands_us = at_us if stands_us < 0 else stands_us
            else:
                stands_us = -1
    return met_us, stands_us


def _instants(visit: Visit, scene: Scene | None) -> list[int]:
    of_takes = [at_us for take in visit.takes for at_us in (take.opened_us, take.ended_us)]
    if scene is None:
        return of_takes
    omitted = [scene.omitted_us, *(at_us for span in scene.omissions for at_us in span)]
    return [*of_takes, *omitted, scene.listed_us]


def _there(scene: Scene | None, now: Moment) -> bool:
    if scene is None:
        return True
    gone = any((from_us, 1) <= now < (until_us, 0) for from_us, until_us in scene.omissions)
    return (scene.listed_us, 0) <= now and not gone and not (
        scene.omitted and (scene.omitted_us, 1) <= now
    )  # fmt: skip


def _done(visit: Visit, now: Moment, *, first: bool) -> bool:
    for place, take in enumerate(visit.takes):
        if take.phase is not Phase.HANDED_OFF:
            continue
        ended = (take.ended_us, 3 if take.ended_us == take.opened_us else 1)
        following = visit.takes[place + 1 : place + 2]
        if ended <= now and (first or all(now < (next_.opened_us, 2) for next_ in following)):
            return True
    return False


def meetings(state: State) -> list[Meeting]:
    """How all gates stand."""
    found = [meeting(state, EPISODE, gate) for gate in state.episodes[EPISODE].route.gates]
    return [met for met in found if met is not None]


@tried(75)
@given(LOGS)
def test_a_gate_is_met_at_the_first_instant_at_which_nothing_is_in_its_way(
    log: tuple[int, int],
) -> None:
    state = story_at_random(*log).state
    assert meetings(state) == [
        Meeting(gate, *looked_at(state, department, first=first))
        for gate, (department, first) in state.episodes[EPISODE].route.gates.items()
    ]
    assert meeting(state, EPISODE, "air") is None


@tried(30)
@given(LOGS, st.integers(0, 2**32 - 1))
def test_how_gates_stood_at_the_delivery_never_changes(log: tuple[int, int], seed: int) -> None:
    """Whatever is recorded behind the delivery, late or not, by desks or by supervision."""
    story = story_at_random(*log)
    before = {met.gate: met for met in meetings(story.state)}
    delivered = story.tell("episode.delivered", EPISODE)
    met = story.state.episodes[EPISODE].met
    assert {kept.gate: kept for kept in met} == before | {
        "delivery": Meeting("delivery", delivered.time_us, delivered.time_us)
    }
    random = Random(seed)
    for number in range(100, 120):
        event = story.event(*fact_at_random(random, number))
        if isinstance(story.propose(event), Accepted):
            story.record(event)
    assert story.state.episodes[EPISODE].met == met


def test_the_stories_meet_gates_in_every_way() -> None:
    """Met and standing, met and open again, never met; by takes, omissions and listings."""
    seen = set()
    for seed in range(60):
        for gate, met_us, stands_us in meetings(story_at_random(seed, 40).state):
            seen.add((gate, met_us >= 0, stands_us >= 0, stands_us > met_us))
    for gate in ("rough-cut", "retake-cut-off", "delivery"):
        ways = {way[1:] for way in seen if way[0] == gate}
        assert {(False, False, False), (True, True, False)} <= ways
        assert (True, False, False) in ways
        assert (True, True, True) in ways


def test_facts_recorded_in_order_take_nothing_back() -> None:
    """But a refusal, which says that a hand-off was none, and a strike."""
    for seed in range(30):
        random = Random(seed)
        story = studio(scenes=2, episodes=(EPISODE,), route={**ROUTE, "gates": GATES})
        met_before: dict[str, int] = {}
        for number in range(40):
            story.now = format_instant(OPENED_US + number * US_PER_MIN)
            event = story.event(*fact_at_random(random, number))
            refuses = event.fact.TYPE == "hand-off.refused"
            if refuses or not isinstance(story.propose(event), Accepted):
                continue
            story.record(event)
            for gate, met_us, _ in meetings(story.state):
                assert met_before.get(gate, met_us) == met_us
                if met_us >= 0:
                    met_before[gate] = met_us
