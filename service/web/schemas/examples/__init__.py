"""Examples of every type of event, for the OpenAPI document: one story, told in its order.

The show LANTERN is invented. A studio in which the story's other facts are recorded accepts each
example as it stands, from the role whose source it has; a test prepares such a studio. Between
them the examples of a type have all its members.
"""

from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from service.web.schemas.examples import calls, floor, office, orders
from service.web.schemas.examples.shape import Example

STORY: tuple[Example, ...] = (*office.EXAMPLES, *floor.EXAMPLES, *calls.EXAMPLES, *orders.EXAMPLES)


def _by_type() -> Mapping[str, tuple[dict[str, Any], ...]]:
    found: dict[str, list[dict[str, Any]]] = {}
    for example in STORY:
        earlier = found.setdefault(example.type, [])
        number = f"-{len(earlier) + 1}" if earlier else ""
        earlier.append(
            {
                "specversion": "1.0",
                "id": f"example-{example.type}{number}",
                "source": example.source,
                "type": example.type,
                "subject": example.subject,
                "time": example.time,
                "data": example.data,
            }
        )
    return {type_: tuple(events) for type_, events in found.items()}


_EVENTS = _by_type()


def example_events(type_: str) -> list[dict[str, Any]]:
    """The examples of a type as complete events, the most usual first; the caller's to change."""
    return [deepcopy(event) for event in _EVENTS[type_]]
