"""The account of retakes as answers show it."""

from marshmallow import fields

from service.production.totals import GROUPS
from service.vocabulary import kinds
from service.vocabulary.cautions import BLAME
from service.vocabulary.facts import Role
from service.vocabulary.facts.retakes import ASKERS, KINDS
from service.web.schemas import query
from service.web.schemas.fields import AnyField, Matches, field_of, messages_of
from service.web.schemas.messages import Message
from service.web.schemas.query import described
from service.web.schemas.reading import (
    PageQuery,
    ReadQuery,
)

MONTH = r"^[0-9]{4}-(?:0[1-9]|1[0-2])$"
_MONTH = Message("not-a-month", "Write a month as YYYY-MM.")


def _filters() -> dict[str, AnyField]:
    return {
        "show": field_of(kinds.SHOW_CODE, note="Only retakes called in this show."),
        "episode": query.subject("Only what was redone in this episode."),
        "month": fields.String(
            error_messages=messages_of(_MONTH),
            validate=Matches(MONTH, error=_MONTH),
            metadata=described("Only calls of this month in the studio's zone: YYYY-MM."),
        ),
        "kind": query.one_of(KINDS, "Only this kind of call."),
        "asked_by": query.one_of(ASKERS, "Only what these asked for."),
        "found_at": field_of(kinds.CODE, note="Only what was found there."),
        "called_by": query.one_of(Role, "Only what this role called."),
        "fault_of": query.department(f"Only what was this department's fault. {BLAME}"),
        "department": query.department("Only what this department redid."),
    }


class TotalsQuery(ReadQuery):
    """Arguments of the totals, beside the filters."""

    group_by = fields.List(
        query.one_of(GROUPS),
        load_default=(),
        metadata=described("What to group by, each said by itself; left out: all in one."),
    )


ACCOUNT_QUERY = PageQuery.from_dict(_filters(), name="AccountQuery")()
TOTALS_QUERY = TotalsQuery.from_dict(_filters(), name="AccountTotalsQuery")()
