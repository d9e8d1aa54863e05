"""Recorded events, their data and their personal text, as a token may read them.

Money is not for desks: events about it, known by the beginning of their type, have empty data for
roles without a right to see it, and no salt, since who has envelope, leaf hash and salt could try
what is missing. A past state does not tell them why such a fact was set aside, a refused strike not
what rests on it, and a diary not its marks.
"""

from collections.abc import Mapping, Sequence, Set
from typing import Any

import orjson
from sqlalchemy import Connection

from service.log import read
from service.log.read import Stored
from service.log.tokens import Token
from service.proofs.canonical import MAY_COMMIT, SALT, commits
from service.web.schemas.events import merge_personal, raw_members
from service.web.visibility import Concern, concern_of, sees_money, sees_text, withheld


def shown_events(connection: Connection, page: Sequence[Stored], token: Token) -> list[bytes]:
    """The events as this token may read them.

    With personal text, or `forgotten` where it was removed; or the bytes as they are; or, of what
    concerns money, the envelope alone, without the salt of its leaf. Only text that may be read is
    fetched.
    """
    looked_at = {
        stored.position: orjson.loads(stored.body)
        for stored in page
        if MAY_COMMIT in stored.body or not sees_money(token)
    }
    visible = [
        stored.position
        for stored in page
        if stored.position in looked_at
        and commits(looked_at[stored.position])
        and sees_text(token, concern_of(looked_at[stored.position]))
    ]
    texts = dict(read.personal_at(connection, token.studio, visible))
    with_text = frozenset(visible)
    return [
        _shown(stored, looked_at.get(stored.position), token, texts, stored.position in with_text)
        for stored in page
    ]


def _shown(
    stored: Stored,
    event: dict[str, Any] | None,
    token: Token,
    texts: Mapping[int, bytes],
    sees: bool,
) -> bytes:
    if event is not None and withheld(token, event["type"]):
        # without its salt, by which what is withheld could be guessed from the leaf's hash
        envelope = {name: value for name, value in event.items() if name != SALT}
        return orjson.dumps(envelope | {"data": {}, "withheld": True})
    if event is None or not sees:
        return stored.body
    text = texts.get(stored.position)
    if text is None:
        return orjson.dumps(event | {"forgotten": True})
    members = {name: orjson.Fragment(raw) for name, raw in raw_members(text).items()}
    return orjson.dumps(merge_personal(event, members))


def texts_at(
    connection: Connection,
    token: Token,
    concerns: Mapping[int, Concern],
    pointers: Set[str],
) -> dict[int, dict[str, str]]:
    """The personal members at some pointers of some events, as far as they may be read.

    `concerns` are those of the events, by position. What else there is of an event's personal text,
    however long, is passed over.
    """
    found = {}
    for position, packed in read.personal_at(connection, token.studio, _visible(token, concerns)):
        members = raw_members(packed)
        named = sorted(pointers & members.keys())  # in one order, since tags are made of texts
        found[position] = {name: orjson.loads(members[name]) for name in named}
    return found


def all_texts_at(
    connection: Connection, token: Token, concerns: Mapping[int, Concern]
) -> dict[int, dict[str, bytes]]:
    """The same of every personal member, as the JSON it was kept in."""
    texts = read.personal_at(connection, token.studio, _visible(token, concerns))
    return {position: raw_members(packed) for position, packed in texts}


def text_sizes_at(
    connection: Connection, token: Token, concerns: Mapping[int, Concern]
) -> Mapping[int, int]:
    """How many bytes of personal text there are that may be read, by position."""
    return read.text_sizes_at(connection, token.studio, _visible(token, concerns))


def _visible(token: Token, concerns: Mapping[int, Concern]) -> list[int]:
    return [position for position, concern in concerns.items() if sees_text(token, concern)]
