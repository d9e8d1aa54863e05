"""Where a request goes, whose it is and whether it is let in, by what the app knows."""

import asyncio
from collections.abc import Callable, Coroutine
from contextlib import suppress
from functools import partial
from typing import Any

from flask import Flask

from service.web import database_faults
from service.web.access import find, secret_of, seen_before
from service.web.described import description_of
from service.web.paging import names_a_state
from service.web.problems import Problem
from service.web.serving.lanes import Client, Lane, Lanes
from service.web.throttle import Throttle

FOUND_S = 1.0
"""How long a request waits until its unseen token is looked up."""


def lane_chooser(app: Flask, lanes: Lanes) -> Callable[[str, str, bytes], Lane]:
    """What tells the lane of a method, path and query, by what the routes say of themselves.

    A page whose cursor names a state, which may be any earlier one, is costly.
    """
    routes = app.url_map.bind("localhost")
    by_endpoint: dict[str, Lane] = {}
    for endpoint, view in app.view_functions.items():
        description = description_of(view)
        if description is not None and description.lane != "usual":
            by_endpoint[endpoint] = getattr(lanes, description.lane)

    def lane_of(method: str, path: str, query: bytes) -> Lane:
        if method == "POST" and path == "/events":
            return lanes.usual  # as the match would say: spared where most requests go
        try:
            endpoint, _ = routes.match(path, method)
        except Exception:  # whatever is wrong with it, the app will say
            return lanes.usual
        lane = by_endpoint.get(endpoint, lanes.usual)
        return lanes.costly if lane is lanes.usual and names_a_state(query) else lane

    return lane_of


def client_finder(
    app: Flask, throttle: Throttle, lane: Lane, found_s: float = FOUND_S
) -> Callable[[str | None, str], Coroutine[Any, Any, Client]]:
    """What tells whose request it is, by its Authorization header and address.

    A token that the worker has not seen is looked up on a thread of the lane, so that its studio is
    known before a thread is wanted for the request. That is waited for `found_s` at most: the
    database may be slow or gone, which the route finds out by itself. Clients without a known token
    are a group for each address.
    """

    def client_known(secret: str) -> Client | None:
        with app.app_context():
            token = seen_before(secret)
        return None if token is None else Client(token.studio, token.token_id)

    def look_up(secret: str, address: str) -> None:
        with app.app_context(), suppress(*database_faults.FAULTS):  # its route will say so
            if seen_before(secret) is None and not throttle.is_slowed(address):
                find(secret)

    async def client_of(authorization: str | None, address: str) -> Client:
        stranger = Client(address, authorization or "")
        secret = secret_of(authorization)
        if secret is None:
            return stranger
        client = client_known(secret)
        if client is None:
            finding = asyncio.ensure_future(lane.run(partial(look_up, secret, address), stranger))
            finding.add_done_callback(_leave)
            await asyncio.wait((finding,), timeout=found_s)
            client = client_known(secret)
        return client or stranger

    return client_of


def _leave(finding: "asyncio.Future[None]") -> None:
    """Let nobody be told that a lookup failed: what depends on it is asked for again."""
    if not finding.cancelled():
        finding.exception()


def admission(app: Flask, throttle: Throttle) -> Callable[[str | None, str], Problem | None]:
    """What tells with which problem a client is refused by its token alone."""

    def refused(authorization: str | None, address: str) -> Problem | None:
        with app.app_context():
            try:
                return throttle.refused(authorization, address)
            except database_faults.FAULTS as fault:
                return database_faults.problem_of(fault)

    return refused
