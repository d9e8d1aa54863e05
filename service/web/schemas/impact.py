"""Impacts as answers show them."""

from service.production.records import CHANGES
from service.vocabulary.facts.office import GATES
from service.web.schemas.common import Shown
from service.web.schemas.reading import (
    ReadShown,
    SuppositionShown,
    choice,
    day,
    flag,
    moment,
    quantity,
    several,
    whole,
    word,
    words,
)
from service.web.schemas.visits import NodeShown


class ReopenedShown(Shown):
    """A visit that is reopened, or asked for more."""

    item = word("The scene, element or episode.")
    department = word("The department.")
    take = whole("The take it makes.")
    work = quantity("That take's work.")
    unit = word("The department's unit.")
    retake = word("The retake.")
    because = several(NodeShown, "From the visit that the retake names to this one.")
    planned = flag(
        "Whether it is planned. A visit of an omitted scene or of a delivered episode is not, "
        "unless others reuse it: it adds to no department's work and moves nothing."
    )


class ToLookAtShown(Shown):
    """A scene that somebody must look at."""

    scene = word("The scene.")
    retake = word("The retake that asks; null: the scene changed.", none=True)
    reason = choice(("hook-up", "marked", *CHANGES), "Why.")
    visits = several(NodeShown, "What had begun before the scene changed.")


class StillNeededShown(Shown):
    """A visit of a scene that leaves the picture, which stays planned because others reuse it."""

    item = word("The scene.")
    department = word("The department.")
    needed_by = words("Scenes in the picture that reuse what is made there.")


class AddedShown(Shown):
    """Work that a department has more, or less, to do."""

    department = word("The department.")
    added_work = quantity("How much, in its unit.")
    unit = word("Its unit.")
    added_artist_days = quantity("The same in artist-days; null without a crew.", none=True)


class MovedShown(Shown):
    """A scene whose last hand-off moves, or that was done and is open again, or the other way."""

    scene = word("The scene.")
    finish_before = moment(
        "The last hand-off without the change: made where the scene was done, else projected."
    )
    finish_after = moment("The same with it.")
    open_before = flag("Whether some visit of it is not handed off without the change.")
    open_after = flag("The same with it.")
    slip_workdays = whole(
        "Working days between them; null unless it is open in both, for from when a scene was done "
        "days may have passed in which nothing was owed.",
        none=True,
    )


class GateMovedShown(Shown):
    """A gate without and with the change."""

    gate = choice(GATES, "The gate.")
    due_on = day("The date; null: not set.")
    hard = flag("Whether the date cannot move.")
    met_before = day("When it was first met without the change; null: not yet.")
    met_after = day("When it was first met with it.")
    projected_before = day("Since when it stands met, or when the plan meets it, without.")
    projected_after = day("The same with the change.")
    margin_workdays_before = whole("The margin without the change.", none=True)
    margin_workdays_after = whole("The margin with it.", none=True)
    date_holds = flag(
        "Whether the date holds with the change; null where none is set or nothing meets it.",
        none=True,
    )


class EpisodeMovedShown(Shown):
    """An episode without and with the change."""

    episode = word("The episode.")
    gates = several(GateMovedShown, "All its gates.")
    due_on = day("When its delivery is due; null: not set.")
    delivery_before = day("Its projected delivery without the change.")
    delivery_after = day("Its projected delivery with it.")
    margin_workdays_before = whole("The margin without the change.", none=True)
    margin_workdays_after = whole("The margin with it; negative is late.", none=True)
    date_holds = flag(
        "Whether the delivery date holds with the change, as its gate says.", none=True
    )


class ImpactShown(ReadShown):
    """What a change does: the plan with it minus the plan without it, at one moment."""

    reopened = several(ReopenedShown, "Visits that are reopened.")
    to_look_at = several(ToLookAtShown, "Scenes that somebody must look at.")
    still_needed = several(
        StillNeededShown, "Visits of scenes that leave the picture, still planned for others."
    )
    departments = several(AddedShown, "Work added, by department.")
    scenes = several(MovedShown, "Scenes that move, or are open again, or done again.")
    episodes = several(EpisodeMovedShown, "Every episode; those delivered in both left out.")
    suppositions = several(
        SuppositionShown,
        "Departments that do not work with the change, and when the plan with it takes them to go "
        "on. The plan without it supposes the same of each that had stopped by then already.",
    )
    rules_version = word("The version of the rules of planning.")
    time_zone_data_version = word("The release of the IANA time zone data.")
    cautions = words("What these figures do not say.")


IMPACT = ImpactShown()
