"""Shows and their routes as JSON shows them."""

from service.production.route import Route
from service.production.state import LaidRoute, Show, State
from service.vocabulary.facts.office import GATES, ElementKind, RouteDepartment
from service.vocabulary.identifiers import natural_order
from service.web.representation.values import Shown, shown_e4, shown_on


def shown_show(state: State, code: str, show: Show) -> Shown:
    """A show in a list of them."""
    return {
        "show": code,
        "title": show.title,
        "frames_per_second": show.frames_per_second,
        "timecode": show.timecode,
        "episodes_opened": sum(1 for episode in state.episodes.values() if episode.show == code),
        "elements_listed": len(show.elements),
    }


def shown_show_whole(state: State, code: str, show: Show, laid: LaidRoute | None) -> Shown:
    """A show with the route that items listed now would take."""
    episodes = (name for name, episode in state.episodes.items() if episode.show == code)
    shown = shown_show(state, code, show) | {
        "episodes": sorted(episodes, key=natural_order),
        "route": [],
        "kinds": [],
        "gates": [],
        "route_from_on": None,
    }
    if laid is not None:
        shown |= _shown_route(laid.route) | {"route_from_on": shown_on(laid.from_on)}
    return shown


def _shown_route(route: Route) -> Shown:
    return {
        "route": [_shown_department(one) for one in route.fact.departments],
        "kinds": [_shown_kind(kind) for kind in route.kinds.values()],
        "gates": [
            {
                "gate": gate,
                "department": route.gates[gate][0],
                "takes": "first" if route.gates[gate][1] else "final",
            }
            for gate in sorted(route.gates, key=GATES.index)
        ],
    }


def _shown_department(stands: RouteDepartment) -> Shown:
    return {
        "department": stands.department,
        "grain": stands.grain,
        "unit": stands.unit,
        "follows": [
            {"department": arc.department, "strands": arc.strands} for arc in stands.follows
        ],
        "redo": stands.redo,
        "least": shown_e4(stands.least_e4),
        "drawings_part": shown_e4(stands.drawings_part_e4),
    }


def _shown_kind(kind: ElementKind) -> Shown:
    return {
        "kind": kind.kind,
        "departments": kind.departments,
        "feeds": kind.feeds,
        "strand": kind.strand,
        "replaces": kind.replaces,
        "approval": None
        if kind.approval is None
        else {"before": kind.approval.before, "days": kind.approval.days},
    }
