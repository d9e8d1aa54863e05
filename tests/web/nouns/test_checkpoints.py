"""Checkpoints over HTTP, and the signatures of others below them."""

from pathlib import Path
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from flask import Flask
from sqlalchemy import Engine, text
from sqlalchemy.exc import DBAPIError

from service.keys import ensure_keys, rotate
from service.log.checkpoints import COSIGNATURES_MAX
from service.proofs.checkpoints import read_checkpoint
from service.proofs.notes import (
    COSIGNATURE,
    Key,
    Note,
    public_key,
    read_key,
    read_note,
    sign,
    signers,
)
from service.proofs.tree import root
from tests.proofs.witness import cosign

from ..conftest import Clients, TokenClient
from ..fakes import PlainRecorder, plain_app
from .test_events import note, post, refused

ORIGIN = "retake-ledger.invalid/lantern"
WITNESS = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
PLAIN = public_key("witness.example/w", WITNESS)
TIMED = public_key("witness.example/w", WITNESS, COSIGNATURE)


@pytest.fixture
def keys(tmp_path: Path) -> Path:
    ensure_keys(tmp_path / "keys")
    return tmp_path / "keys"


@pytest.fixture
def app(recorder: PlainRecorder, keys: Path) -> Flask:
    made = plain_app(recorder, keys)
    made.test_client_class = TokenClient
    return made


def test_a_wrong_tree_is_not_signed(client_of: Clients, engine: Engine) -> None:
    post(client_of, note())
    with engine.begin() as connection:
        connection.execute(text("UPDATE head SET frontier = sha256(frontier)"))
    answer = client_of("auditor").get("/checkpoints/latest")
    assert answer.status_code == 503
    assert answer.get_json()["type"] == "/problems/unsound-tree"
    assert "At position 1: the tree's frontier in the head" in answer.get_json()["detail"]
    assert client_of("auditor").get("/checkpoints").get_json()["items"] == []


def latest(client_of: Clients, who: str = "auditor") -> Note:
    answer = client_of(who).get("/checkpoints/latest")
    assert (answer.status_code, answer.mimetype) == (200, "text/plain")
    return read_note(answer.get_data(as_text=True))


def own_keys(client_of: Clients) -> list[Key]:
    body = client_of("auditor").get("/checkpoints/keys").get_json()
    assert body["origin"] == ORIGIN
    assert [key["signs"] for key in body["keys"]] == [True, *[False] * (len(body["keys"]) - 1)]
    return [read_key(key["key"]) for key in body["keys"]]


def cosigned(client_of: Clients, size: int, body: dict[str, Any], who: str = "auditor") -> Any:
    return client_of(who).post(f"/checkpoints/{size}/cosignatures", json=body)


def test_an_empty_record_has_a_checkpoint(client_of: Clients) -> None:
    note_ = latest(client_of)
    assert read_checkpoint(note_.text) == (ORIGIN, 0, root(()))
    assert signers(note_, tuple(own_keys(client_of))) == tuple(own_keys(client_of))


def test_the_latest_covers_all_that_is_recorded_and_past_ones_stay(client_of: Clients) -> None:
    post(client_of, [note("n1"), note("n2")])
    first = latest(client_of)
    post(client_of, note("n3"))
    second = latest(client_of)
    assert latest(client_of, "layout") == second
    assert [read_checkpoint(one.text).size for one in (first, second)] == [2, 3]
    past = client_of("auditor").get("/checkpoints/2").get_data(as_text=True)
    assert read_note(past) == first
    roots = client_of("auditor").get("/proofs/consistency?from=2&to=3").get_json()
    assert first.text.split("\n")[2] == roots["from_root"]
    assert second.text.split("\n")[2] == roots["to_root"]
    for never in (1, 9, 2**70):
        refused(client_of("auditor").get(f"/checkpoints/{never}"), 404, "not-found")


def test_they_are_listed_in_pages(client_of: Clients) -> None:
    for number in range(5):
        post(client_of, note(f"n{number}"))
        latest(client_of)
    first = client_of("auditor").get("/checkpoints?limit=3")
    assert [item["size"] for item in first.get_json()["items"]] == [5, 4, 3]
    link = first.headers["Link"].partition(">")[0][1:]
    last = client_of("auditor").get(link)
    assert [item["size"] for item in last.get_json()["items"]] == [2, 1]
    assert "Link" not in last.headers


def test_a_new_key_signs_and_the_old_one_is_still_known(client_of: Clients, keys: Path) -> None:
    post(client_of, note())
    before, (old,) = latest(client_of), own_keys(client_of)
    rotate(keys)
    after, (new, past) = latest(client_of), own_keys(client_of)
    assert past == old
    assert new != old
    assert before.text == after.text
    assert set(signers(after, (old, new))) == {old, new}


@pytest.mark.parametrize("key", [PLAIN, TIMED], ids=["plain", "with the time"])
def test_the_signature_of_a_witness_is_kept(client_of: Clients, key: Key) -> None:
    post(client_of, note())
    signed = latest(client_of)
    if key is TIMED:
        signature = cosign(signed.text, key.name, WITNESS, 1_930_000_000)
    else:
        signature = sign(signed.text, key.name, WITNESS)
    body = {"key": str(key), "signature": str(signature)}
    answer = cosigned(client_of, 1, body)
    assert answer.status_code == 201
    assert cosigned(client_of, 1, body, "producer").status_code == 200
    assert signers(read_note(answer.get_data(as_text=True)), (key,)) == (key,)
    assert signers(latest(client_of), (key, *own_keys(client_of))) == (key, *own_keys(client_of))
    (item,) = client_of("auditor").get("/checkpoints").get_json()["items"]
    assert item["cosigned_by"] == [str(key)]


def test_what_is_not_a_signature_of_it_is_refused(client_of: Clients) -> None:
    post(client_of, note())
    signed = latest(client_of)
    good = str(sign(signed.text, PLAIN.name, WITNESS))
    other = str(sign(signed.text + "x", PLAIN.name, WITNESS))
    for body, errors in (
        ({"key": str(PLAIN), "signature": other}, [("/signature", "wrong-signature")]),
        ({"key": str(TIMED), "signature": good}, [("/signature", "wrong-signature")]),
        ({"key": str(PLAIN), "signature": "good"}, [("/signature", "wrong-form")]),
        ({"key": "PLAIN", "signature": good}, [("/key", "wrong-form")]),
        ({"key": str(PLAIN)}, [("/signature", "missing")]),
        ({"key": 1, "signature": good}, [("/key", "not-text")]),
    ):
        assert refused(cosigned(client_of, 1, body), 422, "invalid-event") == errors
    body = {"key": str(PLAIN), "signature": good}
    refused(cosigned(client_of, 7, body), 404, "not-found")
    refused(cosigned(client_of, 1, body, "layout"), 403, "insufficient-scope")


def test_a_checkpoint_keeps_a_limited_number_of_cosignatures(client_of: Clients) -> None:
    post(client_of, note())
    signed = latest(client_of)
    for number in range(COSIGNATURES_MAX + 1):
        fits = number < COSIGNATURES_MAX
        name = f"witness.example/{number}"
        key, signature = public_key(name, WITNESS), sign(signed.text, name, WITNESS)
        body = {"key": str(key), "signature": str(signature)}
        assert cosigned(client_of, 1, body).status_code == (201 if fits else 422)
        # one that is kept may be posted again; one too many is refused the second time as well
        assert cosigned(client_of, 1, body).status_code == (200 if fits else 422)


def test_without_a_key_the_service_says_so(client_of: Clients, keys: Path) -> None:
    for path in keys.iterdir():
        path.unlink()
    refused(client_of("auditor").get("/checkpoints/latest"), 503, "unavailable")


@pytest.mark.parametrize("table", ["checkpoint", "cosignature"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET size = 9", "TRUNCATE {}"])
def test_the_service_cannot_change_what_was_signed(
    engine: Engine, table: str, statement: str
) -> None:
    with pytest.raises(DBAPIError, match="permission denied"), engine.begin() as connection:
        connection.execute(text(statement.format(table)))
