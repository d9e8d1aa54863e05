"""Elements, and where their approval stands, as answers show them."""

from marshmallow import fields

from service.production.approval import STANDINGS
from service.vocabulary import kinds
from service.web.schemas import query
from service.web.schemas.fields import field_of
from service.web.schemas.query import described
from service.web.schemas.reading import (
    PageQuery,
)


class ElementsQuery(PageQuery):
    """Arguments of the list of a show's elements."""

    kind = field_of(kinds.CODE, note="Only elements of this kind.")
    approval = fields.List(
        query.one_of(STANDINGS),
        metadata=described(
            "Only elements whose approval stands so, each said by itself: ahead (still being "
            "made), to_ask (made, nobody is asked), asked, given, refused (being made again)."
        ),
    )


ELEMENTS_QUERY = ElementsQuery()
