"""What may be recorded, noun by noun: the check, the effect and the sentence of each type of fact.

A module here has its types in `RULES`. `RULES` of the package are those of all modules.
"""

from importlib import import_module
from pkgutil import iter_modules

from service.production.nouns.rule import Rule
from service.vocabulary.event import Event

RULES: dict[str, Rule] = {
    type_: rule
    for module in iter_modules(__path__)
    for type_, rule in getattr(import_module(f"{__name__}.{module.name}"), "RULES", {}).items()
}
"""The rule of every type of fact."""


def sentence(event: Event) -> str:
    """What a recorded event says, in plain English; nothing that people wrote is in it."""
    sentence = RULES[event.fact.TYPE].say(event, event.fact)
    return sentence[0].upper() + sentence[1:]
