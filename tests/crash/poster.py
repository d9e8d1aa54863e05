"""A department's script that posts notes one by one and writes down what was acknowledged.

    python -m tests.crash.poster URL TOKEN NUMBER COUNT FILE

What fails is posted again, the same, until it is answered. A line of FILE is the position of an
event and the event as it was posted.
"""

import json
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

import httpx

from service.client import Client, RefusedError, event

RETRY_S_MAX = 60
RETRY_AFTER_S = 0.1
T = TypeVar("T")


def note(number: int, place: int, at: str) -> dict[str, object]:
    data = {"note": f"P{number}-{place}", "to": "layout", "text": f"remark {place}"}
    source = f"/tests/posters/{number}"
    return event(source, "note.given", "KESTREL-1/1", data, time=at, id=f"{number}-{place}")


def post_until_answered(
    ledger: Client,
    events: Sequence[Mapping[str, Any]],
    failed: Callable[[Exception], None] = lambda error: None,
    retry_s_max: float = RETRY_S_MAX,
) -> list[dict[str, Any]]:
    """Post a batch, the same again after each failure; gives the receipts.

    `failed` is called with each failure. Raises what was last answered: at once where a repeat
    would be refused just the same, else when `retry_s_max` have passed.
    """
    return until_answered(lambda: ledger.post(events), failed, retry_s_max)


def until_answered(
    ask: Callable[[], T],
    failed: Callable[[Exception], None] = lambda error: None,
    retry_s_max: float = RETRY_S_MAX,
) -> T:
    """What a request is answered, sent again after each failure as `post_until_answered` does."""
    deadline = time.monotonic() + retry_s_max
    while True:
        try:
            return ask()
        except (httpx.TransportError, RefusedError) as error:
            failed(error)
            lasting = isinstance(error, RefusedError) and error.status < 500
            if lasting or time.monotonic() > deadline:
                raise
            time.sleep(RETRY_AFTER_S)


def main() -> None:
    url, token, number, count, file = sys.argv[1:]
    with Client(url, token) as ledger, Path(file).open("a") as acknowledged:
        at = until_answered(lambda: ledger.get("/clock"))["now"]
        for place in range(int(count)):
            posted = note(int(number), place, at)
            (receipt,) = post_until_answered(ledger, [posted])
            acknowledged.write(f"{receipt['position']} {json.dumps(posted)}\n")
            acknowledged.flush()


if __name__ == "__main__":
    main()
