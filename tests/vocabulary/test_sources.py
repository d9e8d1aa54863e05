"""Which sources a prefix owns, and which prefixes a token may own."""

import pytest

from service.vocabulary.sources import owns, prefix_fault


@pytest.mark.parametrize(
    ("source", "owned"),
    [
        ("/desks/layout", True),
        ("/desks/layout/plates", True),
        ("/desks/layout/plates?page=" + "../" + "1", True),
        ("/desks/layout/", True),
        ("/desks/layout/v1.2/..a", True),
        ("/desks/layout-night", False),
        ("/desks/layout2", False),
        ("/desks/layout%2Fnight", False),
        ("/desks/layout?night", False),
        ("/desks/layout#night", False),
        ("/desks/layou", False),
        ("/desks/camera", False),
        ("/desks/layout/../camera", False),
        ("/desks/layout/..", False),
        ("/desks/layout/./plates", False),
        ("/desks/layout/%2E%2e/camera", False),
        ("/desks/layout/.%2e?x", False),
        ("/desks/layout/..%2Fcamera", False),
        ("/desks/layout/..;/camera", False),
        ("/desks/layout/..\\camera", False),
        ("/desks/layout/a%2f..%2fcamera", False),
        ("/desks/layout/a..;b", True),
        ("", False),
    ],
)
def test_a_prefix_owns_itself_and_what_lies_beneath(source: str, owned: bool) -> None:
    assert owns("/desks/layout", source) is owned


@pytest.mark.parametrize("prefix", ["/", "//lantern/", ""])
def test_prefixes_that_earlier_releases_took_own_what_they_owned(prefix: str) -> None:
    assert owns(prefix, "//lantern/layout")
    assert not owns(prefix, "//lantern/layout/../camera")


@pytest.mark.parametrize(
    "prefix",
    ["/office", "/desks/layout", "//desks.example.com:80/layout", "//lantern", "urn:desks:layout",
     "https://example.com/desks", "desks", "/desks/v1.2", "/desks/..a"],
)  # fmt: skip
def test_a_prefix_that_a_token_may_own(prefix: str) -> None:
    assert prefix_fault(prefix) is None


@pytest.mark.parametrize(
    ("prefix", "word"),
    [
        ("", "such as /desks/layout"),
        ("/", "slash at its end"),
        ("/desks/", "slash at its end"),
        ("//lantern/", "slash at its end"),
        ("/desks/../office", "segments . and .."),
        ("/desks/.", "segments . and .."),
        ("/desks/%2e%2E/office", "segments . and .."),
        ("..", "segments . and .."),
        ("/desks//layout", "empty segments"),
        ("///layout", "empty segments"),
        ("/desks/layout?night", "query"),
        ("/desks/layout#1", "fragment"),
        ("/desks/a b", "RFC 3986"),
        ("/desks/%zz", "RFC 3986"),
        ("/desks/layout\n", "RFC 3986"),
        ("/" + "d" * 200, "200 characters"),
    ],
)
def test_a_prefix_that_no_token_may_own_says_what_to_write(prefix: str, word: str) -> None:
    fault = prefix_fault(prefix)
    assert fault is not None
    assert word in fault
