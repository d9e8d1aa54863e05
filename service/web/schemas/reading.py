"""What all reads share: their arguments, and the headers of their answers."""

from marshmallow import Schema

from service.web.schemas import query


class ReadQuery(Schema):
    """Arguments of a read of one thing."""

    min_position = query.min_position()


class PageQuery(ReadQuery):
    """Arguments of a read of a list."""

    cursor = query.cursor()
    limit = query.limit()


READ = ReadQuery()
PAGE = PageQuery()


PAGE_HEADERS = {"Link": "What follows (RFC 8288, rel=next).", "ETag": "The tag of this page."}
READ_HEADERS = {"ETag": "The tag of this answer."}
