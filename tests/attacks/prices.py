"""Finding out a price that is withheld from a desk, by guessing it and hashing the guess.

A desk sees the envelope of an event about money and everything that is proved of the record. It
writes every price of a range into the envelope, hashes each as the leaf it would be, alone and
with the leaves beside it, and looks for the hashes among all that the service ever showed it.
"""

import re
import secrets
import time
from base64 import b64decode
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from typing import Any
from unittest.mock import patch

import orjson
from sqlalchemy import Engine

from service.log.embedded import ensure_running
from service.log.engine import service_engine
from service.log.migrate import migrate
from service.proofs.canonical import canonical
from service.proofs.tree import leaf_hash, node_hash
from service.record import proposing
from service.settings import Settings
from tests.serving import data_folder
from tests.web.paper import Paper

Get = Callable[[str], bytes]
"""An address and what is answered there to the desk's token: headers and body, whatever status."""

_BASE64 = re.compile(rb"[A-Za-z0-9+/]{43}=")
_HEX = re.compile(rb"[0-9a-f]{64}")
_SALT = re.compile(rb'"salt":"([0-9a-f]+)"')
_GAP = "price"
CARD: dict[str, Any] = {"currency": "EUR", "from_on": "2031-01-01", "rates": {"layout": _GAP}}
PATHS = (
    *("/events?limit=1000", "/events?type=rate.set", "/checkpoints", "/checkpoints/latest"),
    *("/checkpoints/keys", "/shows", "/shows/KESTREL/rates", "/episodes", "/departments", "/notes"),
    *("/change-orders", "/reports/retakes", "/episodes/KESTREL-1/diary", "/trail/totals"),
    *("/episodes/KESTREL-1/replay", "/episodes/KESTREL-1/replay/events", "/retakes", "/clock"),
)


@dataclass
class Seen:
    """All that a desk has been shown: hashes of 32 bytes, salts, and leaves of whole events."""

    hashes: set[bytes] = field(default_factory=set)
    salts: set[str] = field(default_factory=set)
    withheld: list[dict[str, Any]] = field(default_factory=list)
    leaves: dict[int, bytes] = field(default_factory=dict)

    def take(self, answer: bytes) -> bytes:
        """Keep whatever of an answer may serve."""
        self.hashes |= {b64decode(found) for found in _BASE64.findall(answer)}
        self.hashes |= {bytes.fromhex(found.decode()) for found in _HEX.findall(answer)}
        self.salts |= {found.decode() for found in _SALT.findall(answer)}
        return answer


def look_around(get: Get, paths: Iterable[str], size: int) -> Seen:
    """Read all that a desk may read of a record of `size` events."""
    seen = Seen()
    for path in paths:
        seen.take(get(path))
    for position in range(1, size + 1):
        shown = seen.take(get(f"/events/{position}"))
        event = orjson.loads(shown[shown.index(b"\r\n\r\n") + 4 :])
        if event.get("withheld"):
            seen.withheld.append(event)
        else:
            seen.leaves[position] = leaf_hash(canonical(event))
        for path in ("inclusion?position={}", "inclusion?position={}&size={}"):
            seen.take(get("/proofs/" + path.format(position, size)))
        seen.take(get(f"/events/{position}/recorded"))
        seen.take(get(f"/checkpoints/{position}"))
        for new in range(position, size + 1):
            seen.take(get(f"/proofs/consistency?from={position}&to={new}"))
    return seen


def found_price(
    seen: Seen, event: dict[str, Any], data: dict[str, Any], prices: Iterable[str]
) -> str | None:
    """The price of a withheld event that the hashes give away, if any.

    `data` is what the desk takes the event to say, with "price" in the place of the price.
    """
    members = {name: value for name, value in event.items() if name != "withheld"}
    salts = ["", *sorted(seen.salts)]
    for salt in salts:
        whole = canonical({**members, "data": data, **({"salt": salt} if salt else {})})
        before, gap, after = whole.partition(f'"{_GAP}"'.encode())
        assert gap, "the guess has no place for a price"
        for price in prices:
            leaf = leaf_hash(b'%b"%b"%b' % (before, price.encode(), after))
            if not seen.hashes.isdisjoint(_with_neighbours(seen, event["position"], leaf)):
                return price
    return None


def _with_neighbours(seen: Seen, position: int, leaf: bytes) -> Iterator[bytes]:
    """The leaf, and the nodes over it that the leaves seen beside it make."""
    yield leaf
    at = position - 1
    if at & 1 and position - 1 in seen.leaves:
        yield node_hash(seen.leaves[position - 1], leaf)
    elif not at & 1 and position + 1 in seen.leaves:
        yield node_hash(leaf, seen.leaves[position + 1])


@contextmanager
def without_salt() -> Iterator[None]:
    """Record as releases did before bodies had a salt."""
    with patch.object(proposing, "settle_last", lambda prepared, _: prepared):
        yield


def get_of(paper: Paper, who: str) -> Get:
    """How a holder of a token in a studio reads it: headers, an empty line, the body."""
    client = paper.app.test_client()
    headers = {"Authorization": f"Bearer {paper.secrets[who]}"}

    def get(path: str) -> bytes:
        answer = client.get(path, headers=headers)
        return str(answer.headers).encode() + answer.get_data()

    return get


def tell_card(paper: Paper, price: str) -> None:
    """Record a rate card with a price of layout, and what lies before and behind it."""
    paper.open(scenes=1, episodes=("KESTREL-1",))
    card = CARD | {"rates": {"layout": price}}
    paper.tell("rate.set", "KESTREL", card, who="office")
    paper.desk("KESTREL-1/1", "layout", start=paper.now, end=paper.now)


def size_of(get: Get) -> int:
    """How many events there are."""
    return len(orjson.loads(get("/events?limit=1000").partition(b"\r\n\r\n")[2]))


def prices_up_to(most_cents: int) -> Iterator[str]:
    """Every price from a cent on."""
    return (f"{cents // 100}.{cents % 100:02}" for cents in range(1, most_cents + 1))


def attack(part: float = 1.0) -> Iterator[tuple[str, str]]:
    """A random price among a part of a million, in a record without salts and in one with.

    Fails where the salts give it away, and where it is not found without: the guess would be wrong.
    """
    most_cents = max(100, round(1_000_000 * part))
    missed = []
    for salted in (False, True):
        price = f"{secrets.randbelow(most_cents // 100)}.{secrets.randbelow(99) + 1:02}"
        with _studio() as engine:
            with nullcontext() if salted else without_salt():
                paper = Paper(engine)
                tell_card(paper, price)
            get = get_of(paper, "layout")
            seen = look_around(get, PATHS, size_of(get))
            (event,) = seen.withheld
            began = time.perf_counter()
            found = found_price(seen, event, CARD, prices_up_to(most_cents))
            took_s = time.perf_counter() - began
        what = f"{'with' if salted else 'without'} salts"
        outcome = "NOT found" if found is None else f"found: {found}"
        yield (
            f"{what}, {len(seen.hashes)} hashes seen",
            f"a price of {most_cents:,} {outcome} in {took_s:.2f} s",
        )
        if found != (None if salted else price):
            missed.append(f"{what} the price {price} was {outcome}")
    if missed:
        raise SystemExit("; ".join(missed))


@contextmanager
def _studio() -> Iterator[Engine]:
    with data_folder() as data:
        url = ensure_running(data, durable=False)
        migrate(url)
        engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
        yield engine
        engine.dispose()
