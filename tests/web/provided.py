"""What an app works with, altered for a test."""

from dataclasses import replace
from typing import Any

from flask import Flask

from service.web.services import provide, services


def provide_with(app: Flask, **changed: Any) -> None:
    """Let an app go on with other services or limits than it has, named as in `Services`."""
    with app.app_context():
        provide(app, replace(services(), **changed))
