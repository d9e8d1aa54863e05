"""What several answers share: problems and receipts."""

from marshmallow import EXCLUDE, Schema, fields

from service.production.marks import MEANINGS


def described(note: str) -> dict[str, str]:
    """The metadata of a field that is only described."""
    return {"description": note}


MARKS_SHOWN = " ".join(f"{mark}: {meaning}." for mark, meaning in MEANINGS.items())


class Shown(Schema):
    """Base of what goes out; readers pass over members they do not know."""

    class Meta:
        """More members may come."""

        unknown = EXCLUDE


class ErrorShown(Shown):
    """One error of a problem."""

    pointer = fields.String(
        required=True,
        metadata=described(
            "A JSON pointer into the body, beginning with the event's place in a batch; of a "
            "quote, into the event that raised the order; ?name is an argument of the query."
        ),
    )
    detail = fields.String(required=True, metadata=described("What is wrong and the remedy."))
    code = fields.String(required=True, metadata=described("The stable name of what is wrong."))


class ProblemShown(Shown):
    """A problem (RFC 9457)."""

    type = fields.String(
        required=True, metadata=described("A URI reference; its page says what it means.")
    )
    title = fields.String(required=True, metadata=described("The type in a few words."))
    status = fields.Integer(required=True, metadata=described("The HTTP status."))
    detail = fields.String(required=True, metadata=described("What happened this time."))
    errors = fields.List(fields.Nested(ErrorShown), metadata=described("All errors at once."))
    trace = fields.String(metadata=described("The trace under which the service logged a fault."))
    item = fields.String(
        metadata=described("The item at which a fault kept plans from being made.")
    )


class ReceiptShown(Shown):
    """What became of one event of a post."""

    source = fields.String(required=True, metadata=described("The event's source."))
    id = fields.String(required=True, metadata=described("The event's id."))
    position = fields.Integer(
        required=True, metadata=described("Its position in the studio's log, from 1.")
    )
    recordedat = fields.AwareDateTime(
        required=True, metadata=described("When the log took it, by the studio's clock.")
    )
    repeated = fields.Boolean(
        required=True,
        metadata=described("Whether it was recorded before and this post changed nothing."),
    )
    marks = fields.List(
        fields.String(),
        required=True,
        metadata=described(f"What is worth a look about it. {MARKS_SHOWN}"),
    )


class ReceiptsShown(Shown):
    """One receipt for each event of a post, in its order; behind an approval one for each fact."""

    receipts = fields.List(fields.Nested(ReceiptShown), required=True)
