"""Shapes of proofs and checkpoints."""

from marshmallow import Schema

from service.web.schemas import query
from service.web.schemas.fields import ClosedSchema, text_field
from service.web.schemas.query import described
from service.web.strict_json import WHOLE_MAX

NOTE = "text/plain"


class InclusionQuery(Schema):
    """Which event, in which tree."""

    position = query.counted(1, WHOLE_MAX, "The event's position.", required=True)
    size = query.counted(1, WHOLE_MAX, "The tree's size; left out, all that is recorded.")


class ConsistencyQuery(Schema):
    """Which two trees."""

    old = query.counted(1, WHOLE_MAX, "Size of the older tree.", required=True, data_key="from")
    new = query.counted(
        1, WHOLE_MAX, "Size of the newer tree; left out, all that is recorded.", data_key="to"
    )


class CheckpointsQuery(Schema):
    """Arguments of the list of checkpoints."""

    cursor = query.cursor()
    limit = query.limit()


_HASHES = "The hashes of the proof, from below, 32 bytes each in base64."


class CosignaturePosted(ClosedSchema):
    """Another party's signature of a checkpoint."""

    key = text_field(
        600,
        "not-text",
        "Write the key as NAME+ID+KEY (c2sp.org/signed-note, c2sp.org/tlog-cosignature).",
        required=True,
        metadata=described("The key that signed, as its holder gives it out."),
    )
    signature = text_field(
        600,
        "not-text",
        "Write the signature line: em dash, name, base64.",
        required=True,
        metadata=described("The signature line, without a line feed."),
    )
