"""Receipts of what was recorded as JSON shows them."""

from collections.abc import Sequence
from typing import Annotated

from service.production.marks import MEANINGS
from service.record import Receipt
from service.vocabulary.instants import format_instant
from service.web.answers import Instant, Shown, note

_MARKS = " ".join(f"{mark}: {meaning}." for mark, meaning in MEANINGS.items())


class ReceiptShown(Shown):
    """What became of one event of a post."""

    source: Annotated[str, note("The event's source.")]
    id: Annotated[str, note("The event's id.")]
    position: Annotated[int, note("Its position in the studio's log, from 1.")]
    recordedat: Annotated[Instant, note("When the log took it, by the studio's clock.")]
    repeated: Annotated[bool, note("Whether it was recorded before and this post changed nothing.")]
    marks: Annotated[Sequence[str], note(f"What is worth a look about it. {_MARKS}")]
    struck_at: Annotated[
        int | None,
        note(
            "The strike by which it does not count any more; null: it stands. What was struck is "
            "said again under a new id."
        ),
    ]
    kept_aside: Annotated[
        Sequence[str],
        note(
            "What its type does not name, by JSON pointer: kept like personal text, and without "
            "effect. Look whether a name is misspelt."
        ),
    ]


class ReceiptsShown(Shown):
    """One receipt for each event of a post, in its order; behind an approval one for each fact.

    Positions need not go up: the strikes of a batch are recorded first.
    """

    receipts: list[ReceiptShown]


def shown_receipts(receipts: Sequence[Receipt]) -> ReceiptsShown:
    """What became of the events of a post."""
    return ReceiptsShown(
        receipts=[
            ReceiptShown(
                source=receipt.source,
                id=receipt.id,
                position=receipt.position,
                recordedat=format_instant(receipt.recorded_at_us),
                repeated=receipt.repeated,
                marks=receipt.marks,
                struck_at=receipt.struck_at,
                kept_aside=receipt.kept_aside,
            )
            for receipt in receipts
        ]
    )
