"""A writer that is killed leaves an approval and its facts together, or neither."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import orjson

from service.client import Client, event
from service.log.embedded import ensure_running
from service.log.engine import service_engine
from service.log.read import bodies
from service.settings import Settings
from tests.crash.approver import approval
from tests.crash.poster import until_answered
from tests.places import TOP
from tests.serving import command, issued, postmaster_pid, served
from tests.telling import CREWS, office_facts

ORDERS, SCENES = 12, 6


def _price(ledger: Client, number: int) -> None:
    """Raise an order that retimes every scene, and price it."""
    lines = [
        {"change": "retime", "scene": f"KESTREL-1/{scene}", "frames": 90 + number}
        for scene in range(1, SCENES + 1)
    ]
    code, at = f"CO-{number}", ledger.get("/clock")["now"]
    order = {"order": code, "asked_by": "client", "words": "Longer.", "lines": lines}
    raised = event("/tests/o", "change-order.raised", "KESTREL-1", order, time=at, id=f"r{number}")
    ledger.post([raised])
    quote = ledger.get(f"/change-orders/{code}/quote")
    price = {name: quote[name] for name in ("order", "position", "currency", "total")}
    price["lines"] = [{"line": one["line"], "amount": one["amount"]} for one in quote["lines"]]
    priced = event(
        "/tests/o", "change-order.priced", "KESTREL-1", price, time=quote["at"], id=f"p{number}"
    )
    ledger.post([priced])


def _approvals(data: Path) -> dict[str, list[str]]:
    """By approval in the log, the ids of the facts that name its order as their cause."""
    engine = service_engine(
        ensure_running(data), Settings.from_environment({"RETAKE_LEDGER_DATA": str(data)})
    )
    with engine.connect() as connection:
        log = [orjson.loads(body) for _, body in bodies(connection, "paper", 0)]
    engine.dispose()
    found: dict[str, list[str]] = {}
    for place, body in enumerate(log):
        if body["type"] == "change-order.approved":
            behind = log[place + 1 : place + 1 + SCENES]
            code = body["data"]["order"]
            found[body["id"]] = [one["id"] for one in behind if one.get("cause") == code]
    assert sum("cause" in body for body in log) == sum(map(len, found.values()))
    return found


def test_an_approval_and_its_facts_are_there_together_or_not_at_all(data: Path) -> None:
    # given orders of a free card, so that approving one leaves the prices of the others as they are
    ensure_running(data)
    command(data, "studio", "make", "paper")
    office, supervisor, producer = (
        issued(data, role) for role in ("office", "supervisor", "producer")
    )
    with served(data) as url:
        with Client(url, office) as ledger:
            at = ledger.get("/clock")["now"]
            ledger.post(office_facts(scenes=SCENES, at=at))
            card = {"currency": "EUR", "from_on": "2020-01-01", "rates": dict.fromkeys(CREWS, "0")}
            ledger.post([event("/tests/o", "rate.set", "KESTREL", card, time=at, id="card")])
        with Client(url, supervisor) as ledger:
            for number in range(ORDERS):
                _price(ledger, number)
        # when the database is killed while they are approved
        arguments = [sys.executable, "-m", "tests.crash.approver", url, producer, str(ORDERS)]
        with subprocess.Popen(
            arguments, cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        ) as approver:
            assert approver.stdout is not None
            acknowledged = [approver.stdout.readline().strip() for _ in range(5)]
            assert approver.poll() is None, "all are approved already"
            os.kill(postmaster_pid(data), signal.SIGKILL)
            acknowledged += approver.stdout.read().split()
        # then each approval that is there has all its facts, and what was acknowledged is there
        found = _approvals(data)
        for id_, behind in found.items():
            assert behind == [f"{id_}/{number}" for number in range(1, SCENES + 1)]
        assert {f"approve-{number}" for number in acknowledged} <= found.keys()
        _post_again(url, producer, set(found))
    assert len(_approvals(data)) == ORDERS


def _post_again(url: str, producer: str, recorded: set[str]) -> None:
    """Approve all of them: what is there is repeated whole, what is not lands whole."""
    with Client(url, producer) as ledger:
        for number in range(ORDERS):
            at = _priced_at(ledger, f"/change-orders/CO-{number}")
            receipts = ledger.post([approval(number, at)])
            assert len(receipts) == SCENES + 1
            assert {one["repeated"] for one in receipts} == {f"approve-{number}" in recorded}


def _priced_at(ledger: Client, path: str) -> str:
    """When an order was priced; the service may still be looking for its database."""
    steps = until_answered(lambda: ledger.get(path))["steps"]
    return next(str(step["at"]) for step in steps if step["standing"] == "priced")
