"""What an answer comes as: `Accept` is held against the media types of each route, once for all.

RFC 9110, section 12.5.1. Problems leave as `application/problem+json` whatever is accepted.
"""

from collections.abc import Sequence
from urllib.parse import quote

from flask import Flask, Response, g, request
from werkzeug.http import parse_list_header, parse_options_header

from service.web.described import description_here
from service.web.problems import ProblemError

_UTF_8 = frozenset({"utf-8", "utf8"})


def install(app: Flask) -> None:
    """Choose the media type of every answer before its route is called."""
    app.before_request(_choose)
    app.after_request(_say_what_it_depends_on)


def answered_type() -> str:
    """The media type to answer with, one of those that the route described."""
    chosen: str = g.media_type
    return chosen


def best_of(given: Sequence[str], accept: str) -> str | None:
    """Which of the media types given an `Accept` header likes best, the first among equals.

    None where it takes none of them. A header that lists nothing takes any: empty elements of a
    list count for nothing (RFC 9110, section 5.6.1.2).
    """
    if not accept.strip(" \t,"):
        return given[0]
    ranges = list(_ranges(accept))
    best = max(given, key=lambda media_type: _quality(media_type, ranges))
    return best if _quality(best, ranges) > 0 else None


def _ranges(accept: str) -> list[tuple[str, float]]:
    """The media ranges of a header in lower case, each with its weight.

    A weight that is none is passed over with its range. Each type is given in one form only, so
    of parameters only the charset can tell it apart.
    """
    ranges = []
    for part in parse_list_header(accept):
        name, options = parse_options_header(part)
        try:
            weight = float(options.get("q", "1"))
        except ValueError:
            continue
        if 0 <= weight <= 1 and options.get("charset", "utf-8").lower() in _UTF_8:
            ranges.append(("*/*" if name == "*" else name.lower(), weight))
    return ranges


def _quality(media_type: str, ranges: Sequence[tuple[str, float]]) -> float:
    """The weight that the most exact range gives a media type; 0 where none has it."""
    exactness = {"*/*": 0, media_type.partition("/")[0] + "/*": 1, media_type: 2}
    found = [(exactness[name], weight) for name, weight in ranges if name in exactness]
    return max(found)[1] if found else 0.0


def _given() -> tuple[str, ...]:
    """What the route that was asked for gives; nothing where there is no such route."""
    description = None if request.method == "OPTIONS" else description_here()
    return () if description is None else description.media_types


def _choose() -> None:
    """Raises ProblemError (406) where nothing that the route gives is accepted."""
    given = _given()
    if not given:
        return
    chosen = best_of(given, request.headers.get("Accept", ""))
    if chosen is None:
        detail = f"Given here: {', '.join(given)}. Ask for one of them, or for anything (*/*)."
        path = quote(request.path)
        links = (f'<{path}>; rel="alternate"; type="{media_type}"' for media_type in given)
        raise ProblemError("not-acceptable", detail, headers={"Link": ", ".join(links)})
    g.media_type = chosen


def _say_what_it_depends_on(answer: Response) -> Response:
    if len(_given()) > 1 or answer.status_code == 406:
        answer.vary.add("Accept")
    return answer
