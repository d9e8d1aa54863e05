"""Episodes and gates as answers show them."""

from service.vocabulary import kinds
from service.web.schemas import query
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
)


class EpisodesQuery(PageQuery):
    """Arguments of the list of episodes."""

    show = field_of(kinds.SHOW_CODE, note="Only episodes of this show.")
    delivered = query.flag("Only delivered ones (true), or only those that are not (false).")


EPISODES_QUERY = EpisodesQuery()
