"""Past states as answers show them."""

from service.web.schemas import query
from service.web.schemas.fields import moment_field
from service.web.schemas.query import described
from service.web.schemas.reading import (
    ReadQuery,
)
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


REPLAY_QUERY = ReplayQuery()
REPLAY_EVENTS_QUERY = ReplayEventsQuery()
