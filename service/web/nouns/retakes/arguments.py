"""Retakes as answers show them."""

from service.production.records import RETAKE_STANDINGS
from service.vocabulary import kinds
from service.web.schemas import query
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
)


class RetakesQuery(PageQuery):
    """Arguments of the list of retakes."""

    show = field_of(kinds.SHOW_CODE, note="Only retakes called in this show.")
    episode = query.subject("Only retakes that reach this episode or its scenes.")
    standing = query.one_of(
        RETAKE_STANDINGS, "Only those that stand, were withdrawn, or were bought as is."
    )


RETAKES_QUERY = RetakesQuery()
