"""Where a request goes and whether it is let in, by what the app behind says of itself."""

from collections.abc import Callable

from flask import Flask

from service.web import database_faults
from service.web.described import description_of
from service.web.problems import Problem
from service.web.serving.lanes import Lane, Lanes
from service.web.throttle import Throttle


def lane_chooser(app: Flask, lanes: Lanes) -> Callable[[str, str], Lane]:
    """What tells the lane of a method and path, by what the routes say of themselves."""
    routes = app.url_map.bind("localhost")
    by_endpoint: dict[str, Lane] = {}
    for endpoint, view in app.view_functions.items():
        description = description_of(view)
        if description is not None and description.lane != "usual":
            by_endpoint[endpoint] = getattr(lanes, description.lane)

    def lane_of(method: str, path: str) -> Lane:
        if method == "POST" and path == "/events":
            return lanes.usual  # as the match would say: spared where most requests go
        try:
            endpoint, _ = routes.match(path, method)
        except Exception:  # whatever is wrong with it, the app will say
            return lanes.usual
        return by_endpoint.get(endpoint, lanes.usual)

    return lane_of


def admission(app: Flask, throttle: Throttle) -> Callable[[str | None, str], Problem | None]:
    """What tells with which problem a client is refused by its token alone."""

    def refused(authorization: str | None, address: str) -> Problem | None:
        with app.app_context():
            try:
                return throttle.refused(authorization, address)
            except database_faults.FAULTS as fault:
                return database_faults.problem_of(fault)

    return refused
