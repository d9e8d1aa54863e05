"""Change orders as answers show them."""

from service.production.orders import STANDINGS
from service.vocabulary import kinds
from service.vocabulary.facts.orders import ORDERED_BY
from service.web.schemas import query
from service.web.schemas.fields import field_of
from service.web.schemas.reading import (
    PageQuery,
)


class OrdersQuery(PageQuery):
    """Arguments of the list of change orders."""

    show = field_of(kinds.SHOW_CODE, note="Only orders of this show and its episodes.")
    episode = query.subject("Only orders raised on this episode.")
    standing = query.one_of(STANDINGS, "Only orders that stand so.")
    asked_by = query.one_of(ORDERED_BY, "Only orders that these ask for.")


ORDERS_QUERY = OrdersQuery()
