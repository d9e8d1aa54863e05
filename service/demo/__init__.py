"""The demo: an invented studio posted through HTTP, a retake called, and what it moves printed."""

import json
import shlex
import sys
import time
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

import click
import httpx
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

import seed
from service.client import READ_S, Client
from service.demo.serving import HOST, listen, port_of, served
from service.demo.showing import show_impact, show_order
from service.demo.trail import show_trail
from service.installation import seal_key_of
from service.log import studios, tokens
from service.log.engine import service_engine
from service.settings import Settings
from service.vocabulary.facts import Role
from service.vocabulary.facts.record import EventStruck
from service.vocabulary.instants import parse_instant

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
    Poster(FLOOR, Role.DESK, "/desks", seed.DEPARTMENTS),
)


def run_demo(
    settings: Settings, database_url: str, *, asked_port: int | None, as_json: bool, stay: bool
) -> None:
    """Do the whole demo against a migrated database, at the port asked for or a usual one."""
    say = Console(stderr=as_json, highlight=False)
    listener = listen(say, asked_port)
    url = f"http://{HOST}:{port_of(listener)}"
    say.print(f"Starting the service at {url}; a first start takes half a minute or more.")
    with served(settings, listener) as server, httpx.Client(timeout=READ_S) as http:
        # only now: no studio is ever deleted, and a service that does not start should leave none
        studio, secrets = _make_studio(settings, database_url)
        _show_tokens(say, studio, secrets)
        days = _generate(say)
        clients = {name: Client(url, secret, http) for name, secret in secrets.items()}
        _post(say, clients, days)
        retake = seed.final_retake()
        call(say, clients, retake, as_json=as_json)
        if not as_json:
            _how_to_go_on(say, url, retake, stay=stay)
        if stay:
            say.print("\nServing until Ctrl-C.")
            try:
                server.wait()
            except KeyboardInterrupt:
                say.print("Stopping.")


def call(
    say: Console, clients: Mapping[str, Client], retake: Mapping[str, Any], *, as_json: bool
) -> None:
    """Call a retake and print what it moves, for people or as JSON."""
    called = clients["supervisor"].post([retake])
    code, position = retake["data"]["retake"], called[0]["position"]
    impact = clients["supervisor"].get(f"/retakes/{code}/impact", min_position=position)
    if as_json:
        click.echo(json.dumps(impact, indent=2))
        return
    show_order(say, clients["producer"].get(f"/change-orders/{seed.APPROVED_ORDER}"))
    show_impact(say, retake, impact)
    show_trail(say, clients["supervisor"], impact["episodes"])


def batched(posts: Sequence[seed.Post]) -> list[seed.Post]:
    """Posts as a studio's floor makes them: what the desks say one after the other, together.

    A post with strikes begins a batch: their positions are known beforehand, and the service
    records the strikes of a batch first.
    """
    together: list[seed.Post] = []
    for post in posts:
        poster = FLOOR if post.role in seed.DEPARTMENTS else post.role
        last = together[-1] if together else None
        strikes = any(event["type"] == EventStruck.TYPE for event in post.events)
        fits = last and last.role == poster and len(last.events) + len(post.events) <= BATCH_EVENTS
        if last and fits and not strikes:
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
            studios.make_studio(
                connection,
                studio,
                "simulated",
                clock_at_us,
                seed.STUDIO_TITLE,
                seal_key=seal_key_of(settings),
            )
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


def _post(say: Console, clients: Mapping[str, Client], days: Sequence[seed.Day]) -> None:
    count = sum(len(post.events) for day in days for post in day.posts)
    say.print(f"Posting three months of it, {count:,} events.")
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


def _show_tokens(say: Console, studio: str, secrets: Mapping[str, str]) -> None:
    say.print(f"The demo's studio is {studio}. Its tokens:")
    for role in ("supervisor", "office", "producer", "auditor", "layout"):
        say.print(f"  {role:<11}{secrets[role]}", soft_wrap=True)


def _how_to_go_on(
    say: Console,
    url: str,
    retake: Mapping[str, Any],
    *,
    stay: bool,
) -> None:
    say.rule("Go on")
    port = url.rsplit(":", 1)[1]
    if not stay:
        again = shlex.join([sys.argv[0], "serve", "--port", port])
        say.print(f"Start the service again: {again}", soft_wrap=True, markup=False)
    say.print(f"It answers at {url}. Paste the supervisor's token after the first line:")
    bearer = "-H @supervisor.header"
    code = retake["data"]["retake"]
    for line in (
        'read -rs token && (umask 077; echo "Authorization: Bearer $token" > supervisor.header)',
        f"curl -s {bearer} {url}/episodes",
        f"curl -s {bearer} {url}/departments/layout/tray",
        f"curl -s {bearer} {url}/retakes/{code}/impact",
    ):
        say.print(line, soft_wrap=True, markup=False)
