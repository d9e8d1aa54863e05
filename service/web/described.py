"""What a route says of itself, for the OpenAPI document; kept beside the route's function."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

from flask import current_app, request
from marshmallow import Schema

from service.cached import cached_property
from service.web.answers import Shown

_Route = TypeVar("_Route", bound=Callable[..., Any])
# the struct of an answer, the marshmallow schema of what comes in, or JSON Schema
Shape = type[Shown] | Schema | Mapping[str, Any]
LaneName = Literal["usual", "costly", "probe", "ready"]
"""Whose threads answer a route: of posts and most reads, of what takes long, of the two probes."""


@dataclass(frozen=True)
class Answer:
    """One answer: what it means, its shape by media type, and its headers with their meaning."""

    meaning: str
    media: Mapping[str, Shape] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Description:
    """What a route says of itself.

    `problems` names the types it answers with beside those that every such route has; `body` is
    the shape of what it takes by media type; `tag` is the noun it belongs to; `cautions` are what
    its answers do not say and their reader must know, which they carry with them where they can;
    `lane` names the threads that answer it. `dates` says that they tell dates of the plan made at
    their `now`: they then carry what it supposes of stoppages.
    """

    summary: str
    tag: str
    answers: Mapping[int, Answer]
    query: Schema | None = None
    body: Mapping[str, Shape] = field(default_factory=dict)
    problems: tuple[str, ...] = ()
    details: str = ""
    cautions: tuple[str, ...] = ()
    lane: LaneName = "usual"
    dates: bool = False

    @cached_property
    def media_types(self) -> tuple[str, ...]:
        """What it answers with where all is well; the first where nothing else is asked for."""
        return tuple(dict.fromkeys(type_ for one in self.answers.values() for type_ in one.media))


def describe(
    summary: str,
    *,
    tag: str,
    answers: Mapping[int, Answer],
    query: Schema | None = None,
    body: Mapping[str, Shape] | None = None,
    problems: tuple[str, ...] = (),
    details: str = "",
    cautions: tuple[str, ...] = (),
    lane: LaneName = "usual",
    dates: bool = False,
) -> Callable[[_Route], _Route]:
    """Say what a route does."""
    made = Description(
        summary, tag, answers, query, body or {}, problems, details, cautions, lane, dates
    )

    def keep(route: _Route) -> _Route:
        route.described = made  # type: ignore[attr-defined]  # functions take attributes
        return route

    return keep


def description_of(route: Callable[..., Any]) -> Description | None:
    """What a route said of itself."""
    found = getattr(route, "described", None)
    return found if isinstance(found, Description) else None


def description_here() -> Description | None:
    """What the route that the request is for said of itself; None where there is no such route."""
    if request.endpoint is None:
        return None
    return description_of(current_app.view_functions[request.endpoint])
