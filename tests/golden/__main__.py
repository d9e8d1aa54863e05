"""Add to the golden log those of `batches.BATCHES` that it does not have, by the write path.

    python -m tests.golden

A server of its own is started for it. What the log has stays byte for byte as it is.
"""

import shutil
import tempfile
from pathlib import Path
from typing import Any

from sqlalchemy import Engine

from service.log.append import lock_head
from service.log.chain import Chain
from service.log.embedded import ensure_running, stop
from service.log.engine import owner_engine, service_engine
from service.log.migrate import migrate
from service.log.read import bodies
from service.planning.compare.pricing import quoted
from service.production.refusal import Refusal
from service.proofs.tree import leaf_hash
from service.record import erase_text
from service.settings import Settings
from service.studio import View
from service.vocabulary.event import read_event
from service.vocabulary.facts.base import OWNER
from service.vocabulary.instants import parse_instant
from service.vocabulary.money import money_text
from tests import recording
from tests.golden import batches, files
from tests.recording import NAME, fact, posted, set_clock, worker

SOURCE = "/golden"


def main() -> None:
    """Start a server, put the golden log into it, record what is new, and add that to the files."""
    folder = Path(tempfile.mkdtemp(prefix="rl-"))
    folder.chmod(0o711)  # so that the account which root runs the server as can pass
    try:
        url = ensure_running(folder / "data", durable=False)
        migrate(url)
        engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
        count = len(files.bodies())
        recording.make(engine, batches.BATCHES[0].clock_at)
        _put_in(engine)
        _tell(engine, owner_engine(url))
        with engine.connect() as connection:
            new = [body for _, body in bodies(connection, NAME, count)]
        engine.dispose()
    finally:
        stop(folder / "data")
        shutil.rmtree(folder)
    if new:
        files.add(new)
    print(f"{len(new)} events added")


def _put_in(engine: Engine) -> None:
    """The golden log as it is, in the database."""
    with engine.begin() as connection:
        chain = Chain(lock_head(connection, NAME))
        for body in files.bodies():
            aside = (b"gone", b"{}") if b'"personal":"' in body else (None, None)
            chain.put(read_event(body), body, leaf_hash(body), *aside)
        chain.write(connection, NAME)


def _tell(engine: Engine, owner: Engine) -> None:
    studio = worker(engine)
    log = [read_event(body) for body in files.bodies()]
    for batch in batches.BATCHES:
        if batches.is_recorded(batch, log):
            continue
        set_clock(engine, batch.clock_at)
        if batch.role == OWNER:
            for _, _, data in batch.facts:
                erase_text(owner, NAME, data["positions"], data["by"], data["ground"])
            continue
        events = [
            fact(type_, subject, _filled_in(data, studio.view(), parse_instant(batch.clock_at)),
                 id=f"{batch.name}-{place}", at=batch.clock_at, source=SOURCE)
            for place, (type_, subject, data) in enumerate(batch.facts, 1)
        ]  # fmt: skip
        posted(studio, events, role=batch.role)


def _filled_in(data: dict[str, Any], view: View, at_us: int) -> dict[str, Any]:
    """The data with what only the log knows."""
    if data.get("position") == batches.LAST:
        return {**data, "position": view.position}
    if batches.QUOTED not in data:
        return data
    quote = quoted(view.state, data["order"], at_us)
    assert not isinstance(quote, Refusal), quote
    lines = [{"line": one.number, "amount": money_text(one.amount)} for one in quote.lines]
    figures = {"currency": quote.currency, "total": money_text(quote.total), "lines": lines}
    kept = {name: value for name, value in data.items() if name != batches.QUOTED}
    return {**kept, **figures, "position": view.position}


if __name__ == "__main__":
    main()
