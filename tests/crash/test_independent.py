"""The independent reader finds what it is there to find."""

import json
from base64 import b64encode
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import Any

import pytest

from tests.crash.independent import Claims, Tables, contradictions_of
from tests.crash.poster import note

AT = "2031-03-03T08:00:00Z"
BEGAN = datetime(2031, 3, 3, 8, tzinfo=UTC)
SALT = bytes(16)
Row = tuple[int, datetime, str, str, bytes]


def row(position: int, posted: dict[str, Any], late_s: int = 0) -> Row:
    text = json.dumps({"/data/text": posted["data"]["text"]}).encode()
    recorded_at = BEGAN + timedelta(seconds=position - late_s)
    body = {
        **posted,
        "data": {name: value for name, value in posted["data"].items() if name != "text"},
        "personal": sha256(SALT + text).hexdigest(),
        "position": position,
        "recordedat": recorded_at.isoformat(),
    }
    return position, recorded_at, posted["source"], posted["id"], json.dumps(body).encode()


def leaf(body: bytes) -> bytes:
    return sha256(b"\x00" + body).digest()


def node(left: bytes, right: bytes) -> bytes:
    return sha256(b"\x01" + left + right).digest()


def tables(rows: list[Row], posted: list[dict[str, Any]]) -> Tables:
    """Of three rows, with the tree written out as RFC 6962, section 2.1.3, draws it."""
    first, second, third = (leaf(one[-1]) for one in rows)
    texts = {
        place: (SALT, json.dumps({"/data/text": one["data"]["text"]}).encode())
        for place, one in enumerate(posted, start=1)
    }
    return Tables(rows, texts, (3, node(first, second) + third))


def checkpoint(rows: list[Row]) -> str:
    first, second, third = (leaf(one[-1]) for one in rows)
    root = node(node(first, second), third)
    return f"log.example\n3\n{b64encode(root).decode()}\n\nsigned"


POSTED = [note(1, place, AT) for place in range(3)]
ROWS = [row(position, posted) for position, posted in enumerate(POSTED, start=1)]
SOUND = tables(ROWS, POSTED)
CLAIMS = Claims(
    dict(enumerate(POSTED, start=1)), {2: ("/tests/posters/1", "1-1")}, [checkpoint(ROWS)]
)


def test_a_sound_log_bears_out_what_clients_were_told() -> None:
    assert contradictions_of(SOUND, CLAIMS) == []


def replaced(position: int, new: Row) -> Tables:
    return SOUND._replace(rows=[*ROWS[: position - 1], new, *ROWS[position:]])


ALTERED: dict[str, Callable[[], Tables]] = {
    "not in the log": lambda: SOUND._replace(rows=ROWS[:2]),
    "stands where": lambda: replaced(3, row(4, POSTED[2])),
    "is also at": lambda: replaced(3, row(3, POSTED[1])),
    "its id is": lambda: replaced(2, row(2, note(1, 7, AT))),
    "recordedat goes back": lambda: replaced(3, row(3, POSTED[2], late_s=2)),
    "its time is": lambda: replaced(3, row(3, note(1, 2, "2031-03-03T08:00:01Z"))),
    "its text is not there": lambda: SOUND._replace(texts={}),
    "not that of the commitment": lambda: SOUND._replace(
        texts=dict.fromkeys((1, 2, 3), (SALT, b"{}"))
    ),
    "a reader was shown": lambda: replaced(2, row(2, note(1, 7, AT))),
    "names another root": lambda: replaced(2, row(2, note(1, 7, AT))),
    "a checkpoint has 3 leaves": lambda: SOUND._replace(rows=ROWS[:2]),
    "the head is not": lambda: SOUND._replace(head=(2, SOUND.head[1] if SOUND.head else b"")),
}


@pytest.mark.parametrize("message", ALTERED)
def test_what_contradicts_the_claims_is_reported(message: str) -> None:
    assert any(message in found for found in contradictions_of(ALTERED[message](), CLAIMS))
