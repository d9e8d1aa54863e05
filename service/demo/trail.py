"""What moved the delivery of the demo's latest episode, printed for people to read."""

import time
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from rich.console import Console
from rich.table import Table

from service.client import Client, RefusedError

SHOWN_MOVES = 10
BUILT_S = 60.0
ASK_AGAIN_S = 3.0


def show_trail(say: Console, client: Client, episodes: Sequence[Mapping[str, Any]]) -> None:
    """Print what moved the delivery of the episode that is latest."""
    dated = [row for row in episodes if row["margin_workdays_after"] is not None]
    episode = min(dated, key=lambda row: row["margin_workdays_after"])["episode"]
    pages = _once_built(say, client, f"/episodes/{episode}/trail")
    if pages is None:
        say.print(f"What moved {episode} is still being built; ask /episodes/{episode}/trail.\n")
        return
    moves = [move for page in pages for move in page["items"] if move["delta_minutes"]]
    greatest = sorted(moves, key=lambda move: -abs(move["delta_minutes"]))[:SHOWN_MOVES]
    net = sum(move["delta_minutes"] for move in moves) / (24 * 60)
    table = Table(
        title=f"What moved the delivery of {episode} most, of {len(moves):,} moves; "
        f"in all {net:+.1f} days",
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for title in ("at", "what", "days"):
        table.add_column(title, justify="right" if title == "days" else "left")
    for move in sorted(greatest, key=lambda move: move["number"]):
        table.add_row(move["at"][:16], what_moved(move), f"{move['delta_days']:+.2f}")
    say.print(table)
    say.print()


def _once_built(say: Console, client: Client, path: str) -> list[Any] | None:
    """All pages of a trail as soon as it is built; None if that takes too long."""
    ends_s = time.monotonic() + BUILT_S
    with say.status("building the trail of what moved each delivery"):
        while time.monotonic() < ends_s:
            try:
                return list(client.pages(path, limit=1000))
            except RefusedError as error:
                if error.status != HTTPStatus.SERVICE_UNAVAILABLE:
                    raise
            time.sleep(ASK_AGAIN_S)
    return None


def what_moved(move: Mapping[str, Any]) -> str:
    """What moved a delivery, in words."""
    if move["cause"] == "time":
        return f"waited for {move['waited_for']} at {move['department']}"
    retake = f" ({move['retake']})" if move["retake"] else ""
    again = ": done, open again" if move["reopened"] else ""
    return f"{move['type']} {move['subject']}{retake}{again}"
