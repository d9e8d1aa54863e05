"""The routes, by noun. A blueprint that stands in the list is served and documented."""

from flask import Blueprint

from service.web.api.clock import clock
from service.web.api.events import events
from service.web.api.health import health

BLUEPRINTS: tuple[Blueprint, ...] = (events, clock, health)
