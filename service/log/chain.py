"""Events put behind a locked head, each with its leaf in the tree: the one way into the log."""

from sqlalchemy import Connection

from service.log.append import Head, Row, append_rows
from service.proofs.tree import append, leaf_hash
from service.vocabulary.event import Event


class Chain:
    """Events that follow a head, in order, until they are written in its transaction.

    `head` is where the log stands with all of them, `rows` are those not written yet.
    """

    def __init__(self, head: Head) -> None:
        self.head = head
        self.rows: list[Row] = []

    def copy(self) -> "Chain":
        """The same, apart from what is put behind it later."""
        copied = Chain(self.head)
        copied.rows = [*self.rows]
        return copied

    def put(
        self,
        event: Event,
        body: bytes,
        content_hash: bytes,
        salt: bytes | None = None,
        personal: bytes | None = None,
    ) -> None:
        """Put an event behind the last.

        `body` is what is recorded of it, `content_hash` what a repeat of its post is recognised
        by; `salt` and `personal` (canonical bytes of the personal text) are both there or neither.
        """
        nodes, frontier = append(self.head.frontier, event.position - 1, leaf_hash(body))
        self.rows.append(
            Row(
                position=event.position,
                source=event.source,
                id=event.id,
                type=event.fact.TYPE,
                subject=event.subject,
                department=getattr(event.fact, "department", None),
                time_at_us=event.time_us,
                recorded_at_us=event.recorded_us,
                poster=event.poster,
                content_hash=content_hash,
                body=body,
                nodes=nodes,
                salt=salt,
                personal=personal,
            )
        )
        self.head = self.head._replace(
            position=event.position, recorded_at_us=event.recorded_us, frontier=frontier
        )

    def write(self, connection: Connection, studio: str, *, commit: bool = False) -> None:
        """Write what is not written yet, and the head.

        With `commit` the transaction is committed in the same round trip, if anything is written.
        Raises IntegrityError for a repeat.
        """
        append_rows(connection, studio, self.rows, self.head, commit=commit)
        self.rows = []
