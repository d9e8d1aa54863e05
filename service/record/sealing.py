"""A decided event put behind the log as it is recorded."""

from service.log.chain import Chain
from service.proofs.canonical import late, late_whole, splice
from service.record.proposing import Proposed
from service.vocabulary.event import Event
from service.vocabulary.instants import format_instant


def recorded_by(poster: str, role: str, recorded_us: int) -> bytes:
    """What the log says of all events that are recorded together, for `seal`."""
    return late(poster=poster, posterrole=role, recordedat=format_instant(recorded_us))


def seal(chain: Chain, event: Event, proposed: Proposed, by: bytes) -> None:
    """Put an event behind a chain with the bytes that are recorded of it.

    `by` is from `recorded_by`.
    """
    body = splice(proposed.prepared, late_whole("position", event.position), by)
    chain.put(event, body, proposed.content_hash, proposed.text_salt, proposed.personal)
