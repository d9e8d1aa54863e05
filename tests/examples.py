"""Examples of events as the OpenAPI document shows them."""

from typing import Any

from service.web.schemas.examples import example_events


def example_event(type_: str) -> dict[str, Any]:
    """The first example of a type, which is the most usual."""
    return example_events(type_)[0]
