"""Events made ready for the log before it is locked."""

import secrets
from typing import Any, NamedTuple

from service.proofs.canonical import (
    Prepared,
    canonical,
    commitment,
    content_hash,
    late,
    prepare,
    settle,
)
from service.vocabulary.facts import Fact
from service.vocabulary.instants import parse_instant
from service.vocabulary.upcasting import VERSION_MEMBER

SALT_BYTES = 32


class Proposed(NamedTuple):
    """A checked event, canonicalised as far as it can be before the lock."""

    source: str
    id: str
    subject: str
    department: str | None
    time_us: int
    fact: Fact
    prepared: Prepared
    content_hash: bytes
    salt: bytes | None
    personal: bytes | None


def propose(members: dict[str, Any], personal: dict[str, Any], fact: Fact) -> Proposed:
    """Prepare an event: its public members, and the personal ones by JSON pointer.

    Raises CanonicalError for what has no canonical form.
    """
    salt = packed = None
    prepared = body = prepare(members)
    if fact.VERSION > 1:
        body = prepare({**members, VERSION_MEMBER: fact.VERSION})  # which is not content
    if personal:
        salt = secrets.token_bytes(SALT_BYTES)
        packed = canonical(personal)
        body = settle(body, late(personal=commitment(salt, personal)))
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
    )
