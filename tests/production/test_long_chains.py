"""Scenes that reuse each other in long chains and by many ways: every walk stays in proportion."""

from collections.abc import Callable
from typing import Any

import pytest

from service.planning.board.board import advance, make_board
from service.production import graph
from service.production.graph import predecessors, successors
from service.production.lending import lent_visits
from service.production.reach import cancelled_by_withdrawal
from service.production.state import Draft, Node
from service.production.takes import Phase
from tests.telling import Story, studio

LENGTH = 200
CHARACTER = {"joins": "camera", "strands": ["character"]}
PICTURE = {"joins": "camera", "strands": ["background", "character"]}
SOURCE, LAST = "KESTREL-1/1", f"KESTREL-1/{LENGTH}"


def scene(number: int) -> str:
    return f"KESTREL-1/{number}"


def chain(same: dict[str, Any]) -> Story:
    """A chain of scenes, each the same as the one before."""
    story = studio(scenes=LENGTH, episodes=("KESTREL-1",))
    for number in range(2, LENGTH + 1):
        story.tell("same-as.declared", scene(number), {"source": scene(number - 1), **same})
    return story


@pytest.fixture(scope="module")
def long_chain() -> Story:
    return chain(CHARACTER)


def counted(monkeypatch: pytest.MonkeyPatch, name: str) -> list[Node]:
    """The visits with which a function of the graph is called from now on."""
    walked: list[Node] = []
    walk: Callable[..., Any] = getattr(graph, name)

    def counting(lending: Any, item: str, department: str) -> Any:
        walked.append((item, department))
        return walk(lending, item, department)

    monkeypatch.setattr(f"service.production.lending.{name}", counting)
    return walked


def all_omitted_but_the_ends(story: Story) -> Story:
    """A branch in which the scenes between the first and the last are out of the picture."""
    draft = Draft(story.state)
    for number in range(2, LENGTH):
        record = draft.scenes[scene(number)]
        draft.scenes[scene(number)] = record._replace(omitted_us=record.listed_us)
    branch = Story()
    branch.state, branch.events = draft.finish(), list(story.events)
    return branch


def test_a_chain_of_omitted_scenes_is_walked_once(
    long_chain: Story, monkeypatch: pytest.MonkeyPatch
) -> None:
    story = all_omitted_but_the_ends(long_chain)
    walked = counted(monkeypatch, "successors")
    assert lent_visits(story.state, SOURCE) == {"layout", "animation", "paint"}
    assert len(walked) <= 5 * LENGTH
    assert len(walked) <= 5 * len(set(walked)), "each visit a few times at most"
    story.tell("scene.omitted", LAST)
    assert lent_visits(story.state, SOURCE) == frozenset()


def test_a_delivery_of_a_chain_completes(long_chain: Story) -> None:
    story = all_omitted_but_the_ends(long_chain)
    board = advance(make_board(long_chain.state), story.state)
    delivered = story.tell("episode.delivered", "KESTREL-1")
    assert story.marks(delivered) == ("open-visits",)
    assert not len(advance(board, story.state).phase)


def test_who_provides_a_scenes_work_is_found_over_many_ways() -> None:
    """Scenes that reuse two scenes each, which reuse the same two again: twice the ways a step."""
    story = studio(scenes=81, episodes=("KESTREL-1",))
    same = {"joins": "camera", "strands": ["character"]}
    for number in range(2, 81, 2):
        for source in {max(1, number - 2), max(1, number - 1)}:
            for reuser in (number, number + 1):
                story.tell("same-as.declared", scene(reuser), {"source": scene(source), **same})
    assert (SOURCE, "paint") in {arc.node for arc in predecessors(story.state, scene(81), "camera")}
    behind = {arc.node for arc in successors(story.state, SOURCE, "paint")}
    assert (scene(81), "camera") in behind


def test_a_call_through_a_long_chain_can_be_withdrawn() -> None:
    """Named levels make each scene wait for the one before, department by department."""
    story = studio(scenes=LENGTH, episodes=("KESTREL-1",))
    for number in range(2, LENGTH + 1):
        levels = {"source": scene(number - 1), "levels": ["A"], "strands": ["character"]}
        # what is painted of one scene is animated upon in the next
        story.tell("same-as.declared", scene(number), {**levels, "joins": "paint"})
    story.desk(SOURCE, "layout", start="2031-03-04T09:00:00Z", end="2031-03-04T10:00:00Z")
    story.call("R1", SOURCE, "layout", "character", at="2031-03-04T11:00:00Z")
    assert (SOURCE, "paint") in story.reached("R1")
    retake = story.state.retakes["R1"]
    assert len(cancelled_by_withdrawal(story.state, "R1", retake)) == len(retake.reach)
    story.tell("retake.withdrawn", SOURCE, {"retake": "R1"}, at="2031-03-04T12:00:00Z")
    assert story.take(SOURCE, "layout").phase is Phase.HANDED_OFF
