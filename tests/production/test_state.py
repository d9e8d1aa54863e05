"""States and drafts: persistent, equal by value, never changed."""

import pytest
from immutables import Map

from service.production.folding import fold
from service.production.state import (
    EMPTY,
    Draft,
    Scene,
    State,
    departments_of,
    episodes_of,
    item_of,
    visit_of,
)
from service.production.visits import UNVISITED
from tests.telling import studio


def test_a_state_is_never_changed() -> None:
    with pytest.raises(AttributeError, match="Draft"):
        EMPTY.scenes = Map()


def test_states_are_equal_by_value() -> None:
    story = studio()
    again = fold(EMPTY, story.events)
    assert again is not story.state
    assert again == story.state
    assert again != EMPTY
    assert again != "a state"
    assert "scenes" in again.differences(EMPTY)
    assert again.differences(story.state) == []


def test_a_draft_is_a_branch() -> None:
    state = studio().state
    draft = Draft(state)
    draft.scenes["KESTREL-1/1"] = draft.scenes["KESTREL-1/1"]._replace(priority=9)
    del draft.episodes["KESTREL-2"]
    branched = draft.finish()
    assert state.scenes["KESTREL-1/1"].priority is None
    assert "KESTREL-2" in state.episodes
    assert branched.scenes["KESTREL-1/1"].priority == 9
    assert branched.differences(state) == ["episodes", "scenes"]


def test_what_does_not_change_is_shared() -> None:
    state = studio().state
    branched: State = Draft(state).finish()
    assert branched.scenes["KESTREL-1/1"] is state.scenes["KESTREL-1/1"]


def test_items_and_their_departments() -> None:
    story = studio()
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    found = {
        name: item_of(story.state, name) for name in ("KESTREL-1", "KESTREL-1/1", "KESTREL:hall")
    }
    assert {name: item and departments_of(item) for name, item in found.items()} == {
        "KESTREL-1": ("storyboard", "cutting", "mix"),
        "KESTREL-1/1": ("layout", "background", "animation", "paint", "camera"),
        "KESTREL:hall": ("background",),
    }
    assert item_of(story.state, "KESTREL-9") is None
    assert visit_of(story.state, "KESTREL-1/1", "paint") is UNVISITED


def test_the_episodes_of_an_item() -> None:
    story = studio()
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    scenes = ["KESTREL-2/1", "KESTREL-1/1", "KESTREL-1/2"]
    story.tell("element.used", "KESTREL:hall", {"scenes": scenes})
    assert episodes_of(story.state, "KESTREL-1/3") == ("KESTREL-1",)
    assert episodes_of(story.state, "KESTREL-1") == ("KESTREL-1",)
    assert set(episodes_of(story.state, "KESTREL:hall")) == {"KESTREL-1", "KESTREL-2"}


def test_a_scene_was_omitted_between_its_omission_and_its_return() -> None:
    scene = studio().state.scenes["KESTREL-1/1"]
    assert isinstance(scene, Scene)
    assert not scene.omitted_at(10)
    back = scene._replace(omissions=((5, 8),))
    assert [back.omitted_at(at_us) for at_us in (5, 6, 8, 9)] == [False, True, False, False]
    gone = back._replace(omitted_us=20)
    assert [gone.omitted_at(at_us) for at_us in (6, 9, 20, 21)] == [True, False, False, True]
