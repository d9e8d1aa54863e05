"""Arcs between visits: in small studios written out, and in random ones."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.production.graph import NodeArc, predecessors, reusers_of, successors
from service.production.state import Node, State, departments_of, item_of
from tests.production.random_logs import SEEDS, random_studio
from tests.telling import ROUTE, Story, studio

BACKGROUND, CHARACTER, SOUND = (
    frozenset({strand}) for strand in ("background", "character", "sound")
)
PICTURE = BACKGROUND | CHARACTER
ALL = ("background", "character", "sound")


def before(story: Story, item: str, department: str) -> dict[Node, frozenset[str]]:
    return dict(predecessors(story.state, item, department))


def behind(story: Story, item: str, department: str) -> dict[Node, frozenset[str]]:
    return dict(successors(story.state, item, department))


def test_a_scene_follows_its_route() -> None:
    story = studio()
    assert before(story, "KESTREL-1/1", "camera") == {
        ("KESTREL-1/1", "background"): BACKGROUND,
        ("KESTREL-1/1", "paint"): CHARACTER,
    }
    assert behind(story, "KESTREL-1/1", "layout") == {
        ("KESTREL-1/1", "background"): BACKGROUND,
        ("KESTREL-1/1", "animation"): CHARACTER,
    }


def test_an_episode_visit_gates_all_scenes_after_it() -> None:
    story = studio(scenes=2)
    assert set(behind(story, "KESTREL-1", "storyboard")) == {
        ("KESTREL-1/1", "layout"),
        ("KESTREL-1/2", "layout"),
    }
    assert before(story, "KESTREL-1/2", "layout") == {("KESTREL-1", "storyboard"): PICTURE | SOUND}


def test_an_episode_visit_waits_for_all_scenes_before_it() -> None:
    story = studio(scenes=2)
    assert before(story, "KESTREL-1", "cutting") == {
        ("KESTREL-1/1", "camera"): PICTURE,
        ("KESTREL-1/2", "camera"): PICTURE,
    }
    assert before(story, "KESTREL-1", "mix") == {("KESTREL-1", "cutting"): SOUND}
    assert behind(story, "KESTREL-1", "cutting") == {("KESTREL-1", "mix"): SOUND}
    assert behind(story, "KESTREL-1", "mix") == {}


def using_a_background(story: Story, *scenes: str) -> None:
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    story.tell("element.used", "KESTREL:hall", {"scenes": list(scenes)})


def test_an_element_takes_the_place_of_the_visits_it_replaces() -> None:
    story = studio()
    using_a_background(story, "KESTREL-1/1", "KESTREL-2/3")
    assert story.state.scenes["KESTREL-1/1"].departments == (
        "layout",
        "animation",
        "paint",
        "camera",
    )
    assert before(story, "KESTREL-1/1", "camera") == {
        ("KESTREL-1/1", "layout"): BACKGROUND,
        ("KESTREL-1/1", "paint"): CHARACTER,
        ("KESTREL:hall", "background"): BACKGROUND,
    }
    assert behind(story, "KESTREL:hall", "background") == {
        ("KESTREL-1/1", "camera"): BACKGROUND,
        ("KESTREL-2/3", "camera"): BACKGROUND,
    }
    assert before(story, "KESTREL:hall", "background") == {}


def test_an_elements_visits_follow_each_other() -> None:
    route = {
        **ROUTE,
        "kinds": [
            {
                "kind": "cycle",
                "departments": ["design", "animation", "paint"],
                "feeds": "camera",
                "strand": "character",
            }
        ],
    }
    story = studio(scenes=1)
    story.tell("route.laid", "KESTREL", route)
    story.tell("element.listed", "KESTREL:run", {"kind": "cycle"})
    story.tell("element.used", "KESTREL:run", {"scenes": ["KESTREL-1/1"]})
    assert before(story, "KESTREL:run", "animation") == {("KESTREL:run", "design"): CHARACTER}
    assert behind(story, "KESTREL:run", "design") == {("KESTREL:run", "animation"): CHARACTER}
    assert behind(story, "KESTREL:run", "paint") == {("KESTREL-1/1", "camera"): CHARACTER}


def same_as(
    story: Story, scene: str, source: str, joins: str, *strands: str, **more: list[str]
) -> None:
    story.tell(
        "same-as.declared",
        scene,
        {"source": source, "joins": joins, "strands": list(strands), **more},
    )


def test_a_scene_reused_whole_lends_its_last_skipped_visit() -> None:
    story = studio()
    same_as(story, "KESTREL-2/1", "KESTREL-1/1", "camera", "character")
    assert story.state.scenes["KESTREL-2/1"].departments == ("layout", "background", "camera")
    assert before(story, "KESTREL-2/1", "camera") == {
        ("KESTREL-2/1", "layout"): CHARACTER,
        ("KESTREL-2/1", "background"): BACKGROUND,
        ("KESTREL-1/1", "paint"): CHARACTER,
    }
    assert behind(story, "KESTREL-1/1", "paint") == {
        ("KESTREL-1/1", "camera"): CHARACTER,
        ("KESTREL-2/1", "camera"): CHARACTER,
    }


def test_named_levels_leave_the_scene_all_its_own_visits() -> None:
    story = studio()
    same_as(story, "KESTREL-2/1", "KESTREL-1/1", "paint", "character", levels=["A"])
    assert "animation" in story.state.scenes["KESTREL-2/1"].departments
    assert before(story, "KESTREL-2/1", "paint") == {
        ("KESTREL-2/1", "animation"): CHARACTER,
        ("KESTREL-1/1", "animation"): CHARACTER,
    }


def test_a_chain_of_reuse_leads_to_whoever_provides() -> None:
    story = studio()
    same_as(story, "KESTREL-1/2", "KESTREL-1/1", "camera", "character")
    same_as(story, "KESTREL-1/3", "KESTREL-1/2", "camera", "character")
    assert ("KESTREL-1/1", "paint") in before(story, "KESTREL-1/3", "camera")
    assert ("KESTREL-1/3", "camera") in behind(story, "KESTREL-1/1", "paint")
    assert set(reusers_of(story.state, ["KESTREL-1/1"])) == {"KESTREL-1/2", "KESTREL-1/3"}


def test_a_chain_may_join_at_different_departments() -> None:
    story = studio()
    same_as(story, "KESTREL-1/2", "KESTREL-1/1", "paint", "character")
    same_as(story, "KESTREL-1/3", "KESTREL-1/2", "camera", "character")
    assert ("KESTREL-1/1", "animation") in before(story, "KESTREL-1/2", "paint")
    assert ("KESTREL-1/2", "paint") in before(story, "KESTREL-1/3", "camera")


def test_the_background_of_a_source_may_itself_be_an_element() -> None:
    story = studio()
    using_a_background(story, "KESTREL-1/1")
    same_as(story, "KESTREL-1/2", "KESTREL-1/1", "camera", "background")
    assert before(story, "KESTREL-1/2", "camera")["KESTREL:hall", "background"] == BACKGROUND
    assert ("KESTREL-1/2", "camera") in behind(story, "KESTREL:hall", "background")


@pytest.mark.parametrize(
    "node",
    [
        ("KESTREL-1/1", "cutting"),
        ("KESTREL-1/1", "design"),
        ("KESTREL-1", "layout"),
        ("KESTREL-9", "mix"),
        ("KESTREL:hall", "camera"),
        ("KESTREL-2/1", "paint"),
    ],
)
def test_what_is_not_visited_has_no_arcs(node: Node) -> None:
    story = studio()
    using_a_background(story, "KESTREL-1/1")
    same_as(story, "KESTREL-2/1", "KESTREL-1/1", "camera", "character")
    assert predecessors(story.state, *node) == []
    assert successors(story.state, *node) == []


def test_a_scene_listed_on_a_later_route_waits_only_for_visits_its_episode_makes() -> None:
    story = studio(scenes=1)
    departments = [
        {"department": "song", "grain": "episode", "unit": "episodes"},
        *(
            {**stood, "follows": [*stood["follows"], {"department": "song", "strands": ["sound"]}]}
            if stood["department"] == "layout"
            else stood
            for stood in ROUTE["departments"]
        ),
    ]
    story.tell("route.laid", "KESTREL", {**ROUTE, "departments": departments})
    story.tell("scene.listed", "KESTREL-1/2", {"frames": 80})
    story.tell("episode.opened", "KESTREL-3", {"title": "Number 3"})
    story.tell("scene.listed", "KESTREL-3/1", {"frames": 80})
    assert set(before(story, "KESTREL-1/2", "layout")) == {("KESTREL-1", "storyboard")}
    assert set(before(story, "KESTREL-3/1", "layout")) == {
        ("KESTREL-3", "storyboard"),
        ("KESTREL-3", "song"),
    }


def test_an_episode_visit_waits_for_another_through_what_its_scenes_do_not_visit() -> None:
    review = {
        "department": "review",
        "grain": "episode",
        "unit": "episodes",
        "follows": [{"department": "paint", "strands": ["character"]}],
    }
    still = {
        "kind": "still",
        "departments": ["design"],
        "feeds": "camera",
        "strand": "character",
        "replaces": ["layout", "background", "animation", "paint"],
    }
    departments = [*ROUTE["departments"], review]
    route = {**ROUTE, "departments": departments, "kinds": [*ROUTE["kinds"], still]}
    story = studio(scenes=2, episodes=("KESTREL-1",), route=route)
    assert set(before(story, "KESTREL-1", "review")) == {
        ("KESTREL-1/1", "paint"),
        ("KESTREL-1/2", "paint"),
    }
    story.tell("element.listed", "KESTREL:card", {"kind": "still", "drawings": 1})
    story.tell("element.used", "KESTREL:card", {"scenes": ["KESTREL-1/1", "KESTREL-1/2"]})
    assert before(story, "KESTREL-1", "review") == {("KESTREL-1", "storyboard"): CHARACTER}
    assert behind(story, "KESTREL-1", "storyboard") == {
        ("KESTREL-1", "review"): CHARACTER,
        ("KESTREL-1/1", "camera"): PICTURE,
        ("KESTREL-1/2", "camera"): PICTURE,
    }


def test_a_retake_follows_no_arc_that_carries_nothing() -> None:
    # layout hands backgrounds to a desk that makes titles of them; a card takes its place
    titles = {
        "department": "titles",
        "grain": "scene",
        "unit": "scenes",
        "follows": [{"department": "background", "strands": ["background"]}],
    }
    departments = [dict(one) for one in ROUTE["departments"]]
    camera = next(one for one in departments if one["department"] == "camera")
    camera["follows"] = [
        {"department": "titles", "strands": ["sound"]},
        {"department": "paint", "strands": ["character"]},
    ]
    departments.insert(departments.index(camera), titles)
    card = {
        "kind": "card",
        "departments": ["design"],
        "feeds": "camera",
        "strand": "sound",
        "replaces": ["titles"],
    }
    route = {**ROUTE, "departments": departments, "kinds": [*ROUTE["kinds"], card]}
    story = studio(scenes=1, episodes=("KESTREL-1",), route=route)
    story.tell("element.listed", "KESTREL:card", {"kind": "card", "drawings": 1})
    story.tell("element.used", "KESTREL:card", {"scenes": ["KESTREL-1/1"]})
    # the order stays: the picture is not shot before its background is there
    assert before(story, "KESTREL-1/1", "camera")["KESTREL-1/1", "background"] == frozenset()
    story.desk(
        "KESTREL-1/1", "background", start="2031-03-04T09:00:00Z", end="2031-03-04T10:00:00Z"
    )
    story.call("R1", "KESTREL-1/1", "background", *ALL, at="2031-03-04T11:00:00Z")
    assert story.reached("R1") == [("KESTREL-1/1", "background")]


def nodes_of(state: State) -> list[Node]:
    items = [*state.episodes, *state.scenes, *state.elements]
    found = []
    for name in items:
        item = item_of(state, name)
        assert item is not None
        found += [(name, department) for department in departments_of(item)]
    return found


Arc = tuple[Node, Node, frozenset[str]]


def arcs_seen_from_both_ends(state: State) -> tuple[set[Arc], set[Arc]]:
    nodes = nodes_of(state)
    ahead = {(arc.node, node, arc.strands) for node in nodes for arc in predecessors(state, *node)}
    after = {(node, arc.node, arc.strands) for node in nodes for arc in successors(state, *node)}
    return ahead, after


@given(st.lists(SEEDS, max_size=12))
def test_successors_are_the_inverse_of_predecessors(seeds: list[int]) -> None:
    state = random_studio(seeds).state
    ahead, after = arcs_seen_from_both_ends(state)
    assert ahead == after


@given(st.lists(SEEDS, max_size=12))
def test_every_arc_joins_two_visits_and_is_given_once(seeds: list[int]) -> None:
    state = random_studio(seeds).state
    nodes = nodes_of(state)
    all_nodes = set(nodes)
    for node in nodes:
        for arcs in (predecessors(state, *node), successors(state, *node)):
            ends = [arc.node for arc in arcs]
            assert len(set(ends)) == len(ends)
            assert set(ends) <= all_nodes
            assert all(isinstance(arc, NodeArc) and arc.strands for arc in arcs)


def in_a_circle(state: State) -> bool:
    """Whether some visits wait for each other, so that none of them can be the first."""
    nodes = nodes_of(state)
    waiting = {node: len(predecessors(state, *node)) for node in nodes}
    free = [node for node, count in waiting.items() if count == 0]
    done = 0
    while free:
        done += 1
        for arc in successors(state, *free.pop()):
            waiting[arc.node] -= 1
            if waiting[arc.node] == 0:
                free.append(arc.node)
    return done < len(nodes)


def test_a_department_may_work_by_scene_on_a_later_route() -> None:
    """Scenes of one episode may then be boarded as a whole or one by one."""
    departments = [
        {**stood, "grain": "scene"} if stood["department"] == "storyboard" else stood
        for stood in ROUTE["departments"]
    ]
    story = studio(scenes=2)
    story.tell("route.laid", "KESTREL", {**ROUTE, "departments": departments})
    story.tell("scene.listed", "KESTREL-1/3", {"frames": 80})
    assert set(before(story, "KESTREL-1/2", "layout")) == {("KESTREL-1", "storyboard")}
    assert set(before(story, "KESTREL-1/3", "layout")) == {("KESTREL-1/3", "storyboard")}
    assert before(story, "KESTREL-1", "storyboard") == {}
    ahead, after = arcs_seen_from_both_ends(story.state)
    assert ahead == after


@given(st.lists(SEEDS, max_size=12))
def test_visits_never_wait_in_a_circle(seeds: list[int]) -> None:
    assert not in_a_circle(random_studio(seeds).state)


def test_an_episode_without_scenes_is_not_cut_before_its_board() -> None:
    story = studio(scenes=0, episodes=("KESTREL-1",))
    before = predecessors(story.state, "KESTREL-1", "cutting")
    assert [arc.node for arc in before] == [("KESTREL-1", "storyboard")]
    behind = successors(story.state, "KESTREL-1", "storyboard")
    assert [arc.node for arc in behind] == [("KESTREL-1", "cutting")]
    story.tell("scene.listed", "KESTREL-1/1", {"frames": 24})
    before = predecessors(story.state, "KESTREL-1", "cutting")
    assert [arc.node for arc in before] == [("KESTREL-1/1", "camera")]
