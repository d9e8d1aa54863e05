"""An episode's diary as answers show it."""

from service.web.schemas import query
from service.web.schemas.reading import (
    ReadQuery,
)

ENTRIES_MAX = 200


class DiaryQuery(ReadQuery):
    """Arguments of a diary."""

    cursor = query.cursor()
    limit = query.limit(ENTRIES_MAX, 50)


DIARY_QUERY = DiaryQuery()
