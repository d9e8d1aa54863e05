"""Which sources belong to a prefix: a token posts under its own and under nothing else.

A source is a URI reference (RFC 3986). A prefix owns itself and what lies beneath it, segment by
segment: `/desks/layout` owns `/desks/layout/plates`, not `/desks/layout-night`.
"""

import re

PREFIX_CHARS_MAX = 200
"""A source has at most 256 characters, so that some are left for what lies beneath."""

_SEGMENT = r"(?:[A-Za-z0-9._~!$&'()*+,;=:@-]|%[0-9A-Fa-f]{2})+"
_PREFIX = re.compile(rf"(?:[A-Za-z][A-Za-z0-9+.-]*:)?/{{0,2}}{_SEGMENT}(?:/{_SEGMENT})*")
# readers differ over what ends a segment: an encoded slash, a backslash, a path parameter
_END, _DOT = r"(?:/|;|\\|%2f|%3b|%5c)", r"(?:\.|%2e)"
_DOT_SEGMENT = re.compile(
    rf"(?:^|[/:]|\\|%2f|%5c){_DOT}{{1,2}}(?={_END}|$)", re.IGNORECASE | re.ASCII
)


def owns(prefix: str, source: str) -> bool:
    """Whether a source is a prefix or lies beneath it.

    One with a dot segment lies nowhere for certain: whoever resolves it (RFC 3986, section 5.2.4)
    comes out elsewhere. A prefix that ends with a slash, as earlier releases took them, owns what
    begins with it; the empty one owns everything.
    """
    if not source.startswith(prefix) or has_dot_segment(source):
        return False
    rest = source[len(prefix) :]
    return not rest or not prefix or prefix.endswith("/") or rest.startswith("/")


def has_dot_segment(source: str) -> bool:
    """Whether a segment of a URI reference's path is one or two dots, percent-encoded or not."""
    path = re.split("[?#]", source, maxsplit=1)[0]
    return _DOT_SEGMENT.search(path) is not None


def prefix_fault(prefix: str) -> str | None:
    """Why no token may own a prefix, and what to write instead; None where one may."""
    if not prefix:
        return "write the source that it owns, such as /desks/layout"
    if len(prefix) > PREFIX_CHARS_MAX:
        return f"write at most {PREFIX_CHARS_MAX} characters"
    if prefix.endswith("/"):
        return "leave out the slash at its end: what lies beneath is owned anyway"
    if has_dot_segment(prefix):
        return "write it without the segments . and .."
    if _PREFIX.fullmatch(prefix) is None:
        return (
            "write a URI reference (RFC 3986) without query, fragment and empty segments, such as "
            "/desks/layout or //desks.example.com/layout"
        )
    return None
