"""Shows, routes and elements as answers show them."""

from service.vocabulary.facts.office import GATES, GRAINS, STRANDS, UNITS
from service.web.schemas.common import Shown
from service.web.schemas.reading import (
    choice,
    day,
    moment,
    page_shown,
    quantity,
    several,
    whole,
    with_position,
    word,
    words,
)
from service.web.schemas.visits import VisitShown


class ShowShown(Shown):
    """A series."""

    show = word("Its code.")
    title = word("Its title.")
    frames_per_second = whole("Its frame rate.")
    timecode = word("How its time code numbers frames; null: all of them.", none=True)
    episodes_opened = whole("How many episodes were opened.")
    elements_listed = whole("How many elements are listed.")


class FollowsShown(Shown):
    """A department that another follows."""

    department = word("The department that hands off.")
    strands = words("What passes: background, character, sound.")


class RouteDepartmentShown(Shown):
    """How a department stands in the route."""

    department = word("The department.")
    grain = choice(GRAINS, "What one visit is a visit of.")
    unit = choice(UNITS, "What its work is counted in.")
    follows = several(FollowsShown, "Who hands off to it.")
    redo = choice(("part", "whole"), "What a retake redoes.")
    least = quantity("The least work a redo costs.")
    drawings_part = quantity("Which part of a scene's drawings it makes.")


class KindShown(Shown):
    """A kind of element."""

    kind = word("The kind.")
    departments = words("Who makes it.")
    feeds = word("The department whose visit it feeds in scenes that use it.")
    strand = choice(STRANDS, "What it carries.")
    replaces = words("Departments that a scene which uses it does not visit itself.")


class RouteGateShown(Shown):
    """What meets a gate."""

    gate = choice(GATES, "The gate.")
    department = word("The department whose hand-offs meet it.")
    takes = choice(("first", "final"), "Whether first takes suffice.")


class WholeShowShown(ShowShown):
    """A series with the route that items listed now would take."""

    episodes = words("Its episodes.")
    route = several(RouteDepartmentShown, "The departments, in order.")
    route_from_on = day("From when items take this route; null: from the start.")
    kinds = several(KindShown, "The kinds of element.")
    gates = several(RouteGateShown, "What meets each gate.")


class ElementShown(Shown):
    """Something made once and used by several scenes."""

    element = word("The element.")
    kind = word("Its kind.")
    title = word("Its title.", none=True)
    drawings = whole("How many drawings.")
    frames = whole("Its length in frames; 0 where it has none.")
    priority = whole("Its priority; higher goes first.")
    scenes = words("The scenes that use it.")
    projected_finish_at = moment("When the last of its visits is, or was, handed off.")
    visits = several(VisitShown, "Its visits, in order.")


SHOWS = page_shown(ShowShown, "ShowsPage")
SHOW = with_position(WholeShowShown, "ShowAnswer")
ELEMENTS = page_shown(ElementShown, "ElementsPage")
ELEMENT = with_position(ElementShown, "ElementAnswer")
