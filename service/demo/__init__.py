"""The demo: an invented studio posted through HTTP, a retake called, and what it moves printed."""

import json
import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, NamedTuple

import click
import httpx
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

import seed
from service.client import READ_S, Client
from service.demo.trail import show_trail
from service.log import studios, tokens
from service.log.engine import service_engine
from service.settings import Settings
from service.vocabulary.facts import Role
from service.vocabulary.instants import parse_instant

UP_S = 240.0
"""A first start compiles: some 20 s of a core, more where others use it."""
BATCH_EVENTS = 500
FLOOR = "floor"


class Poster(NamedTuple):
    """Who holds a token of the demo studio."""

    name: str
    role: Role
    source: str
    departments: tuple[str, ...] = ()


POSTERS = (
    Poster("office", Role.OFFICE, "/office"),
    Poster("supervisor", Role.SUPERVISOR, "/supervision"),
    Poster("producer", Role.PRODUCER, "/production"),
    Poster("auditor", Role.AUDITOR, "/audit"),
    Poster("layout", Role.DESK, "/desks/layout", ("layout",)),
    Poster(FLOOR, Role.DESK, "/desks/", seed.DEPARTMENTS),
)
SHOWN_ITEMS = 10
SHOWN_SCENES = 8


def run_demo(
    settings: Settings, database_url: str, *, port: int, as_json: bool, stay: bool
) -> None:
    """Do the whole demo against a migrated database."""
    say = Console(stderr=as_json, highlight=False)
    if not _is_free(port):
        raise click.ClickException(f"port {port} is taken; name another with --port")
    days = _generate(say)
    studio, secrets = _make_studio(settings, database_url)
    url = f"http://127.0.0.1:{port}"
    with _served(settings, port) as server, httpx.Client(timeout=READ_S) as http:
        clients = {name: Client(url, secret, http) for name, secret in secrets.items()}
        _post(say, clients, days)
        retake = seed.final_retake()
        called = clients["supervisor"].post([retake])
        position = called[0]["position"]
        impact = clients["supervisor"].get(
            f"/retakes/{retake['data']['retake']}/impact", min_position=position
        )
        if as_json:
            click.echo(json.dumps(impact, indent=2))
        else:
            show_order(say, clients["producer"].get(f"/change-orders/{seed.APPROVED_ORDER}"))
            show_impact(say, retake, impact)
            show_trail(say, clients["supervisor"], impact["episodes"])
            _how_to_go_on(say, url, studio, secrets, retake, stay=stay)
        if stay:
            say.print("\nServing until Ctrl-C.")
            try:
                server.wait()
            except KeyboardInterrupt:
                say.print("Stopping.")


def batched(posts: Sequence[seed.Post]) -> list[seed.Post]:
    """Posts as a studio's floor makes them: what the desks say one after the other, together."""
    together: list[seed.Post] = []
    for post in posts:
        poster = FLOOR if post.role in seed.DEPARTMENTS else post.role
        last = together[-1] if together else None
        if last and last.role == poster and len(last.events) + len(post.events) <= BATCH_EVENTS:
            together[-1] = last._replace(events=last.events + post.events)
        else:
            together.append(seed.Post(poster, post.events))
    return together


def _generate(say: Console) -> list[seed.Day]:
    with _progress(say) as progress:
        task = progress.add_task("imagining the studio", total=None)
        days = []
        for day in seed.days():
            days.append(day._replace(posts=tuple(batched(day.posts))))
            progress.update(task, completed=len(days))
        progress.update(task, total=len(days))
    return days


def _progress(say: Console) -> Progress:
    return Progress(
        TextColumn("{task.description:<24}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=say,
    )


def _make_studio(settings: Settings, database_url: str) -> tuple[str, dict[str, str]]:
    """A studio with a name that is still free, and tokens by who holds them."""
    engine = service_engine(database_url, settings)
    try:
        with engine.begin() as connection:
            taken = {known.studio for known in studios.list_studios(connection)}
            numbers = range(2, len(taken) + 3)
            names = [seed.STUDIO, *(f"{seed.STUDIO}-{number}" for number in numbers)]
            studio = next(name for name in names if name not in taken)
            clock_at_us = parse_instant(seed.opening_clock())
            studios.make_studio(connection, studio, "simulated", clock_at_us, seed.STUDIO_TITLE)
            secrets = {
                poster.name: tokens.issue(
                    connection,
                    studio,
                    poster.name,
                    poster.role,
                    poster.departments,
                    poster.source,
                    datetime.now(UTC),
                )[1]
                for poster in POSTERS
            }
    finally:
        engine.dispose()
    return studio, secrets


@contextmanager
def _served(settings: Settings, port: int) -> Iterator[subprocess.Popen[bytes]]:
    """The service in processes of its own, on this database; ended at the end."""
    environ = {**os.environ, "RETAKE_LEDGER_DATA": str(settings.data)}
    command = [sys.executable, "-m", "service.cli", "serve", "--quiet", "--port", str(port)]
    server = subprocess.Popen(command, env=environ)  # noqa: S603  # our own command
    try:
        deadline = time.monotonic() + UP_S
        while not _is_up(port):
            if server.poll() is not None or time.monotonic() > deadline:
                raise click.ClickException("the service did not come up; see what it said above")
            time.sleep(0.1)
        yield server
    finally:
        server.terminate()
        server.wait()


def _is_up(port: int) -> bool:
    try:
        return httpx.get(f"http://127.0.0.1:{port}/ready", timeout=5).is_success
    except httpx.TransportError:
        return False


def _is_free(port: int) -> bool:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except OSError:
            return False
    return True


def _post(say: Console, clients: Mapping[str, Client], days: Sequence[seed.Day]) -> None:
    count = sum(len(post.events) for day in days for post in day.posts)
    began = time.monotonic()
    with _progress(say) as progress:
        task = progress.add_task("posting its events", total=count)
        for day in days:
            clients["office"].put("/clock", {"now": day.clock_at})
            for post in day.posts:
                clients[post.role].post(post.events)
                progress.advance(task, len(post.events))
    took_s = time.monotonic() - began
    say.print(f"{count:,} events over HTTP in {took_s:.1f} s: {count / took_s:,.0f} a second")


def show_order(say: Console, order: Mapping[str, Any]) -> None:
    """Print what a priced order costs, line by line."""
    price = order["price"]
    say.rule(f"Change order {order['order']}, {order['standing']}")
    say.print(f"Asked for by the {order['asked_by']}: {order['words']}\n")
    table = Table(box=None, pad_edge=False)
    for title in ("line", "change", "of", price["currency"]):
        table.add_column(title, justify="right" if title == price["currency"] else "left")
    for line, amount in zip(order["lines"], price["lines"], strict=True):
        about = line.get("items") or [line.get("scene") or line.get("element") or line["what"]]
        table.add_row(str(amount["line"]), line["change"], ", ".join(about), amount["amount"])
    table.add_row("", "", "in all", price["total"])
    say.print(table)
    _show_cautions(say, order)
    say.print(f"Its approval recorded {len(order['facts'])} facts.\n")


def show_impact(say: Console, retake: Mapping[str, Any], impact: Mapping[str, Any]) -> None:
    """Print an impact for people to read."""
    data = retake["data"]
    say.rule(f"Retake {data['retake']}")
    named = ", ".join(data.get("items") or [retake["subject"]])
    say.print(
        f"{data['kind'].capitalize()} ({data['urgency']}): {named}, back to {data['back_to']}, "
        f"asked by {data.get('asked_by', 'studio')}.\n{data.get('why', '')}\n"
    )
    _show_reopened(say, impact["reopened"])
    _show_departments(say, impact)
    _show_scenes(say, impact["scenes"])
    _show_episodes(say, impact["episodes"])
    _show_cautions(say, impact)


def _show_cautions(say: Console, answer: Mapping[str, Any]) -> None:
    for caution in answer.get("cautions", ()):
        say.print(f"Note: {caution}")


def _show_reopened(say: Console, reopened: Sequence[Mapping[str, Any]]) -> None:
    by_item: dict[str, list[Mapping[str, Any]]] = {}
    for visit in reopened:
        by_item.setdefault(visit["item"], []).append(visit)
    say.print(f"What went back, and why: {len(reopened)} visits of {len(by_item)} items")
    for item, visits in list(by_item.items())[:SHOWN_ITEMS]:
        own = ", ".join(
            f"{visit['department']} take {visit['take']} ({visit['work']:g} {visit['unit']})"
            for visit in visits
        )
        say.print(f"  {item}: {own}; {_cause(item, visits[0])}")
    if len(by_item) > SHOWN_ITEMS:
        say.print(f"  and {len(by_item) - SHOWN_ITEMS} more items")
    say.print()


def _cause(item: str, visit: Mapping[str, Any]) -> str:
    """What brought a retake to an item: the last visit of another item on the way to it."""
    before = [step for step in visit["because"] if step["item"] != item]
    if not before:
        return "named by the retake"
    return f"behind {before[-1]['item']} at {before[-1]['department']}"


def _show_departments(say: Console, impact: Mapping[str, Any]) -> None:
    table = Table(title="Added work", title_justify="left", box=None, pad_edge=False)
    for title in ("department", "work", "unit", "artist-days"):
        table.add_column(title, justify="right" if title in ("work", "artist-days") else "left")
    for row in impact["departments"]:
        table.add_row(
            row["department"],
            f"{row['added_work']:+,.2f}",
            row["unit"],
            "" if row["added_artist_days"] is None else f"{row['added_artist_days']:+,.2f}",
        )
    say.print(table)


def _show_scenes(say: Console, scenes: Sequence[Mapping[str, Any]]) -> None:
    again = [
        scene
        for scene in scenes
        if scene["finish_before"] and scene["open_after"] and not scene["open_before"]
    ]
    later = [scene for scene in scenes if (scene["slip_workdays"] or 0) > 0]
    say.print(
        f"\nScenes whose finish moves: {len(scenes)}, by a day or more: {len(later)}, "
        f"done and open again: {len(again)}"
    )
    for scene in sorted(later, key=lambda scene: -scene["slip_workdays"])[:SHOWN_SCENES]:
        say.print(f"  {scene['scene']}: {scene['slip_workdays']} working days later")
    for scene in again[:SHOWN_SCENES]:
        say.print(f"  {scene['scene']}: done, open again")


def _show_episodes(say: Console, episodes: Sequence[Mapping[str, Any]]) -> None:
    table = Table(
        title="\nEvery delivery, before and after; margins in working days",
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for title in ("episode", "due", "before", "after", "margin", "", "the date"):
        table.add_column(title, justify="right" if title == "margin" else "left", no_wrap=True)
    for row in episodes:
        holds = row["date_holds"]
        was, now = row["margin_workdays_before"], row["margin_workdays_after"]
        table.add_row(
            row["episode"],
            row["due_on"] or "none set",
            row["delivery_before"] or "unplanned",
            row["delivery_after"] or "unplanned",
            "" if was is None else f"{was:+d}",
            "" if now is None else f"to {now:+d}",
            "" if holds is None else "holds" if holds else "is missed",
        )
    say.print(table)
    say.print()


def _how_to_go_on(
    say: Console,
    url: str,
    studio: str,
    secrets: Mapping[str, str],
    retake: Mapping[str, Any],
    *,
    stay: bool,
) -> None:
    say.rule("Go on")
    port = url.rsplit(":", 1)[1]
    if not stay:
        say.print(f"Start the service again: {sys.argv[0]} serve --port {port}", soft_wrap=True)
    say.print(f"It answers at {url}. Tokens of the demo studio {studio}:")
    for role in ("supervisor", "office", "producer", "auditor", "layout"):
        say.print(f"  {role:<11}{secrets[role]}", soft_wrap=True)
    bearer = f"-H 'Authorization: Bearer {secrets['supervisor']}'"
    code = retake["data"]["retake"]
    for line in (
        f"curl -s {bearer} {url}/episodes",
        f"curl -s {bearer} {url}/departments/layout/tray",
        f"curl -s {bearer} {url}/retakes/{code}/impact",
    ):
        say.print(line, soft_wrap=True, markup=False)
