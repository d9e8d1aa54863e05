"""A department's script that posts notes one by one and writes down what was acknowledged.

    python -m tests.crash.poster URL TOKEN NUMBER COUNT FILE

What fails is posted again, the same, until it is answered.
"""

import sys
import time
from pathlib import Path

import httpx

from service.client import Client, RefusedError, event

RETRY_S_MAX = 60


def note(number: int, place: int, at: str) -> dict[str, object]:
    data = {"note": f"P{number}-{place}", "to": "layout", "text": f"remark {place}"}
    source = f"/tests/posters/{number}"
    return event(source, "note.given", "KESTREL-1/1", data, time=at, id=f"{number}-{place}")


def post_until_answered(ledger: Client, members: dict[str, object]) -> int:
    deadline = time.monotonic() + RETRY_S_MAX
    while True:
        try:
            return int(ledger.post([members])[0]["position"])
        except (httpx.TransportError, RefusedError) as error:
            lasting = isinstance(error, RefusedError) and error.status < 500
            if lasting or time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def main() -> None:
    url, token, number, count, file = sys.argv[1:]
    with Client(url, token) as ledger, Path(file).open("a") as acknowledged:
        at = ledger.get("/clock")["now"]
        for place in range(int(count)):
            position = post_until_answered(ledger, note(int(number), place, at))
            acknowledged.write(f"{number}-{place} {position}\n")
            acknowledged.flush()


if __name__ == "__main__":
    main()
