"""How recorded events are marked: late, or in what way they are irregular."""

from collections.abc import Mapping

from service.production import marks
from service.production.graph import predecessors
from service.production.lending import lent_visits
from service.production.state import AnyState, Draft, Node, visit_of
from service.production.takes import Phase
from service.production.visits import Visit
from service.vocabulary.event import Event


def add_mark(draft: Draft, position: int, mark: str) -> None:
    """Flag a recorded event."""
    draft.marks[position] = tuple(sorted({*draft.marks.get(position, ()), mark}))


def mark_irregular(draft: Draft, event: Event, node: Node, *also: str) -> None:
    """Flag what is only unusual about a visit that begins: legal, but worth a look."""
    for mark in also:
        add_mark(draft, event.position, mark)
    if upstream_missing(draft, node, event.time_us):
        add_mark(draft, event.position, marks.UPSTREAM_MISSING)
    scene = draft.scenes.get(node[0])
    if scene is not None and scene.hold is not None and event.time_us > scene.hold.since_us:
        add_mark(draft, event.position, marks.HELD)
    episode = draft.episodes.get(scene.episode if scene else node[0])
    if episode is not None and 0 <= episode.delivered_us < event.time_us:
        add_mark(draft, event.position, marks.DELIVERED)
    for stoppage in draft.stoppages.get(node[1], ()):
        over = 0 <= stoppage.resumed_us <= event.time_us
        if stoppage.stopped_us < event.time_us and not over:
            add_mark(draft, event.position, marks.STOPPED)


def surely_regular(
    draft: Draft, item: str, department: str, visits: Mapping[str, Visit], at_us: int
) -> bool:
    """Whether a start of a scene has plainly nothing unusual; False asks for a closer look.

    `visits` are the scene's own.
    """
    scene = draft.scenes.get(item)
    if scene is None or scene.same_as or scene.hold is not None or department in draft.stoppages:
        return False
    if draft.episodes[scene.episode].delivered:
        return False
    for before, _ in scene.route.arcs_of(scene.departments).get(department, ()):
        visit = visits.get(before) or visit_of(draft, scene.episode, before)
        if not _settled(visit, at_us):
            return False
    for used in scene.elements:
        element = draft.elements[used]
        for stay, fed in element.route.joins[element.kind]:
            if fed == department and not _settled(visit_of(draft, used, stay), at_us):
                return False
    return True


def _settled(visit: Visit, at_us: int) -> bool:
    take = visit.takes[-1]
    return take.phase is Phase.HANDED_OFF and take.opened_us < at_us and take.ended_us <= at_us


def upstream_missing(state: AnyState, node: Node, at_us: int) -> bool:
    """Whether a visit that must come before was not handed off by then, as now known."""
    for arc in predecessors(state, *node):
        item, department = arc.node
        visit = visit_of(state, item, department)
        take = visit.takes[-1]
        if take.opened_us >= at_us:
            take = visit.take_open(at_us)
        if take.phase is Phase.HANDED_OFF and take.ended_us <= at_us:
            continue
        scene = state.scenes.get(item)
        if scene is None or not scene.omitted_at(at_us) or department in lent_visits(state, item):
            return True
    return False
