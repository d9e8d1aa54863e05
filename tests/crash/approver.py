"""A producer's script that approves orders one after the other, for a writer that is killed.

    python -m tests.crash.approver URL TOKEN COUNT

Each order is approved at the price that it was given; what fails ends the script.
"""

import sys

from service.client import Client, event


def approval(number: int, at: str) -> dict[str, object]:
    """The approval of an order, the same whenever it is posted."""
    data = {"order": f"CO-{number}"}
    type_ = "change-order.approved"
    return event("/tests/producer", type_, "KESTREL-1", data, time=at, id=f"approve-{number}")


def main() -> None:
    url, token, count = sys.argv[1:]
    with Client(url, token) as ledger:
        for number in range(int(count)):
            at = ledger.get(f"/change-orders/CO-{number}")["steps"][1]["at"]
            ledger.post([approval(number, at)])
            print(number, flush=True)


if __name__ == "__main__":
    main()
