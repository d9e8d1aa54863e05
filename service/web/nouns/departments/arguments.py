"""Departments and trays as answers show them."""

from marshmallow import fields

from service.planning.plan.tray import SECTIONS
from service.vocabulary import kinds
from service.vocabulary.cautions import PEOPLE
from service.web.schemas import query
from service.web.schemas.fields import field_of
from service.web.schemas.query import described
from service.web.schemas.reading import (
    PageQuery,
)


class TrayQuery(PageQuery):
    """Arguments of a department's tray."""

    section = fields.List(
        query.one_of(SECTIONS),
        load_default=("on_desk", "in_tray"),
        metadata=described(
            "Which sections, each said by itself, in the order wanted: on_desk, in_tray, held, "
            "ahead. Left out: on_desk and in_tray."
        ),
    )
    artist = field_of(kinds.CODE, note=f"Only what this artist has, or was given: a code. {PEOPLE}")
    episode = query.subject("Only items that belong to this episode.")


TRAY_QUERY = TrayQuery()
