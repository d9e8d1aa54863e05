"""Events made ready for the log before it is locked.

A body's `salt` is 16 random bytes, set before the lock. It is no content, so a repeat is recognised
without it. Nobody recomputes a body, so imports, exports and backups carry it along; bodies of
earlier releases have none.
"""

import secrets
from typing import Any, NamedTuple

from service.log.tokens import Token
from service.proofs.canonical import (
    Prepared,
    canonical,
    commitment,
    content_hash,
    late,
    late_salt,
    prepare,
    settle,
    settle_last,
)
from service.vocabulary.event import Event
from service.vocabulary.facts import Fact
from service.vocabulary.instants import format_instant, parse_instant
from service.vocabulary.kinds import json_members
from service.vocabulary.upcasting import VERSION_MEMBER

TEXT_SALT_BYTES = 32
BODY_SALT_BYTES = 16


class Proposed(NamedTuple):
    """A checked event, canonicalised as far as it can be before the lock.

    `text_salt` goes into the commitment to its personal text; both are None where it has none.
    `kept_aside` has the JSON pointers of the personal members that its type does not have.
    """

    source: str
    id: str
    subject: str
    department: str | None
    time_us: int
    fact: Fact
    prepared: Prepared
    content_hash: bytes
    text_salt: bytes | None
    personal: bytes | None
    kept_aside: tuple[str, ...] = ()


def propose(
    members: dict[str, Any], personal: dict[str, Any], fact: Fact, kept_aside: tuple[str, ...] = ()
) -> Proposed:
    """Prepare an event: its public members, and the personal ones by JSON pointer.

    `kept_aside` are those of them that its type does not have. Its body gets a salt and its
    personal text another, both random. Neither is content. Raises CanonicalError for what has no
    canonical form.
    """
    salt = packed = None
    prepared = body = prepare(members)
    if fact.VERSION > 1:
        body = prepare({**members, VERSION_MEMBER: fact.VERSION})  # which is not content
    if personal:
        salt = secrets.token_bytes(TEXT_SALT_BYTES)
        packed = canonical(personal)
        body = settle(body, late(personal=commitment(salt, personal)))
    body = settle_last(body, late_salt(secrets.token_bytes(BODY_SALT_BYTES)))
    return Proposed(
        members["source"],
        members["id"],
        members["subject"],
        getattr(fact, "department", None),
        parse_instant(members["time"]),
        fact,
        body,
        # which personal members there are counts as content, what they say does not
        content_hash(prepared, personal),
        salt,
        packed,
        kept_aside,
    )


def event_of(proposed: Proposed, position: int, recorded_us: int, token: Token) -> Event:
    """The event that is decided where a proposal by the holder of a token is recorded."""
    return Event(
        position,
        proposed.source,
        proposed.id,
        proposed.subject,
        proposed.time_us,
        recorded_us,
        token.name,
        proposed.fact,
        token.role,
    )


def proposal_of(event: Event) -> Proposed:
    """An event that nobody posted made ready for the log, with its `cause` if it has one.

    It has no personal text.
    """
    members = {
        "specversion": "1.0",
        "id": event.id,
        "source": event.source,
        "type": event.fact.TYPE,
        "subject": event.subject,
        "time": format_instant(event.time_us),
        "data": json_members(event.fact),
    }
    if event.cause:
        members["cause"] = event.cause
    return propose(members, {}, event.fact)
