"""Everything that is stored beside a record altered in turn, as the owner of the tables can.

First on a small studio that has all of it: by what each alteration is found, and what mending does.
Then on a long log: what the look at the tree costs that comes before every signature, and the pass
over all rows that comes with every backup.
"""

import statistics
from collections.abc import Iterator, Mapping, Sequence

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine, create_engine
from sqlalchemy.pool import NullPool

from service.checking.findings import Finding, Kind
from service.checking.mending import MendingError, mend
from service.checking.record import check_record
from service.checking.whole import Means, check_studio
from service.keys import Keys
from service.log.checkpoints import sign_latest
from service.log.embedded import ensure_running
from service.log.studios import find_studio, make_studio
from service.log.tree import checked_head
from tests.benchmarks.figures import took_s
from tests.checking.altered import ALTERED, Attack, altering, tell_all
from tests.conftest import Database
from tests.fresh import SETTINGS, fresh_database
from tests.log.recording import START_US, record
from tests.recording import NAME, SEAL_KEY
from tests.serving import data_folder

EVENTS = 300_000
AT_ONCE = 500
LONG, ORIGIN = "long", "kestrel.example/long"
UNMENDED = Kind.CHECKPOINT
"""What is nobody's to change: mending has no keys to hold it against."""
SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
MEANS = Means(SETTINGS, Keys(SECRET, ()), SEAL_KEY, processes=1)


def attack(
    part: float, altered: Mapping[str, tuple[Attack, Kind]] = ALTERED
) -> Iterator[tuple[str, str]]:
    """What was altered and by what it was found; then what the looks cost.

    Fails where something is not found as what it is, or is still there once it was mended.
    """
    missed = []
    with data_folder() as data:
        url = ensure_running(data, durable=False)
        for number, (way, (alter, kind)) in enumerate(altered.items()):
            with fresh_database(url, f"attacked_{number}") as (engine, own_url):
                outcome, not_held = _altered(engine, own_url, alter, kind)
            yield way, outcome
            missed += [f"{way}: {what}" for what in not_held]
        with fresh_database(url, "looked_at") as (engine, _):
            yield from _costs(engine, max(AT_ONCE, round(EVENTS * part)))
    if missed:
        raise SystemExit("; ".join(missed))


def _altered(engine: Engine, url: str, alter: Attack, kind: Kind) -> tuple[str, list[str]]:
    """What came of an alteration, and what should have come of it and did not."""
    owner = create_engine(url, poolclass=NullPool)
    tell_all(engine, owner)
    altering(Database(url, url), alter)
    found = _found(engine)
    missed = [] if kind in {one.kind for one in found} else [f"not found as {kind}"]
    try:
        mended = mend(owner, NAME, SEAL_KEY)
    except MendingError:
        return f"{_described(found)}; mending changed nothing", missed
    after = _found(engine)
    stays = {UNMENDED, *(one.kind for one in mended.left)}
    missed += [f"{one.kind} is still there" for one in after if one.kind not in stays]
    return (
        f"{_described(found)}; mended: {'; '.join(mended.done)}; then {_described(after)}",
        missed,
    )


def _found(engine: Engine) -> list[Finding]:
    with engine.connect() as connection:
        studio = find_studio(connection, NAME)
    assert studio is not None
    return check_studio(engine, studio, MEANS).findings


def _described(findings: Sequence[Finding]) -> str:
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
