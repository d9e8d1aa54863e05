"""Shows and their routes as JSON shows them."""

from collections.abc import Sequence
from typing import Annotated

from service.production.route import Route
from service.production.state import LaidRoute, Show, State
from service.vocabulary.facts.routes import (
    GATES,
    GRAINS,
    STRANDS,
    UNITS,
    ElementKind,
    RouteDepartment,
)
from service.vocabulary.identifiers import natural_order
from service.web.answers import Day, Quantity, Shown, answer_of, extended, note, one_of, page_of
from service.web.nouns.values import shown_e4, shown_on


class ShowShown(Shown):
    """A series."""

    show: Annotated[str, note("Its code.")]
    title: Annotated[str, note("Its title.")]
    frames_per_second: Annotated[int, note("Its frame rate.")]
    timecode: Annotated[str | None, note("How its time code numbers frames; null: all of them.")]
    episodes_opened: Annotated[int, note("How many episodes were opened.")]
    elements_listed: Annotated[int, note("How many elements are listed.")]


class FollowsShown(Shown):
    """A department that another follows."""

    department: Annotated[str, note("The department that hands off.")]
    strands: Annotated[Sequence[str], note("What passes: background, character, sound.")]


class RouteDepartmentShown(Shown):
    """How a department stands in the route."""

    department: Annotated[str, note("The department.")]
    grain: Annotated[str, one_of(GRAINS, "What one visit is a visit of.")]
    unit: Annotated[str, one_of(UNITS, "What its work is counted in.")]
    follows: Annotated[list[FollowsShown], note("Who hands off to it.")]
    redo: Annotated[str, one_of(("part", "whole"), "What a retake redoes.")]
    least: Annotated[Quantity, note("The least work a redo costs.")]
    drawings_part: Annotated[Quantity, note("Which part of a scene's drawings it makes.")]


class KindApprovalShown(Shown):
    """What waits until elements of a kind are approved."""

    before: Annotated[
        str, note("Scenes that use one wait for the approval before this department.")
    ]
    days: Annotated[int, note("How many working days the answer usually takes.")]


class KindShown(Shown):
    """A kind of element."""

    kind: Annotated[str, note("The kind.")]
    departments: Annotated[Sequence[str], note("Who makes it.")]
    feeds: Annotated[str, note("The department whose visit it feeds in scenes that use it.")]
    strand: Annotated[str, one_of(STRANDS, "What it carries.")]
    replaces: Annotated[
        Sequence[str], note("Departments that a scene which uses it does not visit itself.")
    ]
    approval: Annotated[KindApprovalShown | None, note("Its approval; null: none is needed.")]


class RouteGateShown(Shown):
    """What meets a gate."""

    gate: Annotated[str, one_of(GATES, "The gate.")]
    department: Annotated[str, note("The department whose hand-offs meet it.")]
    takes: Annotated[str, one_of(("first", "final"), "Whether first takes suffice.")]


class WholeShowShown(ShowShown):
    """A series with the route that items listed now would take."""

    episodes: Annotated[Sequence[str], note("Its episodes.")]
    route: Annotated[list[RouteDepartmentShown], note("The departments, in order.")]
    route_from_on: Annotated[
        Day | None, note("From when items take this route; null: from the start.")
    ]
    kinds: Annotated[list[KindShown], note("The kinds of element.")]
    gates: Annotated[list[RouteGateShown], note("What meets each gate.")]


def shown_show(state: State, code: str, show: Show) -> ShowShown:
    """A show in a list of them."""
    return ShowShown(
        show=code,
        title=show.title,
        frames_per_second=show.frames_per_second,
        timecode=show.timecode,
        episodes_opened=sum(1 for episode in state.episodes.values() if episode.show == code),
        elements_listed=len(show.elements),
    )


def shown_show_whole(state: State, code: str, show: Show, laid: LaidRoute | None) -> WholeShowShown:
    """A show with the route that items listed now would take."""
    episodes = (name for name, episode in state.episodes.items() if episode.show == code)
    route = None if laid is None else laid.route
    return extended(
        WholeShowShown,
        shown_show(state, code, show),
        episodes=sorted(episodes, key=natural_order),
        route=[_shown_department(one) for one in route.fact.departments] if route else [],
        kinds=[_shown_kind(kind) for kind in route.kinds.values()] if route else [],
        gates=_shown_gates(route) if route else [],
        route_from_on=None if laid is None or laid.from_on is None else shown_on(laid.from_on),
    )


def _shown_gates(route: Route) -> list[RouteGateShown]:
    return [
        RouteGateShown(
            gate=gate,
            department=route.gates[gate][0],
            takes="first" if route.gates[gate][1] else "final",
        )
        for gate in sorted(route.gates, key=GATES.index)
    ]


def _shown_department(stands: RouteDepartment) -> RouteDepartmentShown:
    return RouteDepartmentShown(
        department=stands.department,
        grain=stands.grain,
        unit=stands.unit,
        follows=[
            FollowsShown(
                department=arc.department,
                strands=arc.strands,
            )
            for arc in stands.follows
        ],
        redo=stands.redo,
        least=shown_e4(stands.least_e4),
        drawings_part=shown_e4(stands.drawings_part_e4),
    )


def _shown_kind(kind: ElementKind) -> KindShown:
    return KindShown(
        kind=kind.kind,
        departments=kind.departments,
        feeds=kind.feeds,
        strand=kind.strand,
        replaces=kind.replaces,
        approval=None
        if kind.approval is None
        else KindApprovalShown(
            before=kind.approval.before,
            days=kind.approval.days,
        ),
    )


SHOWS = page_of(ShowShown, "ShowsPage")
SHOW = answer_of(WholeShowShown, "ShowAnswer")
