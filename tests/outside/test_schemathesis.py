"""The service held against its own OpenAPI document by Schemathesis, which writes the requests.

It makes requests that the document allows and requests that it does not, sends them, and holds
every answer against the document: status, media type, headers, shape; that what is not allowed is
refused, and what is allowed is not; tokens that are left out; methods that are not served.

The same requests at every run. `RETAKE_LEDGER_TESTS_EXAMPLES=300` makes as many for each
operation, and tries every type of event: some minutes, for whoever changed routes or schemas.
"""

import os
import re
from collections.abc import Callable, Iterator
from copy import deepcopy
from dataclasses import dataclass
from typing import Any
from zlib import crc32

import pytest
import requests
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import Case, CheckContext, GenerationMode
from schemathesis.config import SchemathesisConfig
from schemathesis.core.failures import AcceptedNegativeData, Failure, FailureGroup
from schemathesis.core.transport import Response
from schemathesis.openapi.checks import (
    IgnoredAuth,
    JsonSchemaError,
    MissingHeaders,
    RejectedPositiveData,
    UndefinedContentType,
    UndefinedStatusCode,
)
from schemathesis.schemas import BaseSchema
from schemathesis.specs.openapi.checks import positive_data_acceptance

from service.vocabulary.facts import CATALOGUE, Role
from service.web.app import bare_app
from service.web.document import document
from service.web.negotiation import BATCH

from .small_studio import Answering, SmallStudio

EXAMPLES_USUAL = 5
EXAMPLES = int(os.environ.get("RETAKE_LEDGER_TESTS_EXAMPLES", EXAMPLES_USUAL))
# between them they have every kind of member; the schemas of the others are made in the same way
TYPES_USUAL = ("calendar.set", "gate.set", "retake.called", "scene.listed")
THOROUGH = EXAMPLES > EXAMPLES_USUAL
TYPES = tuple(type_ for type_ in CATALOGUE if CATALOGUE[type_].ROLES) if THOROUGH else TYPES_USUAL
ROLES = ("office", "supervisor", "producer", "auditor", "layout")

# names that occur in the story, and instants shortly before its present: half of the requests
# say them, where they are allowed, so that something is there
NAMES = (
    *("KESTREL", "KESTREL-1", "KESTREL-2", "KESTREL-1/1", "KESTREL-1/2", "KESTREL-2/1"),
    *("KESTREL:PIER", "PIER", "1", "2", "R-1", "R-2", "N-2", "studio"),
    *("layout", "animation", "camera", "2031-03-13", "2031-03-14T11:00:00Z"),
)
# what no schema can say of a request, so that one which the document allows may be refused
REFUSALS = {
    "/problems/contradiction": "the record says otherwise: no such scene, started already",
    "/problems/clock-refused": "a clock never goes back, nor more than a year ahead at a time",
    "wrong-cursor": "a cursor is opaque; only the service's own are taken",
    "one-or-the-other": "OpenAPI 3.1 has no words for arguments that exclude each other",
    "in-future": "the present moves",
    "not-a-quantity": "multipleOf 0.0001 means other things to readers that divide doubles",
}


def _with_names(shape: Any) -> Any:
    """The document with our names beside each pattern that some of them match."""
    if isinstance(shape, list):
        return [_with_names(inner) for inner in shape]
    if not isinstance(shape, dict):
        return shape
    pattern = shape.get("pattern")
    if isinstance(pattern, str):
        fitting = [name for name in NAMES if re.search(pattern, name)]
        if 0 < len(fitting) < len(NAMES):
            return {"anyOf": [{"enum": fitting}, shape]}
    kept = ("examples", "propertyNames")
    return {name: inner if name in kept else _with_names(inner) for name, inner in shape.items()}


def _of_types(made: dict[str, Any], types: tuple[str, ...]) -> dict[str, Any]:
    event = made["components"]["schemas"]["Event"]
    mapping = event["discriminator"]["mapping"]
    event["discriminator"]["mapping"] = {type_: mapping[type_] for type_ in types}
    event["oneOf"] = [{"$ref": mapping[type_]} for type_ in types]
    return made


def _posted_alone(made: dict[str, Any]) -> dict[str, Any]:
    """The document without batches: what is wrong with an event is so within one too."""
    made = deepcopy(made)
    for path in ("/events", "/what-if"):
        del made["paths"][path]["post"]["requestBody"]["content"][BATCH]
    return made


def _api(made: dict[str, Any], *phases: str, tokens: bool = False) -> BaseSchema:
    """The document to make requests of; `tokens` says whether wrong tokens are tried as well."""
    api = schemathesis.openapi.from_dict(made, config=SchemathesisConfig(seed=1))
    # NUL is refused in every text; a pattern on each would tell nobody anything
    api.config.generation.allow_x00 = False
    api.config.generation.with_security_parameters = tokens
    api.config.phases.update(phases=list(phases))
    return api


# from fixtures, so that cases are made in the process that tries them alone; what is tried with
# /what-if is checked like what is posted to /events
COVERED = schemathesis.pytest.from_fixture("covered").exclude(path="/what-if")
FUZZED = schemathesis.pytest.from_fixture("fuzzed")
STEADY = settings(
    max_examples=EXAMPLES,
    derandomize=True,
    database=None,
    suppress_health_check=list(HealthCheck),
)

AnyCase = Case[Any]
Check = Callable[[CheckContext, Response, AnyCase], bool | None]


@dataclass(frozen=True)
class Studios:
    """Two studios in which the story is recorded; in one of them the clock may be moved."""

    studio: SmallStudio
    moved: SmallStudio
    head: int
    session: requests.Session

    def ask(self, case: AnyCase) -> tuple[Response, dict[str, str]]:
        """The answer to a case, and the headers that it was sent with beside its own."""
        secrets = self.moved.secrets if _moves_the_clock(case) else self.studio.secrets
        headers = {"Authorization": f"Bearer {secrets[_holder(case)]}"}
        _stay_within(case, self.head)
        return case.call(self.studio.url, session=self.session, headers=headers), headers


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    """The service's document, with names that occur in the story, and events of some types."""
    return _of_types(_with_names(document(bare_app())), TYPES)


@pytest.fixture(scope="module")
def covered(made: dict[str, Any]) -> BaseSchema:
    return _api(made if THOROUGH else _posted_alone(made), "examples", "coverage", tokens=True)


@pytest.fixture(scope="module")
def fuzzed(made: dict[str, Any]) -> BaseSchema:
    return _api(made, "fuzzing")


@pytest.fixture(scope="module")
def studios(running: Answering) -> Iterator[Studios]:
    studio, moved = (running.studio_of_any_source(name) for name in ("requested", "moved"))
    moved.tell_story()
    with requests.Session() as session:
        session.trust_env = False  # no proxy is looked for at each of thousands of requests
        yield Studios(studio, moved, len(studio.tell_story()), session)


def _moves_the_clock(case: AnyCase) -> bool:
    return bool(case.operation.label == "PUT /clock")


def _holder(case: AnyCase) -> str:
    """Who asks: for one event somebody who may record it, else anybody, the same at each run."""
    if _moves_the_clock(case):
        return "office"
    body: object = case.body
    fact = CATALOGUE.get(str(body.get("type"))) if isinstance(body, dict) else None
    if fact is not None:
        return "supervisor" if Role.SUPERVISOR in fact.ROLES else "office"
    drawn = repr((case.path_parameters, case.query, body))
    return ROLES[crc32(drawn.encode(errors="replace")) % len(ROLES)]


def _stay_within(case: AnyCase, head: int) -> None:
    """Ask for no position beyond the log: that waits, and ends with 503 as the document says."""
    for name in ("min_position", "position"):
        value = str(case.query.get(name, ""))
        if value.isdecimal() and int(value) > head:
            case.query[name] = head


def _refused_with_reason(response: Response) -> bool:
    """Whether it was refused for what no schema can say."""
    if response.status_code not in {400, 409, 422}:
        return False
    problem = response.json()
    codes = {error["code"] for error in problem.get("errors", ())}
    return problem["type"] in REFUSALS or (bool(codes) and codes <= REFUSALS.keys())


def _hold(case: AnyCase, studios: Studios) -> Response:
    response, headers = studios.ask(case)
    excluded: list[Check] = [positive_data_acceptance] if _refused_with_reason(response) else []
    case.validate_response(response, headers=headers, excluded_checks=excluded)
    return response


@STEADY
@COVERED.parametrize()
def test_each_bound_and_each_breach_of_it_is_answered_as_the_document_says(
    case: AnyCase, studios: Studios
) -> None:
    _hold(case, studios)


@STEADY
@FUZZED.parametrize()
def test_anything_is_answered_as_the_document_says(case: AnyCase, studios: Studios) -> None:
    _hold(case, studios)


@pytest.fixture(autouse=True)
def named(request: pytest.FixtureRequest) -> None:
    """Give a test the name that Schemathesis 4.32 reads; pytest 9.2 keeps it elsewhere."""
    request.node._nodeid = request.node.nodeid


def _answer(made: dict[str, Any], path: str) -> dict[str, Any]:
    answer: dict[str, Any] = made["paths"][path]["get"]["responses"]["200"]
    return answer


def _without_status(made: dict[str, Any]) -> None:
    del made["paths"]["/clock"]["get"]["responses"]["200"]


def _of_another_shape(made: dict[str, Any]) -> None:
    made["components"]["schemas"]["ClockShown"]["properties"]["kind"] = {"type": "integer"}


def _of_another_media_type(made: dict[str, Any]) -> None:
    _answer(made, "/clock")["content"] = {"text/html": {}}


def _with_a_promised_header(made: dict[str, Any]) -> None:
    header = {"required": True, "schema": {"type": "string"}}
    _answer(made, "/clock")["headers"] = {"ETag": header}


def _guarded(made: dict[str, Any]) -> None:
    del made["paths"]["/live"]["get"]["security"]


def _with_an_argument(made: dict[str, Any]) -> None:
    argument = {"in": "query", "name": "wait", "schema": {"type": "integer"}, "required": True}
    made["paths"]["/live"]["get"]["parameters"] = [argument]


def _beyond_its_bounds(made: dict[str, Any]) -> None:
    limit = {"in": "query", "name": "limit", "schema": {"type": "integer", "minimum": 1001}}
    made["paths"]["/shows"]["get"]["parameters"] = [limit]


PLANTED: tuple[tuple[str, Callable[[dict[str, Any]], None], type[Failure]], ...] = (
    ("/clock", _without_status, UndefinedStatusCode),
    ("/clock", _of_another_shape, JsonSchemaError),
    ("/clock", _of_another_media_type, UndefinedContentType),
    ("/clock", _with_a_promised_header, MissingHeaders),
    ("/live", _guarded, IgnoredAuth),
    ("/live", _with_an_argument, AcceptedNegativeData),
    ("/shows", _beyond_its_bounds, RejectedPositiveData),
)


@pytest.mark.parametrize(("path", "plant", "wanted"), PLANTED)
def test_what_the_document_says_wrongly_is_found(
    studios: Studios,
    made: dict[str, Any],
    path: str,
    plant: Callable[[dict[str, Any]], None],
    wanted: type[Failure],
) -> None:
    planted = deepcopy(made)
    plant(planted)
    operation = _api(planted)[path]["GET"]
    mode = GenerationMode.NEGATIVE if wanted is AcceptedNegativeData else GenerationMode.POSITIVE
    found: set[type[BaseException]] = set()

    @settings(STEADY, max_examples=10)
    @given(case=operation.as_strategy(generation_mode=mode))
    def hold(case: AnyCase) -> None:
        try:
            _hold(case, studios)
        except FailureGroup as failures:
            found.update(type(failure) for failure in failures.exceptions)

    hold()
    assert found == {wanted}
