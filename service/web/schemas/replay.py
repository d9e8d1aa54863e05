"""Past states as answers show them."""

from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.episodes import EpisodeShown
from service.web.schemas.fields import moment_field
from service.web.schemas.reading import (
    ReadQuery,
    ReadShown,
    choice,
    moment,
    one,
    several,
    whole,
    word,
)
from service.web.schemas.scenes import SceneShown
from service.web.strict_json import WHOLE_MAX

CLOCKS = ("recorded", "happened")


class ReplayQuery(ReadQuery):
    """Arguments of a past state; without position and at, the present one."""

    at_position = query.counted(1, WHOLE_MAX, "When the log stood there.", data_key="position")
    at = moment_field(metadata=described("At this instant. Say either position or at."))
    clock = query.one_of(
        CLOCKS,
        "recorded: as it was known then. happened: as it is now known to have been then.",
        load_default="recorded",
    )


class ReplayEventsQuery(ReplayQuery):
    """Arguments of the events that led to a past state."""

    cursor = query.cursor()
    limit = query.limit()


class AgainstShown(Shown):
    """Why a fact does not fit."""

    code = word("The stable name of the reason.")
    detail = word("The reason.")


class SetAsideShown(Shown):
    """A fact that happened by then, but does not fit without others that did not."""

    position = whole("Its position.")
    type = word("Its type.")
    subject = word("What it is about.")
    time = moment("When it happened.", none=False)
    reasons = several(AgainstShown, "Why it does not fit; none shown of what is withheld.")


class ReplayShown(ReadShown):
    """An episode at a past moment; `now` is that moment, dates are those of the plan then."""

    clock = choice(CLOCKS, "As it was known then, or as it is known now.")
    then = one(EpisodeShown, "The episode then.")
    scenes = several(SceneShown, "All its scenes then.")
    set_aside = several(SetAsideShown, "Facts that were set aside; none where clock=recorded.")


REPLAY_QUERY = ReplayQuery()
REPLAY_EVENTS_QUERY = ReplayEventsQuery()
REPLAY = ReplayShown()
_WHOLE = {"type": "integer"}
REPLAY_EVENTS = {
    "type": "object",
    "properties": {
        "position": {**_WHOLE, "description": "The position of the log it is made of."},
        "now": {"type": "string", "format": "date-time", "description": "The moment replayed."},
        "items": {"type": "array", "items": {"$ref": "#/components/schemas/RecordedEvent"}},
        "next": {"type": "string", "description": "The cursor of what follows, if more does."},
    },
    "required": ["position", "now", "items"],
}
