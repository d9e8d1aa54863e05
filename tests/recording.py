"""A studio in a database, posted to without HTTP."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Engine, insert

from service.kept import USUAL, Keeping
from service.log import schema, tokens
from service.log.studios import make_studio, move_clock
from service.log.tokens import Token
from service.production.refusal import Refusal
from service.record import OpenStudio, Receipt, Studios, propose
from service.vocabulary.facts import CATALOGUE, Role
from service.vocabulary.instants import instant, parse_instant
from service.vocabulary.kinds import reviver
from service.web.schemas.events import split_personal

OPENED = "2031-03-03T08:00:00Z"
NAME = "paper"
SEAL_KEY = bytes(range(32))


def token(role: str = "supervisor", departments: tuple[str, ...] = ()) -> Token:
    return Token(f"t-{role}", NAME, role, role, departments, "/")


def make(engine: Engine, clock_at: str = OPENED) -> None:
    with engine.begin() as connection:
        make_studio(connection, NAME, "simulated", parse_instant(clock_at), seal_key=SEAL_KEY)
        for role in Role:
            given = token(role)
            connection.execute(
                insert(schema.token).values(
                    studio=given.studio,
                    token_id=given.token_id,
                    name=given.name,
                    role=given.role,
                    departments=[],
                    source_prefix=given.source_prefix,
                    token_hash=tokens.hashed(given.token_id),
                    issued_at=instant(parse_instant(clock_at)),
                )
            )


def set_clock(engine: Engine, at: str) -> None:
    with engine.begin() as connection:
        move_clock(connection, NAME, parse_instant(at), SEAL_KEY)


def worker(engine: Engine, keeping: Keeping = USUAL) -> OpenStudio:
    """A worker of its own: nothing warm is shared with another."""
    return Studios(engine, seal_key=SEAL_KEY, keeping=keeping).of(NAME)


def fact(
    type_: str,
    subject: str,
    data: Mapping[str, Any] | None = None,
    *,
    id: str,
    at: str = OPENED,
    source: str = "/tests",
) -> dict[str, Any]:
    return {
        "specversion": "1.0",
        "id": id,
        "source": source,
        "type": type_,
        "subject": subject,
        "time": at,
        "data": dict(data or {}),
    }


def post(
    studio: OpenStudio, events: Sequence[Mapping[str, Any]], role: str = "supervisor"
) -> tuple[Receipt, ...] | Refusal:
    proposals = []
    for members in events:
        public, personal = split_personal(dict(members))
        revive = reviver(CATALOGUE[public["type"]])
        proposals.append(propose(public, personal, revive(public["data"])))
    return studio.recorder.record(token(role), proposals)


def posted(
    studio: OpenStudio, events: Sequence[Mapping[str, Any]], role: str = "supervisor"
) -> tuple[Receipt, ...]:
    answer = post(studio, events, role)
    assert not isinstance(answer, Refusal), answer
    return answer
