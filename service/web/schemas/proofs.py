"""Shapes of proofs and checkpoints."""

from marshmallow import Schema, fields

from service.web.schemas import query
from service.web.schemas.common import Shown, described
from service.web.schemas.fields import ClosedSchema, text_field
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


class InclusionShown(Shown):
    """That an event is in the tree (RFC 9162, section 2.1.3)."""

    position = fields.Integer(required=True, metadata=described("The event's position."))
    leaf_index = fields.Integer(
        required=True, metadata=described("Its leaf, counted from 0: the position less one.")
    )
    size = fields.Integer(required=True, metadata=described("The tree's size."))
    leaf = fields.String(required=True, metadata=described("The leaf's hash, in base64."))
    root = fields.String(required=True, metadata=described("The tree's root, in base64."))
    hashes = fields.List(fields.String(), required=True, metadata=described(_HASHES))


class ConsistencyShown(Shown):
    """That a tree begins with an older one (RFC 9162, section 2.1.4)."""

    from_size = fields.Integer(
        required=True, data_key="from", metadata=described("Size of the older tree.")
    )
    to_size = fields.Integer(
        required=True, data_key="to", metadata=described("Size of the newer tree.")
    )
    from_root = fields.String(required=True, metadata=described("Root of the older, in base64."))
    to_root = fields.String(required=True, metadata=described("Root of the newer, in base64."))
    hashes = fields.List(fields.String(), required=True, metadata=described(_HASHES))


class PersonalShown(Shown):
    """Personal text with the salt of its commitment."""

    position = fields.Integer(required=True, metadata=described("The event's position."))
    salt = fields.String(required=True, metadata=described("The salt, in hexadecimal."))
    personal = fields.Dict(
        required=True, metadata=described("The personal members of the event by JSON pointer.")
    )


class CheckpointShown(Shown):
    """A checkpoint in a list."""

    size = fields.Integer(required=True, metadata=described("How many events it covers."))
    root = fields.String(required=True, metadata=described("The root, in base64."))
    cosigned_by = fields.List(
        fields.String(), required=True, metadata=described("Keys of others that signed it.")
    )


class CheckpointsShown(Shown):
    """A page of checkpoints."""

    items = fields.List(fields.Nested(CheckpointShown), required=True)


class KeyShown(Shown):
    """A key that checkpoints are or were signed with."""

    key = fields.String(required=True, metadata=described("NAME+ID+KEY (c2sp.org/signed-note)."))
    signs = fields.Boolean(required=True, metadata=described("Whether it signs now."))


class KeysShown(Shown):
    """The keys of this log, the one that signs now first."""

    origin = fields.String(required=True, metadata=described("The log's name."))
    keys = fields.List(fields.Nested(KeyShown), required=True)


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
