"""A decided event as the row of the log that it becomes."""

from service.log.append import Row
from service.proofs.canonical import late, late_whole, splice
from service.proofs.tree import Frontier, append, leaf_hash
from service.record.proposing import Proposed
from service.vocabulary.event import Event
from service.vocabulary.instants import format_instant


def recorded_by(poster: str, role: str, recorded_us: int) -> bytes:
    """What the log says of all events that are recorded together, for `seal`."""
    return late(poster=poster, posterrole=role, recordedat=format_instant(recorded_us))


def seal(event: Event, proposed: Proposed, by: bytes, frontier: Frontier) -> tuple[Row, Frontier]:
    """The row of an event, and the tree's frontier with its leaf.

    `by` is from `recorded_by`; `frontier` is that of the tree right before the event.
    """
    body = splice(proposed.prepared, late_whole("position", event.position), by)
    nodes, frontier = append(frontier, event.position - 1, leaf_hash(body))
    row = Row(
        event.position,
        event.source,
        event.id,
        event.fact.TYPE,
        event.subject,
        proposed.department,
        event.time_us,
        event.recorded_us,
        event.poster,
        proposed.content_hash,
        body,
        nodes,
        proposed.salt,
        proposed.personal,
    )
    return row, frontier
