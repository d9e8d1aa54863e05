"""What past releases recorded is still read, and still means the same."""

from collections import Counter

import orjson
import pytest

from service.production.decide import retell
from service.production.state import EMPTY
from service.proofs.canonical import canonical
from service.proofs.examining import examine
from service.vocabulary.event import read_event
from service.vocabulary.facts import CATALOGUE
from tests.golden import batches, files

LOG = files.bodies()
HOW = "add a batch at the end of tests/golden/batches.py, then run: python -m tests.golden"


@pytest.mark.parametrize("type_", CATALOGUE)
def test_every_type_occurs_in_the_version_of_this_release(type_: str) -> None:
    events = [orjson.loads(body) for body in LOG]
    versions = {one.get("typeversion", 1) for one in events if one["type"] == type_}
    assert CATALOGUE[type_].VERSION in versions, f"{type_} is not in the golden log: {HOW}"


def test_all_batches_are_in_it() -> None:
    log = [read_event(body) for body in LOG]
    for batch in batches.BATCHES:
        assert batches.is_recorded(batch, log), HOW
    assert max(Counter(batch.name for batch in batches.BATCHES).values()) == 1


@pytest.mark.parametrize("stand", files.stands(), ids=lambda stand: str(stand.position))
def test_it_is_what_was_written_and_folds_to_the_same_state(stand: files.Stand) -> None:
    assert files.stand_of(LOG[: stand.position]) == stand


def test_the_last_stand_is_of_the_whole_log() -> None:
    assert files.stands()[-1].position == len(LOG)


@pytest.mark.parametrize("position", range(1, len(LOG) + 1))
def test_an_event_is_canonical_and_where_it_says(position: int) -> None:
    body = LOG[position - 1]
    assert canonical(orjson.loads(body)) == body
    assert read_event(body).position == position


def test_bodies_have_a_salt_from_a_position_on() -> None:
    record = [(body, b"") for body in LOG]
    assert examine(record).salted_from == 1 + sum(b'"salt":"' not in body for body in LOG) > 90


def test_the_rules_still_accept_it() -> None:
    events = [read_event(body) for body in LOG]
    assert retell(EMPTY, list(files.unstruck(events))).set_aside == ()


def test_personal_text_is_not_in_it() -> None:
    texts = [
        data[name]
        for batch in batches.BATCHES
        for _, _, data in batch.facts
        for name in ("why", "text", "words")
        if name in data
    ]
    assert len(texts) > 10
    whole = b"\n".join(LOG).decode()
    assert not [personal for personal in texts if personal in whole]


@pytest.mark.parametrize("type_", ["scene.retimed", "note.given", "rate.set", "work.started"])
def test_a_digest_tells_when_an_event_is_passed_over(type_: str) -> None:
    events = [read_event(body) for body in LOG]
    left_out = next(event.position for event in reversed(events) if type_ == event.fact.TYPE)
    lacking = retell(EMPTY, [event for event in files.unstruck(events) if
                             event.position != left_out])  # fmt: skip
    assert files.digest(lacking.state) != files.stands()[-1].digest
