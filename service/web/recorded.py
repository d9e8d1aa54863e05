"""Recorded events, their data and their personal text, as a token may read them."""

from collections.abc import Iterable, Mapping
from typing import Any

import orjson
from sqlalchemy import Connection

from service.log import read
from service.log.read import Stored
from service.log.tokens import Token
from service.proofs.canonical import SALT
from service.web.schemas.events import merge_personal
from service.web.visibility import sees_money, sees_text, withheld

_COMMITTED = b'"personal":"'
"""What the canonical bytes of an event with personal text have, and no others: no fact has a
member of that name, and in a text the quotation marks have backslashes before them.
"""


def shown_events(page: Iterable[Stored], token: Token) -> list[bytes]:
    """The events as this token may read them.

    With personal text, or `forgotten` where it was removed; or the bytes as they are; or, of what
    concerns money, the envelope alone, without the salt of its leaf.
    """
    return [_shown(stored, token) for stored in page]


def _shown(stored: Stored, token: Token) -> bytes:
    had_text = _COMMITTED in stored.body
    if not had_text and sees_money(token):
        return stored.body
    event = orjson.loads(stored.body)
    if withheld(token, event["type"]):
        # without its salt, by which what is withheld could be guessed from the leaf's hash
        envelope = {name: value for name, value in event.items() if name != SALT}
        return orjson.dumps(envelope | {"data": {}, "withheld": True})
    if had_text and sees_text(token, event):
        if stored.personal is None:
            return orjson.dumps(event | {"forgotten": True})
        return orjson.dumps(merge_personal(event, orjson.loads(stored.personal)))
    return stored.body


def texts_at(
    connection: Connection, token: Token, facts: Mapping[int, Mapping[str, Any]]
) -> dict[int, dict[str, Any]]:
    """The personal members, by pointer, of events at some positions, as far as they may be read.

    `facts` are, by position, what visibility asks of an event: its `type` and `data`.
    """
    visible = [position for position, event in facts.items() if sees_text(token, event)]
    if not visible:
        return {}
    content = read.personal_at(connection, token.studio, visible)
    return {position: orjson.loads(packed) for position, packed in content.items()}
