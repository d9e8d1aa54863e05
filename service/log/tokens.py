"""Bearer tokens: who may read or post, and under which source.

Only the SHA-256 of a secret is stored. A slow hash guards what people choose and can be guessed;
a secret here is 256 random bits, which no speed of hashing makes searchable, and each request
has to look one up.
"""

import secrets
from collections.abc import Iterable, Sequence
from datetime import datetime
from hashlib import sha256
from typing import NamedTuple

from psycopg.pq.abc import PGresult
from sqlalchemy import Connection, insert, select, update

from service.log import wire
from service.log.prepared import Call, rows_of, run, run_alone, statement
from service.log.schema import token
from service.vocabulary.instants import instant_us
from service.vocabulary.sources import prefix_fault

_MARK = "rl_"  # so that whoever finds one in a file knows what it is
_SECRET_BYTES = 32
_IDENTITY_BYTES = 8


class PrefixError(ValueError):
    """A token cannot own this source prefix; the message says why and what to write instead."""


class Token(NamedTuple):
    """Whom a token stands for: a role in a studio, and the `source` prefix it posts under.

    What the role and the departments allow is not decided here, nor what the prefix owns
    (`vocabulary/sources.owns`).
    """

    token_id: str
    studio: str
    name: str
    role: str
    departments: tuple[str, ...]
    source_prefix: str


class Issued(NamedTuple):
    """A token in the list, with when it was issued and, if it was, revoked."""

    token: Token
    issued_at_us: int
    revoked_at_us: int | None


_TOKEN = (
    token.c.token_id,
    token.c.studio,
    token.c.name,
    token.c.role,
    token.c.departments,
    token.c.source_prefix,
)


_FIND = statement(
    "find_token",
    "SELECT token_id, studio, name, role, source_prefix, departments FROM token "
    "WHERE token_hash = $1 AND revoked_at IS NULL",
)
_UNREVOKED = statement(
    "unrevoked_tokens",
    "SELECT token_id FROM token "
    "WHERE studio = $1 AND token_id = ANY ($2::text[]) AND revoked_at IS NULL",
)


def issue(
    connection: Connection,
    studio: str,
    name: str,
    role: str,
    departments: Sequence[str],
    source_prefix: str,
    issued_at: datetime,
) -> tuple[str, str]:
    """Make a token; gives its id and its secret, which nobody can see again.

    Raises PrefixError.
    """
    fault = prefix_fault(source_prefix)
    if fault is not None:
        raise PrefixError(f"the source {source_prefix!r} cannot be owned: {fault}")
    token_id = secrets.token_hex(_IDENTITY_BYTES)
    secret = _MARK + secrets.token_urlsafe(_SECRET_BYTES)
    connection.execute(
        insert(token).values(
            studio=studio,
            token_id=token_id,
            name=name,
            role=role,
            departments=list(departments),
            source_prefix=source_prefix,
            token_hash=hashed(secret),
            issued_at=issued_at,
        )
    )
    return token_id, secret


def hashed(secret: str) -> bytes:
    """What is kept of a secret."""
    # What comes in a header need not be text that UTF-8 can hold; it is then no secret of ours.
    return sha256(secret.encode("utf-8", "surrogatepass")).digest()


def find(connection: Connection, secret: str) -> Token | None:
    """The token of a secret; None for one that was never issued, or was revoked."""
    found = run_alone(connection, _FIND, hashed(secret))
    if found.ntuples == 0:
        return None
    ((*texts, departments),) = rows_of(found)
    token_id, studio, name, role, source_prefix = map(bytes.decode, texts)
    return Token(token_id, studio, name, role, wire.read_texts(departments), source_prefix)


def unrevoked(connection: Connection, studio: str, token_ids: Iterable[str]) -> frozenset[str]:
    """Which of a studio's tokens have not been revoked."""
    call = asking_unrevoked(studio, token_ids)
    return unrevoked_of(run(connection, call.statement, *call.values))


def asking_unrevoked(studio: str, token_ids: Iterable[str]) -> Call:
    """The call that `unrevoked` makes, for `unrevoked_of` to read."""
    return Call(_UNREVOKED, (studio.encode(), wire.texts(token_ids)))


def unrevoked_of(found: PGresult) -> frozenset[str]:
    """The ids that were found."""
    return frozenset(token_id.decode() for (token_id,) in rows_of(found))


def list_tokens(connection: Connection, studio: str) -> list[Issued]:
    """All tokens of a studio in the order they were issued, the revoked ones too."""
    query = (
        select(token.c.issued_at, token.c.revoked_at, *_TOKEN)
        .where(token.c.studio == studio)
        .order_by(token.c.issued_at, token.c.token_id)
    )
    return [
        Issued(
            _token(*parts),
            instant_us(issued_at),
            None if revoked_at is None else instant_us(revoked_at),
        )
        for issued_at, revoked_at, *parts in connection.execute(query)
    ]


def revoke(connection: Connection, studio: str, token_id: str, revoked_at: datetime) -> bool:
    """Revoke a token for good; False if there is none of that id that still counts."""
    done = connection.execute(
        update(token)
        .where(
            token.c.studio == studio,
            token.c.token_id == token_id,
            token.c.revoked_at.is_(None),
        )
        .values(revoked_at=revoked_at)
    )
    return done.rowcount == 1


def _token(  # the columns of _TOKEN, in their order
    token_id: str,
    studio: str,
    name: str,
    role: str,
    departments: list[str],
    source_prefix: str,
) -> Token:
    return Token(token_id, studio, name, role, tuple(departments), source_prefix)
