"""Proofs over HTTP, checked by the verifiers alone."""

from base64 import b64decode
from typing import Any

import pytest

from service.proofs.canonical import commitment
from service.proofs.paths import proves_consistency, proves_inclusion
from service.proofs.tree import leaf_hash

from ..conftest import Clients
from .test_events import note, post, refused

EVENTS = 11


@pytest.fixture
def recorded(client_of: Clients) -> Clients:
    assert post(client_of, [note(f"n{number}") for number in range(EVENTS)]).status_code == 201
    return client_of


def octets(proof: dict[str, Any], name: str) -> bytes:
    return b64decode(proof[name])


def hashes(proof: dict[str, Any]) -> list[bytes]:
    return [b64decode(found) for found in proof["hashes"]]


def test_every_event_is_proved_at_every_size(recorded: Clients) -> None:
    client = recorded("auditor")
    for size in range(1, EVENTS + 1):
        for position in range(1, size + 1):
            proof = client.get(f"/proofs/inclusion?position={position}&size={size}").get_json()
            assert (proof["position"], proof["leaf_index"]) == (position, position - 1)
            body = recorded("auditor").get(f"/events/{position}/recorded").get_data()
            assert octets(proof, "leaf") == leaf_hash(body)
            assert proves_inclusion(
                leaf_hash(body), position - 1, size, hashes(proof), octets(proof, "root")
            )


def test_every_older_record_is_proved(recorded: Clients) -> None:
    client = recorded("auditor")
    for new in range(1, EVENTS + 1):
        for old in range(1, new + 1):
            proof = client.get(f"/proofs/consistency?from={old}&to={new}").get_json()
            assert (proof["from"], proof["to"]) == (old, new)
            roots = octets(proof, "from_root"), octets(proof, "to_root")
            assert proves_consistency(old, new, *roots, hashes(proof))


def test_without_a_size_all_that_is_recorded_counts(recorded: Clients) -> None:
    client = recorded("auditor")
    assert client.get("/proofs/inclusion?position=3").get_json()["size"] == EVENTS
    assert client.get("/proofs/consistency?from=3").get_json()["to"] == EVENTS


@pytest.mark.parametrize(
    ("path", "errors"),
    [
        ("/proofs/inclusion", [("?position", "missing")]),
        ("/proofs/inclusion?position=0", [("?position", "not-a-whole")]),
        ("/proofs/inclusion?position=12", [("?position", "beyond-the-log")]),
        ("/proofs/inclusion?position=1&size=12", [("?size", "beyond-the-log")]),
        ("/proofs/inclusion?position=5&size=4", [("?position", "beyond-the-log")]),
        ("/proofs/inclusion?position=1&size=0", [("?size", "not-a-whole")]),
        ("/proofs/consistency?from=0", [("?from", "not-a-whole")]),
        ("/proofs/consistency?from=5&to=4", [("?from", "beyond-the-log")]),
        ("/proofs/consistency?from=5&to=12", [("?to", "beyond-the-log")]),
        ("/proofs/consistency?from=9007199254740992", [("?from", "not-a-whole")]),
    ],
)
def test_what_cannot_be_proved(recorded: Clients, path: str, errors: list[tuple[str, str]]) -> None:
    beyond = errors[0][1] == "beyond-the-log"
    problem = (404, "not-found") if beyond else (400, "invalid-query")
    assert refused(recorded("auditor").get(path), *problem) == errors


def test_of_an_empty_record_nothing_is_proved(client_of: Clients) -> None:
    answer = client_of("auditor").get("/proofs/inclusion?position=1")
    assert refused(answer, 404, "not-found") == [("?position", "beyond-the-log")]


def test_recorded_bytes_hold_a_commitment_and_no_text(recorded: Clients) -> None:
    body = recorded("auditor").get("/events/1/recorded").get_json()
    assert "text" not in body["data"]
    assert body["personal"]
    for path in ("/events/1/recorded", "/proofs/inclusion?position=1"):
        assert refused(recorded("layout").get(path), 403, "insufficient-scope") == []
    assert refused(recorded("auditor").get("/events/12/recorded"), 404, "not-found") == []


def test_personal_text_is_given_with_its_salt_to_those_who_may_read_all(recorded: Clients) -> None:
    shown = recorded("auditor").get("/events/1/personal").get_json()
    body = recorded("auditor").get("/events/1/recorded").get_json()
    assert list(shown["personal"]) == ["/data/text"]
    assert commitment(bytes.fromhex(shown["salt"]), shown["personal"]) == body["personal"]
    assert refused(recorded("layout").get("/events/1/personal"), 403, "insufficient-scope") == []
    for position in (0, 12, 2**60):
        path = f"/events/{position}/personal"
        assert refused(recorded("auditor").get(path), 404, "not-found") == []
