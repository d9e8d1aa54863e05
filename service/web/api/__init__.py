"""The routes, by noun. A blueprint that stands in the list is served and documented."""

from flask import Blueprint

from service.web.api.checkpoints import checkpoints
from service.web.api.clock import clock
from service.web.api.departments import departments
from service.web.api.diary import diary
from service.web.api.elements import elements
from service.web.api.episodes import episodes
from service.web.api.events import events
from service.web.api.health import health
from service.web.api.impacts import impacts
from service.web.api.notes import notes
from service.web.api.orders import orders
from service.web.api.proofs import proofs
from service.web.api.quotations import quotations
from service.web.api.rates import rates
from service.web.api.replay import replay
from service.web.api.reports import reports
from service.web.api.retakes import retakes
from service.web.api.scenes import scenes
from service.web.api.shows import shows
from service.web.api.trail import trail
from service.web.api.what_if import what_if

BLUEPRINTS: tuple[Blueprint, ...] = (
    events,
    what_if,
    impacts,
    shows,
    elements,
    rates,
    episodes,
    scenes,
    replay,
    diary,
    trail,
    departments,
    notes,
    retakes,
    reports,
    orders,
    proofs,
    checkpoints,
    quotations,
    clock,
    health,
)
