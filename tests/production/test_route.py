"""Routes: their faults, what stands behind what, and what a reusing scene skips."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.production.route import Route, RouteArc, route_faults
from service.vocabulary.facts.routes import RouteLaid
from service.vocabulary.kinds import reviver
from tests.properties import tried
from tests.telling import ROUTE

BACKGROUND, CHARACTER, SOUND = (
    frozenset({strand}) for strand in ("background", "character", "sound")
)
PICTURE = BACKGROUND | CHARACTER


def fact_of(route: dict[str, Any]) -> RouteLaid:
    fact = reviver(RouteLaid)(route)
    assert isinstance(fact, RouteLaid)
    return fact


def route_of(route: dict[str, Any] = ROUTE) -> Route:
    return Route(fact_of(route))


def department(name: str, *follows: str, grain: str = "scene", **more: Any) -> dict[str, Any]:
    arcs = [{"department": other, "strands": ["character"]} for other in follows]
    return {"department": name, "grain": grain, "unit": "scenes", "follows": arcs, **more}


def small(*departments: dict[str, Any], **more: Any) -> dict[str, Any]:
    gates = [{"gate": "delivery", "department": departments[-1]["department"]}]
    return {"departments": list(departments), "gates": gates, **more}


def test_the_route_of_the_small_studio_has_no_fault() -> None:
    assert route_faults(fact_of(ROUTE)) == []


@pytest.mark.parametrize(
    ("route", "pointer", "message"),
    [
        (small(department("a"), department("a")), "/departments/1/department", "twice"),
        (small(department("a", "b")), "/departments/0/follows/0/department", "not in this route"),
        (
            small(department("a"), department("b", "a", "a")),
            "/departments/1/follows/1/department",
            "twice",
        ),
        (
            small(department("a", grain="element"), department("b", "a")),
            "/departments/1/follows/0/department",
            "kinds of element",
        ),
        (small(department("a", "b"), department("b", "a")), "/departments", "circle"),
        (small(department("a", "a")), "/departments", "circle"),
    ],
)
def test_departments_must_hang_together(route: dict[str, Any], pointer: str, message: str) -> None:
    faults = route_faults(fact_of(route))
    assert [fault.pointer for fault in faults] == [pointer]
    assert message in faults[0].detail


def kind(**more: Any) -> dict[str, Any]:
    usual = {
        "kind": "sheet",
        "departments": ["design"],
        "feeds": "animation",
        "strand": "character",
    }
    return {**usual, **more}


@pytest.mark.parametrize(
    ("kinds", "pointers"),
    [
        ([kind(), kind()], ["/kinds/1/kind"]),
        ([kind(departments=["nowhere"])], ["/kinds/0/departments/0"]),
        ([kind(departments=["cutting"])], ["/kinds/0/departments/0"]),
        ([kind(departments=["design", "design"])], ["/kinds/0/departments/1"]),
        ([kind(feeds="cutting")], ["/kinds/0/feeds"]),
        ([kind(feeds="nowhere")], ["/kinds/0/feeds"]),
        ([kind(replaces=["mix"])], ["/kinds/0/replaces/0"]),
        ([kind(replaces=["animation"])], ["/kinds/0/feeds"]),
        (
            [kind(feeds="cutting", departments=["nowhere"])],
            ["/kinds/0/departments/0", "/kinds/0/feeds"],
        ),
    ],
)
def test_kinds_must_fit_the_departments(kinds: list[dict[str, Any]], pointers: list[str]) -> None:
    assert [fault.pointer for fault in route_faults(fact_of({**ROUTE, "kinds": kinds}))] == pointers


@pytest.mark.parametrize(
    ("gates", "pointers"),
    [
        ([{"gate": "air", "department": "mix"}], ["/gates"]),
        ([{"gate": "delivery", "department": "nowhere"}], ["/gates/0/department"]),
        ([{"gate": "delivery", "department": "design"}], ["/gates/0/department"]),
        (
            [{"gate": "delivery", "department": "mix"}, {"gate": "delivery", "department": "mix"}],
            ["/gates/1/gate"],
        ),
    ],
)
def test_gates_must_fit_the_departments(gates: list[dict[str, Any]], pointers: list[str]) -> None:
    assert [fault.pointer for fault in route_faults(fact_of({**ROUTE, "gates": gates}))] == pointers


def test_every_fault_is_named_at_once() -> None:
    route = small(department("a"), department("a", "nowhere"))
    route["gates"] = [{"gate": "air", "department": "gone"}]
    pointers = {fault.pointer for fault in route_faults(fact_of(route))}
    assert pointers == {
        "/departments/1/department",
        "/departments/1/follows/0/department",
        "/gates/0/department",
        "/gates",
    }


def test_a_circle_is_never_compiled() -> None:
    with pytest.raises(ValueError, match="circle"):
        Route(fact_of(small(department("a", "b"), department("b", "a"))))


def test_departments_stand_behind_those_they_follow_however_they_are_listed() -> None:
    turned = {**ROUTE, "departments": list(reversed(ROUTE["departments"]))}
    for route in (route_of(), route_of(turned)):
        for name, arcs in route.follows.items():
            assert all(route.rank[arc.department] < route.rank[name] for arc in arcs)


def test_ties_go_by_the_order_in_which_the_route_lists_them() -> None:
    route = route_of(small(department("a"), department("c", "a"), department("b", "a")))
    assert route.scene_departments == ("a", "c", "b")


def test_grains_are_kept_apart() -> None:
    route = route_of()
    assert route.episode_departments == ("storyboard", "cutting", "mix")
    assert route.scene_departments == ("layout", "background", "animation", "paint", "camera")
    assert route.gates == {"rough-cut": ("camera", True), "delivery": ("mix", False)}


def test_arcs_of_a_scene_that_visits_all() -> None:
    route = route_of()
    arcs = route.arcs_of(route.scene_departments)
    assert arcs["layout"] == (RouteArc("storyboard", PICTURE | SOUND),)
    assert arcs["camera"] == (RouteArc("background", BACKGROUND), RouteArc("paint", CHARACTER))
    # what an episode's visit waits for in a scene: episode-grain arcs are the episode's own
    assert arcs["cutting"] == (RouteArc("camera", PICTURE),)
    assert arcs["mix"] == ()


def test_a_department_not_visited_is_passed_through() -> None:
    arcs = route_of().arcs_of(("layout", "animation", "paint", "camera"))
    assert arcs["camera"] == (RouteArc("layout", BACKGROUND), RouteArc("paint", CHARACTER))


def test_strands_that_do_not_meet_on_the_way_leave_the_order_and_carry_nothing() -> None:
    route = small(
        department("a"),
        department("b", "a"),
        {
            **department("c"),
            "follows": [{"department": "b", "strands": ["background"]}],
        },
    )
    compiled = route_of(route)
    assert compiled.arcs_of(("a", "c"))["c"] == (RouteArc("a", frozenset()),)
    assert compiled.behind_of(("a", "c"))["a"] == (RouteArc("c", frozenset()),)


def test_several_ways_through_join_their_strands() -> None:
    arcs = route_of().arcs_of(("layout", "camera"))
    assert arcs["camera"] == (RouteArc("layout", PICTURE),)


def _gone_one_by_one(route: Route, name: str, visited: set[str]) -> dict[str, frozenset[str]]:
    """What a department follows, from each way to it by itself."""
    found: dict[str, frozenset[str]] = {}

    def go(here: str, carried: frozenset[str]) -> None:
        for arc in route.follows[here]:
            through = arc.strands & carried
            if arc.department in visited:
                found[arc.department] = found.get(arc.department, frozenset()) | through
            else:
                go(arc.department, through)

    go(name, PICTURE | SOUND)
    return found


@tried(200)
@given(st.data())
def test_what_is_passed_through_is_what_all_ways_have_in_common(data: st.DataObject) -> None:
    names = list("abcdefg")
    strand = st.sets(st.sampled_from(sorted(PICTURE | SOUND)), min_size=1)
    departments = []
    for place, name in enumerate(names):
        before = data.draw(st.sets(st.sampled_from(names[:place]))) if place else set()
        arcs = [{"department": one, "strands": sorted(data.draw(strand))} for one in sorted(before)]
        departments.append({**department(name), "follows": arcs})
    route = route_of(small(*departments))
    visited = data.draw(st.sets(st.sampled_from(names)))
    arcs_of = route.arcs_of(tuple(sorted(visited)))
    for name in visited:
        found = {arc.department: arc.strands for arc in arcs_of[name]}
        assert found == _gone_one_by_one(route, name, visited)


def test_ways_too_many_to_be_gone_one_by_one_are_no_hindrance() -> None:
    names = [f"d{number:02}" for number in range(40)]
    between = [
        department(name, *names[max(0, place - 20) : place]) for place, name in enumerate(names)
    ]
    route = route_of(small(
        department("board", grain="episode"),
        {**between[0], "follows": department("", "board")["follows"]},
        *between[1:],
        department("cutting", *names[-20:], grain="episode"),
    ))  # fmt: skip
    assert route.arcs_without_scenes()["cutting"] == (RouteArc("board", CHARACTER),)


def test_an_episode_visit_follows_another_through_departments_that_no_scene_visits() -> None:
    route = small(
        department("board", grain="episode"),
        department("layout", "board"),
        department("camera", "layout"),
        {
            **department("cutting", grain="episode"),
            "follows": [
                {"department": "camera", "strands": ["character"]},
                {"department": "board", "strands": ["sound"]},
            ],
        },
        department("mix", "cutting", "camera", grain="episode"),
    )
    compiled = route_of(route)
    # cutting follows the board directly, so that its scenes have nothing to say about that
    assert compiled.arcs_of(())["cutting"] == ()
    assert compiled.arcs_of(())["mix"] == (RouteArc("board", CHARACTER),)
    assert compiled.arcs_of(("layout",))["mix"] == (RouteArc("layout", CHARACTER),)


def test_episode_visits_gate_scenes_also_through_departments_not_visited() -> None:
    arcs = route_of().arcs_of(("camera",))
    assert arcs["camera"] == (RouteArc("storyboard", PICTURE),)


@pytest.mark.parametrize(
    "departments",
    [
        ("layout", "background", "animation", "paint", "camera"),
        ("layout", "animation", "paint", "camera"),
        ("layout", "camera"),
        ("camera",),
    ],
)
def test_behind_is_the_inverse_of_before(departments: tuple[str, ...]) -> None:
    route = route_of()
    before = {
        (arc.department, name, arc.strands)
        for name, arcs in route.arcs_of(departments).items()
        for arc in arcs
    }
    behind = {
        (name, arc.department, arc.strands)
        for name, arcs in route.behind_of(departments).items()
        for arc in arcs
    }
    assert before == behind


def test_what_is_reused_whole_is_skipped() -> None:
    route = route_of()
    everything = {"layout", "background", "animation", "paint"}
    assert route.skipped("camera", PICTURE) == everything
    assert route.skipped("camera", PICTURE | SOUND) == everything
    assert route.skipped("camera", CHARACTER) == {"animation", "paint"}
    assert route.skipped("camera", BACKGROUND) == {"background"}
    assert route.skipped("paint", CHARACTER) == {"animation"}
    assert route.skipped("paint", BACKGROUND) == set(), "it goes to camera"


def test_what_also_serves_another_strand_is_not_skipped() -> None:
    # layout makes backgrounds and characters: reusing one alone leaves it to do
    assert "layout" not in route_of().skipped("camera", CHARACTER)
    assert "layout" not in route_of().skipped("animation", CHARACTER)
