"""What a scene out of the picture still lends to those that reuse it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.production.graph import predecessors
from service.production.lending import Lending, in_picture, lent_visits, still_to_do
from service.production.refusal import Code
from service.production.takes import Phase
from tests.production.random_logs import JOINS, SEEDS, furnished, tell_at_random
from tests.production.random_logs import _omission as omission
from tests.telling import Story, studio

SOURCE, REUSER, THIRD = "KESTREL-1/1", "KESTREL-2/1", "KESTREL-2/2"
MORNING, NOON, EVENING = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 12, 16))
LENT = {"layout", "animation", "paint"}
"""What stands before camera on the strand of the characters."""


def reusing(*reusers: str, source: str = SOURCE) -> Story:
    story = studio()
    for reuser in reusers:
        same = {"source": source, "joins": "camera", "strands": ["character"]}
        story.tell("same-as.declared", reuser, same)
    return story


def test_a_reuser_needs_what_it_joins_and_all_before_it() -> None:
    story = reusing(REUSER)
    assert Lending(story.state).borrowers(SOURCE) == dict.fromkeys(LENT, frozenset({REUSER}))
    assert lent_visits(story.state, REUSER) == frozenset()


def test_what_others_reuse_of_an_omitted_scene_is_still_waited_for() -> None:
    story = reusing(REUSER)
    omitted = story.tell("scene.omitted", SOURCE)
    assert story.marks(omitted) == ("still-needed",)
    assert still_to_do(story.state, SOURCE) == ["layout", "animation", "paint"]
    assert (SOURCE, "paint") in {arc.node for arc in predecessors(story.state, REUSER, "camera")}


def test_an_omission_that_nobody_minds_is_not_marked() -> None:
    story = reusing(REUSER)
    assert story.marks(story.tell("scene.omitted", "KESTREL-1/2")) == ()
    story = reusing(REUSER)
    story.desk(SOURCE, *sorted(LENT), start=MORNING, end=NOON)
    assert story.marks(story.tell("scene.omitted", SOURCE, at=EVENING)) == ()


def test_desks_go_on_with_what_others_need() -> None:
    story = reusing(REUSER)
    story.desk(SOURCE, "layout", start=MORNING)
    story.desk(SOURCE, "background", start=MORNING)
    story.tell("scene.omitted", SOURCE, at=NOON)
    assert story.take(SOURCE, "layout").phase is Phase.ON_DESK
    assert story.take(SOURCE, "background").phase is Phase.WAITING, "its desk is free"
    story.tell("hand-off.made", SOURCE, {"department": "layout"}, at=EVENING)
    story.desk(SOURCE, "animation", start=EVENING, end="2031-03-04T17:00:00Z")
    (reason,) = story.refused("work.started", SOURCE, {"department": "background"}, at=EVENING)
    assert reason.code is Code.CONTRADICTION


def test_once_the_last_reuser_is_omitted_the_desks_are_free() -> None:
    story = reusing(REUSER, THIRD)
    story.tell("scene.omitted", SOURCE, at=MORNING)
    story.desk(SOURCE, "layout", start=NOON)
    story.tell("scene.omitted", REUSER, at=NOON)
    assert story.take(SOURCE, "layout").phase is Phase.ON_DESK, "the third scene needs it still"
    # one of the same day cannot be dated before the desk that it frees had begun
    (reason,) = story.refused("scene.omitted", THIRD, at=MORNING)
    assert (reason.code, SOURCE in reason.detail) == (Code.TIME_ORDER, True)
    story.tell("scene.omitted", THIRD, at=EVENING)
    assert story.take(SOURCE, "layout").phase is Phase.WAITING
    assert still_to_do(story.state, SOURCE) == []
    story.tell("scene.restored", THIRD, at="2031-03-04T17:00:00Z")
    assert still_to_do(story.state, SOURCE) == ["layout", "animation", "paint"]


def test_a_reuser_that_is_omitted_passes_on_what_it_lends() -> None:
    story = reusing(REUSER)
    paint = {"source": REUSER, "joins": "paint", "strands": ["character"], "levels": ["A"]}
    story.tell("same-as.declared", THIRD, paint | {"joins": "camera"})
    story.tell("scene.omitted", REUSER)
    story.tell("scene.omitted", SOURCE)
    # the third waits for the paint that the omitted one took from its source
    assert Lending(story.state).borrowers(SOURCE)["paint"] == {THIRD}


def test_who_asks_for_work_of_a_scene_that_is_out_is_told_so() -> None:
    story = reusing(REUSER)
    story.tell("scene.omitted", REUSER, at=MORNING)
    assert story.marks(story.tell("scene.omitted", SOURCE, at=NOON)) == ()
    restored = story.tell("scene.restored", REUSER, at=EVENING)
    assert story.marks(restored) == ("still-needed",)
    same = {"source": SOURCE, "joins": "camera", "strands": ["character"]}
    assert story.marks(story.tell("same-as.declared", THIRD, same)) == ("still-needed",)


def test_a_delivered_episodes_scene_is_needed_while_another_waits_for_it() -> None:
    story = reusing(REUSER)
    delivered = story.tell("episode.delivered", "KESTREL-1")
    assert story.marks(delivered) == ("open-visits", "still-needed")
    story.tell("episode.delivered", "KESTREL-2")
    assert still_to_do(story.state, SOURCE) == []


def test_a_start_without_what_an_omitted_scene_lends_is_irregular() -> None:
    story = reusing(REUSER)
    story.tell("scene.omitted", SOURCE)
    story.desk(REUSER, "layout", "background", start=MORNING, end=NOON)
    started = story.tell("work.started", REUSER, {"department": "camera"}, at=EVENING)
    assert story.marks(started) == ("upstream-missing",)


FURNISHED = furnished()


@given(st.lists(SEEDS, max_size=30))
def test_what_anybody_in_the_picture_waits_for_is_lent(seeds: list[int]) -> None:
    """Arcs from scene to scene lead to visits that are needed, and so do those before them."""
    story = Story()
    story.state, story.events = FURNISHED.state, list(FURNISHED.events)
    tell_at_random(story, seeds, (*JOINS, omission))
    state = story.state
    for name, scene in state.scenes.items():
        if not in_picture(state, name):
            continue
        waiting = [(name, department) for department in scene.departments]
        seen = set(waiting)
        while waiting:
            node = waiting.pop()
            for arc in predecessors(state, *node):
                item, department = arc.node
                if item in state.scenes and arc.node not in seen:
                    assert item == name or department in Lending(state).borrowers(item)
                    seen.add(arc.node)
                    waiting.append(arc.node)


@pytest.mark.parametrize("item", ["KESTREL-1/1", "KESTREL-1/2", "KESTREL-2/1"])
def test_without_reusers_nothing_is_lent(item: str) -> None:
    story = studio()
    assert lent_visits(story.state, item) == frozenset()
