"""Everything that is stored beside a record altered in turn, as the owner of the tables can.

First on a small studio that has all of it: by what each alteration is found, and what mending does.
Then on a long log: what the look at the tree costs that comes before every signature, and the pass
over all rows that comes with every backup.
"""

import statistics
from collections.abc import Iterator

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine, create_engine
from sqlalchemy.pool import NullPool

from service.checking.mending import MendingError, mend
from service.checking.record import check_record
from service.checking.whole import Means, check_studio
from service.keys import Keys
from service.log.checkpoints import sign_latest
from service.log.embedded import ensure_running
from service.log.studios import find_studio, make_studio
from service.log.tree import checked_head
from tests.benchmarks.figures import took_s
from tests.checking.told import ALTERED, altering, tell_all
from tests.conftest import Database
from tests.fresh import SETTINGS, fresh_database
from tests.log.recording import START_US, record
from tests.recording import NAME, SEAL_KEY
from tests.serving import data_folder

EVENTS = 300_000
AT_ONCE = 500
LONG, ORIGIN = "long", "kestrel.example/long"
SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
MEANS = Means(SETTINGS, Keys(SECRET, ()), SEAL_KEY, processes=1)


def attack(part: float) -> Iterator[tuple[str, str]]:
    """What was altered and by what it was found; then what the looks cost."""
    with data_folder() as data:
        url = ensure_running(data, durable=False)
        for number, way in enumerate(ALTERED):
            with fresh_database(url, f"attacked_{number}") as (engine, own_url):
                yield way, _altered(engine, own_url, way)
        with fresh_database(url, "looked_at") as (engine, _):
            yield from _costs(engine, max(AT_ONCE, round(EVENTS * part)))


def _altered(engine: Engine, url: str, way: str) -> str:
    owner = create_engine(url, poolclass=NullPool)
    tell_all(engine, owner)
    altering(Database(url, url), ALTERED[way][0])
    found = _found(engine)
    try:
        done = "; ".join(mend(owner, NAME, SEAL_KEY).done)
    except MendingError:
        return f"{found}; mending changed nothing"
    return f"{found}; mended: {done}; then {_found(engine)}"


def _found(engine: Engine) -> str:
    with engine.connect() as connection:
        studio = find_studio(connection, NAME)
    if studio is None:
        return "no studio"
    findings = check_studio(engine, studio, MEANS).findings
    return ", ".join(f"{one.kind} at {one.position}" for one in findings) or "nothing found"


def _costs(engine: Engine, count: int) -> Iterator[tuple[str, str]]:
    with engine.begin() as connection:
        make_studio(connection, LONG, "simulated", START_US)
    for first in range(0, count, AT_ONCE):
        with engine.begin() as connection:
            record(connection, [{}] * min(AT_ONCE, count - first), studio=LONG)
    with engine.connect() as connection:
        looks_ms = [1000 * took_s(lambda: checked_head(connection, LONG)) for _ in range(200)]
    with engine.begin() as connection:
        sign_latest(connection, LONG, ORIGIN, SECRET)
        record(connection, [{}] * 3, studio=LONG)
        signed_s = took_s(lambda: sign_latest(connection, LONG, ORIGIN, SECRET))
    with engine.connect() as connection:
        passed_s = took_s(lambda: check_record(connection, LONG))
    yield (
        f"the look before a signature, {count:,} events, median",
        (f"{statistics.median(looks_ms):.2f} ms, longest {max(looks_ms):.2f} ms"),
    )
    yield "a signature, with the proof from the one before", f"{1000 * signed_s:.1f} ms"
    yield "the pass over all rows", f"{count / passed_s:,.0f} events a second"
