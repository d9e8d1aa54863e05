"""Shows and routes as answers show them."""

from service.vocabulary.facts.office import GATES, GRAINS, STRANDS, UNITS
from service.web.schemas.common import Shown
from service.web.schemas.reading import (
    choice,
    day,
    one,
    page_shown,
    quantity,
    several,
    whole,
    with_position,
    word,
    words,
)


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


class KindApprovalShown(Shown):
    """What waits until elements of a kind are approved."""

    before = word("Scenes that use one wait for the approval before this department.")
    days = whole("How many working days the answer usually takes.")


class KindShown(Shown):
    """A kind of element."""

    kind = word("The kind.")
    departments = words("Who makes it.")
    feeds = word("The department whose visit it feeds in scenes that use it.")
    strand = choice(STRANDS, "What it carries.")
    replaces = words("Departments that a scene which uses it does not visit itself.")
    approval = one(KindApprovalShown, "Its approval; null: none is needed.", none=True)


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


SHOWS = page_shown(ShowShown, "ShowsPage")
SHOW = with_position(WholeShowShown, "ShowAnswer")
