"""The date trail as answers show it."""

from marshmallow import fields, validate

from service.planning.compare.trail import CAUSES
from service.vocabulary.facts import CATALOGUE
from service.web.schemas import query
from service.web.schemas.fields import messages_of
from service.web.schemas.messages import Message
from service.web.schemas.query import described
from service.web.schemas.reading import (
    PageQuery,
    ReadQuery,
)
from service.web.strict_json import WHOLE_MAX

_CAUSE = Message("not-a-choice", "Write event, time, or a type of event listed in /openapi.json.")


class TrailQuery(PageQuery):
    """Arguments of a trail."""

    cause = fields.String(
        error_messages=messages_of(_CAUSE),
        validate=validate.OneOf((*CAUSES, *CATALOGUE), error=_CAUSE),
        metadata=described("Only rows of this cause: event, time, or a type of event."),
    )
    from_position = query.counted(
        0, WHOLE_MAX, "Only rows from this position of the log on.", load_default=0
    )
    until_position = query.counted(0, WHOLE_MAX, "Only rows up to this position of the log.")


class TotalsQuery(ReadQuery):
    """Arguments of the totals of a studio."""

    show = fields.String(metadata=described("Only the episodes of this show."))


TRAIL_QUERY = TrailQuery()
TOTALS_QUERY = TotalsQuery()
