"""Every kind of problem that the service answers with, held against RFC 9457 and what goes with it.

What answers must be is each time the named section's; the words are ours. The pointers of
errors are resolved by the `referencing` package, another implementation of RFC 6901.
"""

import json
import re
import socket
from http import HTTPStatus
from typing import Any
from urllib.parse import quote, urlsplit

import httpx
import pytest
from jsonschema import (  # type: ignore[import-untyped]  # it ships no types
    Draft202012Validator,
    FormatChecker,
)
from referencing import Registry, Specification
from referencing.exceptions import PointerToNowhere

from service.web.app import bare_app
from service.web.document import document
from service.web.problem_types import TYPES

from .problem_requests import BATCH, EVENT, ORDER, WRONG, Answered, Request, all_answers, ask
from .small_studio import Answering, SmallStudio

# RFC 9457, section 3.1 and appendix A: the members, all optional; others are extensions
PROBLEM = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "properties": {
        "type": {"type": "string", "format": "uri-reference"},
        "title": {"type": "string"},
        "status": {"type": "integer", "minimum": 100, "maximum": 599},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri-reference"},
    },
    # section 4: names of extensions begin with a letter and are letters, digits and "_", of
    # three characters or more, so that other formats can hold them
    "propertyNames": {"pattern": "^[A-Za-z][A-Za-z0-9_]{2,}$"},
}


@pytest.fixture(scope="module")
def studio(running: Answering) -> SmallStudio:
    made = running.studio("problems")
    made.tell_story()
    with made.client("supervisor") as ledger:
        ledger.post([ORDER])
    return made


@pytest.fixture(scope="module")
def answers(studio: SmallStudio) -> list[Answered]:
    return all_answers(studio)


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return document(bare_app())


def test_each_kind_of_problem_is_brought_about(answers: list[Answered]) -> None:
    for answered in answers:
        named = answered.problem["type"].removeprefix("/problems/")
        assert named == answered.request.name, (answered.request, answered.answer.text)
    # what is built of so small a log is at once; no accepted log is known of which no plan can be
    # made; quotas are large
    not_given = {"being-built", "bad-request", "no-plan", "too-many-requests", "unsound-tree"}
    assert {answered.request.name for answered in answers} == TYPES.keys() - not_given


def test_each_meets_the_schema_and_says_the_status_it_has(answers: list[Answered]) -> None:
    schema = Draft202012Validator(PROBLEM, format_checker=FormatChecker())
    for answered in answers:
        # section 3: the media type, which has no parameters
        assert answered.answer.headers["Content-Type"] == "application/problem+json"
        schema.validate(answered.problem)
        # section 3.1.2: the same as the status of the answer
        assert answered.problem["status"] == answered.answer.status_code
        # section 3.1.4: what would help to correct it, and no trace of how it came about
        assert answered.problem["detail"].strip()
        assert "Traceback" not in answered.answer.text
        assert 'File "' not in answered.answer.text


def test_a_type_always_has_the_same_title(answers: list[Answered]) -> None:
    # section 3.1.3; and titles that tell types apart
    titles = {(answered.problem["type"], answered.problem["title"]) for answered in answers}
    assert len(titles) == len({type_ for type_, _ in titles}) == len({title for _, title in titles})
    for answered in answers:
        assert answered.problem["title"] not in answered.problem["detail"]


def test_types_are_addresses_with_a_page(studio: SmallStudio, answers: list[Answered]) -> None:
    for type_ in {answered.problem["type"] for answered in answers}:
        # section 3.1.1: a relative reference has the full path, and does not depend on the request
        scheme, authority, path, query, fragment = urlsplit(type_)
        assert (scheme, authority, query, fragment) == ("", "", "", "")
        assert re.fullmatch(r"(?:/[a-z][a-z-]*)+", path)
        page = httpx.get(studio.url + type_)
        assert page.status_code == 200
        shown = page.json()
        assert shown["type"] == type_
        same = {
            (a.problem["title"], a.problem["status"]) for a in answers if a.problem["type"] == type_
        }
        assert same == {(shown["title"], shown["status"])}
        assert len(shown["meaning"]) > 20


def test_each_is_documented_where_it_is_answered(
    made: dict[str, Any], answers: list[Answered]
) -> None:
    for answered in answers:
        operation = _operation(made, answered.request)
        if operation is None:
            # addresses and methods that there are not, described for all of them at once
            assert answered.request.name in {"not-found", "method-not-allowed"}
            continue
        described = operation["responses"][str(answered.problem["status"])]
        assert f"{answered.request.name}: " in described["description"]
        assert described["content"].keys() == {"application/problem+json"}


def _operation(made: dict[str, Any], request: Request) -> dict[str, Any] | None:
    path = request.path.partition("?")[0]
    for template, operations in made["paths"].items():
        pattern = re.sub(r"\\{\w+\\}", "[^/]+", re.escape(template))
        if re.fullmatch(pattern, path) and request.method.lower() in operations:
            found: dict[str, Any] = operations[request.method.lower()]
            return found
    return None


def _resolve(document: object, pointer: str) -> object:
    """What a pointer points to; PointerToNowhere where there is nothing."""
    resource = Specification.OPAQUE.create_resource(document)
    resolver = Registry[Any]().with_resource("", resource).resolver()
    return resolver.lookup("#" + quote(pointer)).contents


def test_the_resolver_of_pointers_does_as_the_examples_say() -> None:
    # RFC 6901, section 5
    document = {"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "m~n": 8, " ": 7}
    examples = {
        "": document,
        "/foo": ["bar", "baz"],
        "/foo/0": "bar",
        "/": 0,
        "/a~1b": 1,
        "/c%d": 2,
    }
    for pointer, value in (examples | {"/m~0n": 8, "/ ": 7}).items():
        assert _resolve(document, pointer) == value
    with pytest.raises(PointerToNowhere):
        _resolve(document, "/foo/2")


def _read(content: bytes) -> object:
    """The document as a lenient reader has it, the last of repeated names standing."""
    try:
        return json.loads(content)
    except ValueError:
        return None


def test_pointers_lead_into_what_was_posted(answers: list[Answered]) -> None:
    seen = 0
    for answered in answers:
        for error in answered.problem.get("errors", ()):
            assert error.keys() == {"pointer", "detail", "code"}
            pointer = error["pointer"]
            if pointer.startswith("?"):
                assert f"{pointer[1:]}=" in urlsplit(answered.request.path).query
                continue
            assert re.fullmatch(r"(?:/(?:[^~/]|~[01])*)*", pointer), pointer  # RFC 6901, section 3
            # why there is no quote lies in the order as it was raised
            no_quote = answered.request.name == "no-quote"
            document = ORDER if no_quote else _read(answered.request.content() or b"")
            if error["code"] == "missing":
                # the member that must be given is not there, and what must have it is
                parent, _, name = pointer.rpartition("/")
                held = _resolve(document, parent)
                assert isinstance(held, dict)
                assert name not in held
            else:
                _resolve(document, pointer)
            seen += 1
    assert seen > 30


def test_a_pointer_with_every_odd_name_leads_back(answers: list[Answered]) -> None:
    (answered,) = [found for found in answers if found.request.body is WRONG]
    pointers = {error["pointer"] for error in answered.problem["errors"]}
    assert {"/data/a~1b", "/data/m~0n/%25", "/data/m~0n//0"} <= pointers


def test_a_refused_token_is_told_how_to_show_one(answers: list[Answered]) -> None:
    challenges: dict[str, list[str]] = {
        name: [] for name in ("no-token", "invalid-token", "insufficient-scope")
    }
    for answered in answers:
        if answered.request.name in challenges:
            challenges[answered.request.name].append(answered.answer.headers["WWW-Authenticate"])
    # RFC 9110, section 11.6.1: 401 has a challenge; RFC 6750, section 3: of the scheme Bearer with
    # at least one attribute; section 3.1: no error code for who showed nothing
    assert all(re.fullmatch(r'Bearer realm="[^"]+"', value) for value in challenges["no-token"])
    assert all('error="invalid_token"' in value for value in challenges["invalid-token"])
    assert all('error="insufficient_scope"' in value for value in challenges["insufficient-scope"])
    assert all(challenges.values())
    assert all(
        "WWW-Authenticate" in answered.answer.headers
        for answered in answers
        if answered.answer.status_code == HTTPStatus.UNAUTHORIZED
    )


def test_a_wrong_method_is_told_the_right_ones(
    studio: SmallStudio, answers: list[Answered]
) -> None:
    for answered in answers:
        if answered.request.name == "method-not-allowed":
            # RFC 9110, section 15.5.6: the methods that are served here
            allowed = answered.answer.headers["Allow"].split(", ")
            assert answered.request.method not in allowed
            for method in ("GET", "HEAD", "PUT", "POST", "DELETE", "OPTIONS", "PATCH"):
                again = ask(studio, Request("", method, answered.request.path, raw=b""))
                assert (again.status_code != 405) is (method in allowed), method


def test_what_is_not_taken_is_told_what_is(answers: list[Answered]) -> None:
    for answered in answers:
        if answered.request.name != "unsupported-media-type":
            continue
        # RFC 9110, section 15.5.16: Accept, or Accept-Encoding where the coding was not taken
        headers = answered.answer.headers
        if "Content-Encoding" in answered.request.headers:
            assert headers["Accept-Encoding"] == "identity"
            assert "Accept" not in headers
        elif answered.request.method == "POST":
            assert headers["Accept"] == headers["Accept-Post"] == f"{EVENT}, {BATCH}"
        else:
            assert headers["Accept"] == "application/json"
            assert "Accept-Post" not in headers


def test_what_can_be_tried_again_says_when(answers: list[Answered]) -> None:
    # RFC 9110, section 10.2.3: seconds
    for answered in answers:
        again = answered.answer.headers.get("Retry-After")
        assert (again is not None) is (answered.answer.status_code == 503)
        assert again is None or int(again) > 0


def test_a_problem_is_not_described_in_an_answer_without_a_body(studio: SmallStudio) -> None:
    # RFC 9110, section 9.3.2
    answer = ask(studio, Request("", "HEAD", "/episodes/KESTREL-99"))
    assert (answer.status_code, answer.content) == (404, b"")
    assert answer.headers["Content-Type"] == "application/problem+json"


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        (b"GET /%s HTTP/1.1\r\nHost: a\r\n\r\n" % (b"a" * 9000), 414),
        (b"GET / HTTP/1.1\r\nHost: a\r\nX-A: %s\r\n\r\n" % (b"a" * 90_000), 431),
        (b"GET / HTTP/1.1\r\nHost: a\r\nX A: 1\r\n\r\n", 400),
        (b"hand me that\r\n\r\n", 400),
        (b"POST /events HTTP/1.1\r\nHost: a\r\nTransfer-Encoding: knot\r\n\r\n", 400),
    ],
    # RFC 9112, section 3: 8,000 octets of a request line at least; section 6.3 for the coding
    ids=["address", "fields", "name of a field", "request line", "coding"],
)
def test_what_the_server_refuses_by_itself_is_a_problem_too(
    studio: SmallStudio, sent: bytes, status: int
) -> None:
    place = urlsplit(studio.url)
    with socket.create_connection((place.hostname, place.port), timeout=60) as connection:
        connection.sendall(sent)
        with connection.makefile("rb") as reader:
            first, _, rest = reader.read().partition(b"\r\n")
    assert first.startswith(b"HTTP/1.1 %d " % status)
    head, _, body = rest.partition(b"\r\n\r\n")
    assert b"content-type: application/problem+json" in head.lower()
    problem = json.loads(body)
    Draft202012Validator(PROBLEM).validate(problem)
    # section 4.2.1: nothing more than the status, and its recommended phrase
    assert problem["type"] == "about:blank"
    assert (problem["title"], problem["status"]) == (HTTPStatus(status).phrase, status)
