"""The app: everything that answers HTTP, put together."""

import logging
from http import HTTPStatus
from math import ceil

from flask import Flask, Response, abort, g, request
from sqlalchemy import Engine

from service.log.tree import FrontierError
from service.planning.board.faults import PlanError
from service.projections.present import BehindError, Trails
from service.settings import Settings
from service.studio import NotYetError
from service.web import accept, database_faults, document, observing, problems
from service.web.nouns import BLUEPRINTS
from service.web.problems import Problem
from service.web.services import Services, Studios, provide, services

_log = logging.getLogger("retake_ledger.web")


def create_app(
    settings: Settings, engine: Engine, studios: Studios, seal_key: bytes | None = None
) -> Flask:
    """The WSGI app that serves the studios; `seal_key` seals their clocks where they are moved."""
    app = bare_app()
    equip(app, settings, engine, studios, seal_key)
    app.after_request(_count_unplanned)
    app.register_error_handler(NotYetError, _not_yet)
    app.register_error_handler(BehindError, _being_built)
    app.register_error_handler(PlanError, _no_plan)
    app.register_error_handler(FrontierError, _unsound)
    database_faults.install(app)
    return app


def equip(
    app: Flask,
    settings: Settings,
    engine: Engine,
    studios: Studios,
    seal_key: bytes | None = None,
) -> None:
    """Give an app what its routes work with."""
    app.config["MAX_CONTENT_LENGTH"] = settings.body_bytes_max
    provide(app, Services(settings, engine, studios, Trails(engine), seal_key))


def _count_unplanned(answer: Response) -> Response:
    with observing.counting():
        observing.metrics().unplanned.set(services().studios.unplanned())
    return answer


def _not_yet(error: NotYetError) -> Response:
    detail = f"The log stands at {error.head}, not yet at {error.position}."
    return Problem("not-yet", detail, headers={"Retry-After": "1"}).respond()


def _being_built(error: BehindError) -> Response:
    detail = f"The trail is built up to position {error.position} of {error.head}; ask again."
    retry_s = max(1, ceil(error.retry_s))
    return Problem("being-built", detail, headers={"Retry-After": str(retry_s)}).respond()


def _no_plan(error: PlanError) -> Response:
    trace = g.get("trace")
    _log.error("%s", error, exc_info=error, extra={"trace": trace})
    where = "" if error.item is None else f" It was met at {error.item}."
    detail = (
        f"A fault keeps plans from being made.{where} The record is whole, and posts are taken."
    )
    return Problem("no-plan", detail, trace=trace, item=error.item).respond()


def _unsound(error: FrontierError) -> Response:
    # the remedy, with the names of commands, is for whoever runs the service: in the log
    trace = g.get("trace")
    _log.error("%s", error, extra={"trace": trace})
    detail = f"At position {error.position}: {error.reason}. Nothing was recorded or signed."
    return Problem("unsound-tree", detail, trace=trace).respond()


def _refuse_doubled_slash() -> None:
    # the router passes over slashes at the beginning: a proxy's rule for an address would not hold
    if request.environ["PATH_INFO"].startswith("//"):
        abort(HTTPStatus.NOT_FOUND)


def bare_app() -> Flask:
    """All routes without the services behind them: enough to describe them."""
    app = Flask("service.web", static_folder=None)
    app.json.sort_keys = False  # type: ignore[attr-defined]  # the default provider has it
    app.url_map.strict_slashes = True
    # an address with a doubled slash is another address, not a redirect
    app.url_map.merge_slashes = False
    observing.install(app)
    app.before_request(_refuse_doubled_slash)
    problems.install(app)
    accept.install(app)
    for blueprint in BLUEPRINTS:
        app.register_blueprint(blueprint)
    app.register_blueprint(document.document_route)
    return app
