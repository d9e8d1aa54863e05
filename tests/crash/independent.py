"""A reader of the log that shares no code with the service: psycopg, json and hashlib alone.

It reads the tables as their owner and holds them against what clients were told. The tree is that
of RFC 6962, section 2.1, computed here from the recorded bytes.
"""

import json
from base64 import b64decode
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any, NamedTuple

import psycopg

_EVENTS = "SELECT position, recorded_at, source, id, body FROM event WHERE studio = %s ORDER BY 1"
_TEXTS = "SELECT position, salt, content FROM personal WHERE studio = %s"
_HEAD = "SELECT position, frontier FROM head WHERE studio = %s"
_SHOWN_MAX = 5


class Claims(NamedTuple):
    """What clients were told and the log must bear out.

    `acknowledged` has the events whose posts were answered, as posted, by position; `seen` the
    source and id that readers were shown at a position; `checkpoints` are notes as signed.
    """

    acknowledged: Mapping[int, Mapping[str, Any]]
    seen: Mapping[int, tuple[str, str]] = {}
    checkpoints: Sequence[str] = ()


def connect(data: Path) -> psycopg.Connection[Any]:
    """A connection to the embedded server of a data folder, as the owner of its tables."""
    return psycopg.connect(
        host=str(data / "postgresql"),
        port=5432,
        user="retake_ledger_owner",
        dbname="retake_ledger",
        autocommit=True,
    )


class Tables(NamedTuple):
    """What the tables have of one studio.

    `rows` of the table of events: position, recordedat, source, id, body; `texts` by position: salt
    and content; `head`: position and frontier, None where there is none.
    """

    rows: Sequence[tuple[int, datetime, str, str, bytes]]
    texts: Mapping[int, Sequence[bytes]]
    head: tuple[int, bytes] | None


def contradictions(data: Path, studio: str, claims: Claims) -> list[str]:
    """Where the tables of a studio contradict themselves or the claims; empty if nowhere."""
    return contradictions_of(read_tables(data, studio), claims)


def read_tables(data: Path, studio: str) -> Tables:
    """The tables as they are at one moment."""
    with connect(data) as connection, connection.transaction():
        connection.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        rows = connection.execute(_EVENTS, [studio], binary=True).fetchall()
        texts = {at: rest for at, *rest in connection.execute(_TEXTS, [studio], binary=True)}
        head = connection.execute(_HEAD, [studio], binary=True).fetchone()
    return Tables(rows, texts, head)


def contradictions_of(tables: Tables, claims: Claims) -> list[str]:
    """As `contradictions`, of tables that were read."""
    rows, texts, head = tables
    bodies = {position: json.loads(body) for position, _, _, _, body in rows}
    names = {position: (source, id_) for position, _, source, id_, _ in rows}
    return [
        *_out_of_order(rows),
        *_doubled(rows),
        *_missing(bodies, texts, claims.acknowledged),
        *_few(
            f"position {at}: a reader was shown {name}, the log has {names.get(at)}"
            for at, name in claims.seen.items()
            if names.get(at) != name
        ),
        *_wrong_roots([row[-1] for row in rows], head, claims.checkpoints),
    ]


def _out_of_order(rows: Sequence[tuple[Any, ...]]) -> list[str]:
    positions = [row[0] for row in rows]
    gaps = (
        f"position {found} stands where {wanted} should"
        for wanted, found in enumerate(positions, start=1)
        if found != wanted
    )
    before: datetime | None = None
    back = []
    for position, recorded_at, source, id_, raw in rows:
        body = json.loads(raw)
        if before is not None and recorded_at < before:
            back.append(f"position {position}: recordedat goes back from {before} to {recorded_at}")
        before = recorded_at
        of_columns = (position, source, id_, recorded_at)
        of_bytes = (body["position"], body["source"], body["id"], _instant(body["recordedat"]))
        if of_columns != of_bytes:
            back.append(f"position {position}: its columns say {of_columns}, its bytes {of_bytes}")
    return [*_few(gaps), *_few(back)]


def _doubled(rows: Sequence[tuple[Any, ...]]) -> list[str]:
    first: dict[tuple[str, str], int] = {}
    doubled = []
    for position, _, *name, _ in rows:
        if (before := first.setdefault((name[0], name[1]), position)) != position:
            doubled.append(f"position {position}: {name} is also at {before}")
    return _few(doubled)


def _missing(
    bodies: Mapping[int, Mapping[str, Any]],
    texts: Mapping[int, Sequence[bytes]],
    acknowledged: Mapping[int, Mapping[str, Any]],
) -> list[str]:
    return _few(
        f"position {position}: acknowledged as {posted['source']} {posted['id']}; {difference}"
        for position, posted in acknowledged.items()
        if (difference := _difference(posted, bodies.get(position), texts.get(position)))
    )


def _difference(
    posted: Mapping[str, Any], body: Mapping[str, Any] | None, text: Sequence[bytes] | None
) -> str:
    """What of a posted event is not in the log as posted; "" if all of it is."""
    if body is None:
        return "not in the log"
    for member in ("source", "id", "type", "subject"):
        if body[member] != posted[member]:
            return f"its {member} is {body[member]}"
    if _instant(body["time"]) != _instant(posted["time"]):
        return f"its time is {body['time']}"
    data = dict(body["data"])
    if "personal" in body:
        if text is None:
            return "its text is not there"
        salt, content = text
        if sha256(salt + content).hexdigest() != body["personal"]:
            return "its text is not that of the commitment"
        for pointer, value in json.loads(content).items():
            data[pointer.removeprefix("/data/")] = value
    return "" if data == posted["data"] else f"its data are {data}"


def _wrong_roots(
    leaves: Sequence[bytes], head: tuple[Any, ...] | None, checkpoints: Sequence[str]
) -> list[str]:
    """The tree grown leaf by leaf: head and checkpoints must name its roots."""
    claimed: dict[int, set[bytes]] = {}
    for checkpoint in checkpoints:
        _, written, encoded, *_ = checkpoint.split("\n")
        claimed.setdefault(int(written), set()).add(b64decode(encoded, validate=True))
    wrong = [f"a checkpoint has {size} leaves" for size in claimed if size > len(leaves)]
    subtrees: list[tuple[int, bytes]] = []  # size and root, the largest first
    for size, leaf in enumerate(leaves, start=1):
        subtrees.append((1, sha256(b"\x00" + leaf).digest()))
        while len(subtrees) > 1 and subtrees[-1][0] == subtrees[-2][0]:
            right, left = subtrees.pop(), subtrees.pop()
            subtrees.append((2 * left[0], sha256(b"\x01" + left[1] + right[1]).digest()))
        if size in claimed and claimed[size] != {_root(subtrees)}:
            wrong.append(f"the checkpoint of {size} leaves names another root")
    if head != (len(leaves), b"".join(root for _, root in subtrees)):
        wrong.append(f"the head is not that of {len(leaves)} leaves")
    return _few(wrong)


def _root(subtrees: Sequence[tuple[int, bytes]]) -> bytes:
    joined = subtrees[-1][1]
    for _, larger in reversed(subtrees[:-1]):
        joined = sha256(b"\x01" + larger + joined).digest()
    return joined


def _instant(written: str) -> datetime:
    return datetime.fromisoformat(written)


def _few(differences: Iterable[str]) -> list[str]:
    """The first of them, and how many more there are."""
    found = list(differences)
    more = len(found) - _SHOWN_MAX
    return found[:_SHOWN_MAX] + ([f"and {more} more of these"] if more > 0 else [])
