"""A show's route, compiled from its fact: who follows whom, what each arc carries."""

import heapq
from collections.abc import Iterable, Iterator
from graphlib import CycleError, TopologicalSorter
from typing import NamedTuple

from service.vocabulary.facts.routes import STRANDS, ElementKind, RouteDepartment, RouteLaid

Strands = frozenset[str]

APPROVAL = "approval"
"""Where an element stays while it is asked about: its last visit, which no artist works at."""
DAYS = "days"
_ANSWERS = RouteDepartment(APPROVAL, "element", DAYS, redo="whole")


class RouteArc(NamedTuple):
    """The other end of an arc, and what the arc carries."""

    department: str
    strands: Strands


class RouteFault(NamedTuple):
    """What is wrong with a route: a JSON pointer into the event's data, and the remedy."""

    pointer: str
    detail: str


class Route:
    """Departments in an order in which each stands behind those it follows.

    Immutable, and equal when what was laid is. What follows from it is worked out once and kept.
    """

    def __init__(self, fact: RouteLaid) -> None:
        """Compile a checked fact (`route_faults` gives none)."""
        departments = {department.department: department for department in fact.departments}
        ordered = _order(departments)
        if ordered is None:
            raise ValueError("a route with a circle was recorded")
        self.fact = fact
        self.departments = departments
        self.follows = {
            name: tuple(RouteArc(arc.department, frozenset(arc.strands)) for arc in stood.follows)
            for name, stood in departments.items()
        }
        followed_by: dict[str, list[RouteArc]] = {name: [] for name in departments}
        for name in ordered:
            for arc in self.follows[name]:
                followed_by[arc.department].append(RouteArc(name, arc.strands))
        self.followed_by = {name: tuple(arcs) for name, arcs in followed_by.items()}
        self.rank = {name: place for place, name in enumerate(ordered)}
        self.scene_departments = tuple(n for n in ordered if departments[n].grain == "scene")
        self.episode_departments = tuple(n for n in ordered if departments[n].grain == "episode")
        self.kinds = {kind.kind: kind for kind in fact.kinds}
        self.joins = {kind.kind: _joins(kind) for kind in fact.kinds}
        self.approves = any(kind.approval is not None for kind in fact.kinds)
        if self.approves:
            departments[APPROVAL] = _ANSWERS
            self.rank[APPROVAL] = len(ordered)
        self.gates = {gate.gate: (gate.department, gate.takes == "first") for gate in fact.gates}
        self._skips: dict[tuple[str, Strands], frozenset[str]] = {}
        self._arcs: dict[tuple[str, ...], dict[str, tuple[RouteArc, ...]]] = {}
        self._behind: dict[tuple[str, ...], dict[str, tuple[RouteArc, ...]]] = {}
        self._carries: dict[str, Strands] = {}
        self._sceneless: dict[str, tuple[RouteArc, ...]] = {}

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Route):
            return NotImplemented
        return self is other or self.fact == other.fact

    def __hash__(self) -> int:
        return hash(self.fact)

    def visits_of_kind(self, kind: str) -> tuple[str, ...]:
        """Where an element of a kind stays, in order: with who makes it, then for its approval."""
        made = self.kinds[kind]
        return made.departments if made.approval is None else (*made.departments, APPROVAL)

    def opens_scenes(self, department: str) -> bool:
        """Whether scenes wait for an episode's visit there."""
        return any(arc.department in self.scene_departments for arc in self.followed_by[department])

    def gathers_scenes(self, department: str) -> bool:
        """Whether an episode's visit there waits for its scenes."""
        return any(arc.department in self.scene_departments for arc in self.follows[department])

    def carries(self, kind: str) -> Strands:
        """The strand of a kind of element, as what an arc from it carries."""
        strands = self._carries.get(kind)
        if strands is None:
            strands = self._carries[kind] = frozenset({self.kinds[kind].strand})
        return strands

    def arcs_without_scenes(self) -> dict[str, tuple[RouteArc, ...]]:
        """What each department of episode grain follows in an episode without scenes as yet.

        Scene departments are passed through, so that nothing is cut before its board is there.
        """
        if not self._sceneless:
            stops = frozenset(self.episode_departments)
            for department in self.episode_departments:
                joined = self._passed_through(department, stops)
                self._sceneless[department] = tuple(
                    RouteArc(name, joined[name]) for name in sorted(joined)
                )
        return self._sceneless

    def arcs_of(self, departments: tuple[str, ...]) -> dict[str, tuple[RouteArc, ...]]:
        """What each department follows, for a scene that visits only `departments` itself.

        A department the scene does not visit is passed through: what it follows is followed by
        whatever stands behind, and the arc carries what all of the way has in common. Where the
        strands of the way do not meet it carries nothing: the order stays, no retake follows it.
        For a department of episode grain, what it follows in the scene; other visits of the episode
        are among that where only departments that the scene does not visit lie between.
        """
        arcs = self._arcs.get(departments)
        if arcs is None:
            arcs = self._arcs[departments] = {
                name: self._own_arcs(name, frozenset(departments))
                for name in (*departments, *self.episode_departments)
            }
        return arcs

    def behind_of(self, departments: tuple[str, ...]) -> dict[str, tuple[RouteArc, ...]]:
        """What stands behind each department for such a scene: the inverse of `arcs_of`."""
        found = self._behind.get(departments)
        if found is None:
            behind: dict[str, list[RouteArc]] = {}
            for name, arcs in self.arcs_of(departments).items():
                for before, strands in arcs:
                    behind.setdefault(before, []).append(RouteArc(name, strands))
            found = self._behind[departments] = {name: tuple(arcs) for name, arcs in behind.items()}
        return found

    def _own_arcs(self, department: str, visited: frozenset[str]) -> tuple[RouteArc, ...]:
        own = frozenset(self.episode_departments)
        joined = self._passed_through(department, visited | own)
        if self.departments[department].grain != "scene":
            # what an episode's visit follows directly is no matter of its scenes
            for arc in self.follows[department]:
                if arc.department in own:
                    joined.pop(arc.department, None)
        return tuple(
            RouteArc(name, joined[name])
            for name in sorted(joined, key=lambda name: self.rank[name])
        )

    def _passed_through(self, department: str, stops: frozenset[str]) -> dict[str, Strands]:
        """What a department follows where only `stops` are visited, and the strands of each arc."""
        # each department that is passed through once, behind all by which it is come to: ways
        # there are more of than could ever be gone one by one
        joined = {department: frozenset(STRANDS)}
        for name in reversed(self.rank):
            if name in joined and (name == department or name not in stops):
                carried = joined.pop(name)
                for arc in self.follows[name]:
                    through = arc.strands & carried
                    joined[arc.department] = joined.get(arc.department, frozenset()) | through
        return joined

    def skipped(self, joins: str, strands: Strands) -> frozenset[str]:
        """Scene departments that a scene need not visit when it joins its source at `joins`.

        One is skipped when every arc out of it carries a reused strand to `joins` or to another
        skipped department: whatever else it does for the scene must still be done.
        """
        skipped = self._skips.get((joins, strands))
        if skipped is None:
            found: set[str] = set()
            for name in reversed(self.scene_departments):
                arcs = self.followed_by[name]
                if arcs and all(
                    arc.strands <= strands and (arc.department == joins or arc.department in found)
                    for arc in arcs
                ):
                    found.add(name)
            skipped = self._skips[joins, strands] = frozenset(found - {joins})
        return skipped


def circle_between(episode: Route, scenes: Iterable[Route]) -> tuple[str, ...]:
    """Departments that wait for each other in an episode whose scenes take some routes, by name.

    Empty where none do. A route alone has no circle; several may have one together, because an
    episode's own visits wait for all its scenes and are waited for by all of them.
    """
    own = frozenset(episode.episode_departments)
    # by visit, those it follows: of a scene with the number of its route, of the episode with -1
    follows: dict[tuple[int, str], set[tuple[int, str]]] = {
        (-1, name): {(-1, arc.department) for arc in episode.follows[name] if arc.department in own}
        for name in own
    }
    for number, route in enumerate(scenes):
        visited = frozenset(route.scene_departments)
        arcs_of = route.arcs_of(route.scene_departments)
        for name in visited:
            before = {arc.department for arc in arcs_of[name]}
            follows[number, name] = {(number, other) for other in before & visited}
            follows[number, name] |= {(-1, other) for other in before & own - visited}
        for name in own & arcs_of.keys():
            before = {arc.department for arc in arcs_of[name]}
            follows[-1, name] |= {(number, other) for other in before & visited}
    try:
        TopologicalSorter(follows).prepare()
    except CycleError as error:
        return tuple(sorted({name for _, name in error.args[1]}))
    return ()


def _joins(kind: ElementKind) -> tuple[tuple[str, str], ...]:
    """Which visits of an element which visits of its users wait for; first, what it feeds.

    Users wait for the making and for the approval, both: an approval may be given early.
    """
    made = (kind.departments[-1], kind.feeds)
    return (made,) if kind.approval is None else (made, (APPROVAL, kind.approval.before))


def _order(departments: dict[str, RouteDepartment]) -> list[str] | None:
    """Departments so that each stands behind those it follows; None if there is a circle.

    Ties go by the order in which the route lists them.
    """
    sorter = TopologicalSorter(
        {name: [arc.department for arc in one.follows] for name, one in departments.items()}
    )
    try:
        sorter.prepare()
    except CycleError:
        return None
    names = list(departments)
    free: list[int] = []
    ordered = []
    while sorter.is_active():
        for name in sorter.get_ready():
            heapq.heappush(free, names.index(name))
        ordered.append(names[heapq.heappop(free)])
        sorter.done(ordered[-1])
    return ordered


def _twice(names: Iterable[str]) -> Iterator[tuple[int, str]]:
    seen: set[str] = set()
    for place, name in enumerate(names):
        if name in seen:
            yield place, name
        seen.add(name)


def route_faults(fact: RouteLaid) -> list[RouteFault]:
    """Everything that makes a route unusable; empty if it can be compiled."""
    departments = {department.department: department for department in fact.departments}
    faults = [
        RouteFault(f"/departments/{place}/department", f"{name} is listed twice; list it once")
        for place, name in _twice(department.department for department in fact.departments)
    ]
    for place, department in enumerate(fact.departments):
        if department.department == APPROVAL:
            detail = "approval is the word for the answer to a design; name it otherwise"
            faults.append(RouteFault(f"/departments/{place}/department", detail))
        for arc_place, arc in enumerate(department.follows):
            pointer = f"/departments/{place}/follows/{arc_place}/department"
            other = departments.get(arc.department)
            if other is None:
                faults.append(
                    RouteFault(pointer, f"{arc.department} is not in this route; list it too")
                )
            elif "element" in (department.grain, other.grain):
                faults.append(
                    RouteFault(
                        pointer,
                        "departments of element grain are joined by the kinds of element, "
                        "not by follows; leave the arc out",
                    )
                )
        for arc_place, name in _twice(arc.department for arc in department.follows):
            pointer = f"/departments/{place}/follows/{arc_place}/department"
            faults.append(RouteFault(pointer, f"{name} is followed twice; join the strands"))
    if not faults and _order(departments) is None:
        faults.append(RouteFault("/departments", "the departments follow each other in a circle"))
    return faults + _kind_faults(fact, departments) + _gate_faults(fact, departments)


def _kind_faults(fact: RouteLaid, departments: dict[str, RouteDepartment]) -> list[RouteFault]:
    faults = [
        RouteFault(f"/kinds/{place}/kind", f"{name} is listed twice; list it once")
        for place, name in _twice(kind.kind for kind in fact.kinds)
    ]
    for place, kind in enumerate(fact.kinds):
        for name_place, name in enumerate(kind.departments):
            pointer = f"/kinds/{place}/departments/{name_place}"
            if name not in departments:
                faults.append(RouteFault(pointer, f"{name} is not in this route; list it too"))
            elif departments[name].grain == "episode":
                faults.append(RouteFault(pointer, f"{name} works by episode, not on elements"))
        for name_place, name in _twice(kind.departments):
            faults.append(
                RouteFault(f"/kinds/{place}/departments/{name_place}", f"{name} is listed twice")
            )
        scene_members = [("feeds", kind.feeds)]
        if kind.approval is not None:
            scene_members.append(("approval/before", kind.approval.before))
        scene_members += [(f"replaces/{at}", name) for at, name in enumerate(kind.replaces)]
        for member, name in scene_members:
            if name not in departments or departments[name].grain != "scene":
                faults.append(
                    RouteFault(
                        f"/kinds/{place}/{member}",
                        f"{name} is not a department of this route that works by scene",
                    )
                )
        if kind.feeds in kind.replaces:
            faults.append(
                RouteFault(f"/kinds/{place}/feeds", f"{kind.feeds} cannot be fed and replaced")
            )
    return faults


def _gate_faults(fact: RouteLaid, departments: dict[str, RouteDepartment]) -> list[RouteFault]:
    faults = [
        RouteFault(f"/gates/{place}/gate", f"{name} is listed twice; list it once")
        for place, name in _twice(gate.gate for gate in fact.gates)
    ]
    faults += [
        RouteFault(
            f"/gates/{place}/department",
            f"{gate.department} is not a department of this route that works by scene or episode",
        )
        for place, gate in enumerate(fact.gates)
        if gate.department not in departments or departments[gate.department].grain == "element"
    ]
    if all(gate.gate != "delivery" for gate in fact.gates):
        faults.append(RouteFault("/gates", "say which department's hand-offs meet delivery"))
    return faults
