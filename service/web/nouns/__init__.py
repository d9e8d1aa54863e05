"""The routes, by noun. A blueprint that stands in the list is served and documented."""

from flask import Blueprint

from service.web.nouns.checkpoints.routes import checkpoints
from service.web.nouns.clock.routes import clock
from service.web.nouns.departments.routes import departments
from service.web.nouns.diary.routes import diary
from service.web.nouns.elements.routes import elements
from service.web.nouns.episodes.routes import episodes
from service.web.nouns.events.routes import events
from service.web.nouns.health.routes import health
from service.web.nouns.impacts.routes import impacts
from service.web.nouns.notes.routes import notes
from service.web.nouns.orders.routes import orders
from service.web.nouns.proofs.routes import proofs
from service.web.nouns.quotations.routes import quotations
from service.web.nouns.rates.routes import rates
from service.web.nouns.replay.routes import replay
from service.web.nouns.reports.routes import reports
from service.web.nouns.retakes.routes import retakes
from service.web.nouns.scenes.routes import scenes
from service.web.nouns.shows.routes import shows
from service.web.nouns.trail.routes import trail
from service.web.nouns.what_if.routes import what_if

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
