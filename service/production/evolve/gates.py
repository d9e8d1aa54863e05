"""What a date that an episode must meet changes, and what is odd about it."""

from collections.abc import Mapping
from datetime import date

from service.production.evolve.marking import add_mark
from service.production.evolve.oddities import is_past
from service.production.marks import DATE_PAST, GATES_OUT_OF_ORDER, HARD_DATE_MOVED
from service.production.state import Draft, Episode, Gate
from service.vocabulary.event import Event
from service.vocabulary.facts.office import GateSet

_RANKS = {"rough-cut": 0, "lock": 1, "retake-cut-off": 1, "delivery": 2, "air": 3}
"""The order in which gates are met; shows differ in whether the lock or the cut-off comes first."""


def gate_set(draft: Draft, event: Event, fact: GateSet) -> None:
    """A date an episode must meet; what is odd about it is flagged."""
    episode = draft.episodes[event.subject]
    before = episode.gate(fact.gate)
    was_hard = before is not None and before.hard
    gate = Gate(fact.due_on, was_hard if fact.hard is None else fact.hard)
    gates = dict(episode.gates) | {fact.gate: gate}
    if moves_hard_date(episode, fact):
        add_mark(draft, event.position, HARD_DATE_MOVED)
    if is_past(draft, fact.due_on, event):
        add_mark(draft, event.position, DATE_PAST)
    if not _in_order({name: one.due_on for name, one in gates.items()}, fact.gate):
        add_mark(draft, event.position, GATES_OUT_OF_ORDER)
    draft.episodes[event.subject] = episode._replace(gates=tuple(gates.items()))


def moves_hard_date(episode: Episode, fact: GateSet) -> bool:
    """Whether a hard date of an episode would become another, or soft."""
    gate = episode.gate(fact.gate)
    if gate is None or not gate.hard:
        return False
    return gate.due_on != fact.due_on or fact.hard is False


def _in_order(dates: Mapping[str, date], gate: str) -> bool:
    """Whether no gate before this one has a later date, and none behind it an earlier one."""
    before = [on for name, on in dates.items() if _RANKS[name] < _RANKS[gate]]
    behind = [on for name, on in dates.items() if _RANKS[name] > _RANKS[gate]]
    return max(before, default=dates[gate]) <= dates[gate] <= min(behind, default=dates[gate])
