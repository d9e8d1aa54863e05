"""One frozen dataclass per fact, by who records it, and the catalogue of all of them."""

from service.vocabulary.facts import (
    approval,
    desks,
    office,
    orders,
    rates,
    record,
    retakes,
    routes,
    supervision,
    talk,
)
from service.vocabulary.facts.base import Fact, Role

__all__ = ["CATALOGUE", "Fact", "Role"]

CATALOGUE: dict[str, type[Fact]] = {
    fact.TYPE: fact
    for module in (
        routes,
        office,
        rates,
        desks,
        supervision,
        talk,
        approval,
        retakes,
        orders,
        record,
    )
    for fact in vars(module).values()
    if isinstance(fact, type) and issubclass(fact, Fact) and fact.__module__ == module.__name__
}
"""Every fact by the type of its events."""
