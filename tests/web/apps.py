"""Apps for tests, whose routes are made once in a process: that is most of what an app costs."""

from collections import defaultdict
from copy import copy
from functools import cache
from pathlib import Path

from flask import Flask
from sqlalchemy import Engine, create_engine

from service.record import Studios as OpenedStudios
from service.settings import Settings
from service.web import observing
from service.web.app import create_app, equip
from service.web.services import Studios


def app_on(
    settings: Settings, engine: Engine, studios: Studios, seal_key: bytes | None = None
) -> Flask:
    """What `create_app` makes, on the routes of an app that was made before.

    What is called before and after each request is its own; routes and what answers errors are not.
    """
    app = copy(_first_app())
    app.config, app.extensions = copy(app.config), dict(app.extensions)
    for hooks in ("before_request_funcs", "after_request_funcs", "teardown_request_funcs"):
        of_all = getattr(app, hooks)
        setattr(app, hooks, defaultdict(list, {name: [*own] for name, own in of_all.items()}))
    observing.count_from_zero(app)
    equip(app, settings, engine, studios, seal_key)
    return app


@cache
def _first_app() -> Flask:
    engine = create_engine("postgresql+psycopg://")  # nobody connects
    return create_app(Settings(None, None, Path("/nowhere")), engine, OpenedStudios(engine))
