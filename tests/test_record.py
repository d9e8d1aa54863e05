"""The write path: dense positions, repeats, all or nothing, personal text aside, the tree."""

import threading
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from hashlib import sha256

import orjson
import pytest
from sqlalchemy import Connection, Engine, text

from service.intake.importing import content_of
from service.log.append import read_head
from service.log.chain import Chain
from service.log.locking import Locked
from service.log.read import bodies, page, personal_at
from service.log.tokens import revoke
from service.production.decide import decide
from service.production.refusal import Code, Refusal
from service.production.state import State
from service.proofs.canonical import canonical, late_whole, splice
from service.proofs.tree import append, leaf_hash, root
from service.record import OpenStudio, Receipt, TokenRevokedError, propose, recorder
from service.record.sealing import seal
from service.vocabulary.event import Event
from service.vocabulary.facts.desks import WorkStarted
from tests import recording
from tests.recording import NAME, fact, post, posted, set_clock, worker
from tests.telling import office_facts
from tests.workers import strikes_of


@pytest.fixture
def studio(engine: Engine) -> OpenStudio:
    recording.make(engine)
    opened = worker(engine)
    posted(opened, office_facts(scenes=3), role="office")
    return opened


def _note(number: int, wording: str = "too fast") -> dict[str, object]:
    return fact(
        "note.given",
        "KESTREL-1/1",
        {"note": f"N{number}", "to": "layout", "text": wording},
        id=f"n{number}",
    )


def test_positions_are_dense_and_the_tree_is_that_of_the_bodies(
    studio: OpenStudio, engine: Engine
) -> None:
    posted(studio, [_note(1), _note(2)])
    with engine.connect() as connection:
        rows = bodies(connection, NAME, 0)
        head = read_head(connection, NAME)
    assert [position for position, _ in rows] == list(range(1, head.position + 1))
    frontier: tuple[bytes, ...] = ()
    for size, (_, body) in enumerate(rows):
        _, frontier = append(frontier, size, leaf_hash(body))
    assert root(frontier) == root(head.frontier)


def test_a_batch_lands_whole_or_not_at_all(studio: OpenStudio, engine: Engine) -> None:
    wrong = fact("work.started", "KESTREL-1/99", {"department": "layout"}, id="w")
    also = fact("work.started", "KESTREL-1/1", {"department": "lighting"}, id="x")
    before = studio.view().position
    answer = post(studio, [_note(1), wrong, also])
    assert isinstance(answer, Refusal)
    assert [(reason.place, reason.code) for reason in answer.reasons] == [
        (1, Code.UNKNOWN),
        (2, Code.NOT_ON_ROUTE),
    ]
    assert studio.view().position == before
    with engine.connect() as connection:
        assert len(bodies(connection, NAME, 0)) == before


def test_a_repeat_gets_its_first_receipt_and_the_rest_lands(studio: OpenStudio) -> None:
    (first,) = posted(studio, [_note(1)])
    again, new, twin = posted(studio, [_note(1), _note(2), _note(2)])
    assert again == first._replace(repeated=True)
    assert (new.position, new.repeated) == (first.position + 1, False)
    assert (twin.position, twin.repeated) == (new.position, True)


def test_other_content_under_the_same_id_is_refused(studio: OpenStudio) -> None:
    posted(studio, [_note(1)])
    for other in (_note(1, wording="too slow"), {**_note(1), "subject": "KESTREL-1/2"}):
        answer = post(studio, [_note(7), other])
        assert isinstance(answer, Refusal)
        assert [(reason.code, reason.place) for reason in answer.reasons] == [(Code.ID_REUSED, 1)]


def test_a_repeat_by_another_worker_is_found_too(studio: OpenStudio, engine: Engine) -> None:
    (first,) = posted(studio, [_note(1)])
    (again,) = posted(worker(engine), [_note(1)])
    assert again == first._replace(repeated=True)


def _priority(number: int, id: str) -> dict[str, object]:
    """A fact that the rules accept as often as it is posted."""
    return fact("priority.set", "KESTREL-1/1", {"priority": number}, id=id)


def test_a_repeat_that_the_rules_would_accept_is_recorded_once(
    studio: OpenStudio, engine: Engine
) -> None:
    (first,) = posted(studio, [_priority(1, "p")])
    posted(studio, [_priority(2, "q")])
    for opened in (studio, worker(engine)):
        again, new = posted(opened, [_priority(1, "p"), _note(opened.view().position)])
        assert again == first._replace(repeated=True)
        assert not new.repeated
    # what was posted first is not recorded again: the later one stands
    assert studio.view().state == worker(engine).view().state
    answer = post(studio, [_note(99), _priority(3, "p")])
    assert isinstance(answer, Refusal)
    assert [(reason.code, reason.place) for reason in answer.reasons] == [(Code.ID_REUSED, 1)]


def test_repeats_among_posts_that_wait_together(studio: OpenStudio, engine: Engine) -> None:
    posted(studio, [_priority(1, "p0")])
    answers: list[tuple[Receipt, ...] | Refusal] = []
    posts = [[_priority(number % 3 + 1, f"p{number % 3}"), _note(number)] for number in range(12)]

    def run(events: list[dict[str, object]]) -> None:
        answers.append(post(studio, events))

    threads = [threading.Thread(target=run, args=(events,)) for events in posts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    receipts = [batch for batch in answers if not isinstance(batch, Refusal)]
    assert len(receipts) == 12
    new = {receipt.id for batch in receipts for receipt in batch if not receipt.repeated}
    assert new == {"p1", "p2", *(f"n{number}" for number in range(12))}
    with engine.connect() as connection:
        ids = [orjson.loads(body)["id"] for _, body in bodies(connection, NAME, 0)]
    assert len(ids) == len(set(ids))
    assert worker(engine).view().state == studio.view().state


def test_personal_text_lies_aside_under_a_salted_commitment(
    studio: OpenStudio, engine: Engine
) -> None:
    (receipt,) = posted(studio, [_note(1, wording="her drawing is upside down")])
    with engine.connect() as connection:
        (stored,) = page(connection, NAME, after=receipt.position - 1, limit=1)
        ((_, personal),) = personal_at(connection, NAME, [receipt.position])
        salt = connection.execute(
            text("SELECT salt FROM personal WHERE position = :at"), {"at": receipt.position}
        ).scalar_one()
    body = orjson.loads(stored.body)
    assert b"upside" not in stored.body
    assert personal == b'{"/data/text":"her drawing is upside down"}'
    assert body["personal"] == sha256(bytes(salt) + personal).hexdigest()


def test_recordedat_is_the_studios_clock_and_the_poster_is_the_server_s(
    studio: OpenStudio, engine: Engine
) -> None:
    set_clock(engine, "2031-03-04T12:30:00Z")
    (receipt,) = posted(studio, [_note(1)])
    with engine.connect() as connection:
        ((_, body),) = bodies(connection, NAME, receipt.position - 1)
    members = orjson.loads(body)
    assert members["recordedat"] == "2031-03-04T12:30:00Z"
    assert members["time"] == recording.OPENED
    assert members["poster"] == "supervisor"
    assert members["position"] == receipt.position


def test_the_future_is_refused_beyond_a_small_skew(studio: OpenStudio) -> None:
    soon = {**_note(1), "time": "2031-03-03T08:00:50Z"}
    later = {**_note(2), "time": "2031-03-03T08:02:00Z"}
    posted(studio, [soon])
    answer = post(studio, [later])
    assert isinstance(answer, Refusal)
    assert answer.reasons[0].code is Code.IN_FUTURE


def test_posts_that_wait_together_are_each_decided_alone(
    studio: OpenStudio, engine: Engine
) -> None:
    answers: dict[int, tuple[Receipt, ...] | Refusal] = {}
    bad = fact("scene.freed", "KESTREL-1/1", id="never")

    def run(number: int) -> None:
        events = [_note(number)] if number % 3 else [_note(number), bad]
        answers[number] = post(studio, events)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(24)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    refused = {number for number, answer in answers.items() if isinstance(answer, Refusal)}
    assert refused == set(range(0, 24, 3))
    positions = sorted(
        receipt.position
        for answer in answers.values()
        if not isinstance(answer, Refusal)
        for receipt in answer
    )
    assert positions == list(range(positions[0], positions[0] + 16))
    assert worker(engine).view().state == studio.view().state


def test_who_posts_beside_a_revoked_token_is_recorded(studio: OpenStudio, engine: Engine) -> None:
    with engine.begin() as connection:
        assert revoke(connection, NAME, "t-office", datetime.now(UTC))
    revoked = recording.token("office")
    with pytest.raises(TokenRevokedError):
        studio.recorder.record(revoked, ())
    outcomes: list[object] = []

    def run(number: int) -> None:
        try:
            role = "office" if number % 2 else "supervisor"
            outcomes.append(post(studio, [_note(number)], role=role))
        except TokenRevokedError as error:
            outcomes.append(error)

    threads = [threading.Thread(target=run, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    refused = [one for one in outcomes if isinstance(one, TokenRevokedError)]
    assert (len(refused), len(outcomes)) == (4, 8)
    with engine.connect() as connection:
        ids = [orjson.loads(body)["id"] for _, body in bodies(connection, NAME, 0)]
    assert {id_ for id_ in ids if id_.startswith("n")} == {"n0", "n2", "n4", "n6"}


def test_a_token_that_is_revoked_while_a_worker_catches_up_posts_no_more(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker that begins may take seconds to fold the log, with the lock in its hands."""
    cold = worker(engine)
    history = cold.warm.history
    lock_log = history.lock_log

    def locking(connection: Connection, token_ids: Iterable[str]) -> Locked:
        locked = lock_log(connection, token_ids)
        assert locked.unrevoked == {"t-supervisor"}
        with engine.begin() as other:
            assert revoke(other, NAME, "t-supervisor", datetime.now(UTC))
        return locked

    monkeypatch.setattr(history, "lock_log", locking)
    with pytest.raises(TokenRevokedError):
        post(cold, [_note(1)])
    with engine.connect() as connection:
        assert read_head(connection, NAME).position == studio.view().position


def test_a_fault_that_one_post_brings_about_is_its_own(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    outcomes: dict[int, object] = {}
    rule, sealed = decide, seal

    def deciding(state: State, events: Sequence[Event], *more: object) -> object:
        if any(event.id == "n3" for event in events):
            raise ZeroDivisionError
        return rule(state, events, *more)  # type: ignore[arg-type]  # passed on

    def sealing(chain: Chain, event: Event, *more: object) -> None:
        if event.id == "n5-b":  # behind another that is in the commit already
            raise ZeroDivisionError
        sealed(chain, event, *more)  # type: ignore[arg-type]  # passed on

    monkeypatch.setattr(recorder, "decide", deciding)
    monkeypatch.setattr(recorder, "seal", sealing)

    def run(number: int) -> None:
        try:
            second = fact(
                "note.given",
                "KESTREL-1/1",
                {"note": f"N{number}-b", "to": "layout", "text": "and"},
                id=f"n{number}-b",
            )
            outcomes[number] = post(studio, [_note(number), second])
        except ZeroDivisionError as error:
            outcomes[number] = error

    threads = [threading.Thread(target=run, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert {number for number, one in outcomes.items() if isinstance(one, Exception)} == {3, 5}
    with engine.connect() as connection:
        ids = {orjson.loads(body)["id"] for _, body in bodies(connection, NAME, 0)}
    assert {id_ for id_ in ids if id_.startswith("n")} == {
        f"n{number}{end}" for number in (0, 1, 2, 4, 6, 7) for end in ("", "-b")
    }
    assert worker(engine).view().state == studio.view().state


def test_a_fault_of_the_database_records_nothing_and_is_raised(
    studio: OpenStudio, engine: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object, **_more: object) -> None:
        raise ConnectionError("the disk is full")

    before = studio.view()
    with monkeypatch.context() as patched:
        patched.setattr("service.log.chain.append_rows", broken)
        with pytest.raises(ConnectionError):
            post(studio, [_note(1)])
    assert studio.view().position == before.position
    assert studio.view().state == before.state
    (receipt,) = posted(studio, [_note(1)])
    assert receipt.position == before.position + 1


def test_a_later_version_of_a_type_stands_in_the_body_and_is_not_content() -> None:
    class Second(WorkStarted):
        VERSION = 2

    members = fact("work.started", "KESTREL-1/1", {"department": "layout"}, id="w")
    first = propose(members, {"/data/mood": "grey"}, WorkStarted("layout"))
    later = propose(members, {"/data/mood": "grey"}, Second("layout"))
    assert b"typeversion" not in b"".join(first.prepared)
    body = orjson.loads(splice(later.prepared, late_whole("position", 1)))
    assert body["typeversion"] == 2
    assert body["data"] == {"department": "layout"}
    assert len(body["personal"]) == 64
    assert later.content_hash == first.content_hash
    raw = canonical(body)
    texts: dict[int, tuple[bytes, Mapping[str, object]]] = {1: (bytes(32), {"/data/mood": "grey"})}
    assert content_of(raw, 1, texts, {}) == first.content_hash


def test_what_may_not_be_struck_is_refused_before_the_past_is_read(
    studio: OpenStudio, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Reading it takes long while the log is locked, and anybody may ask for it."""

    def past(*_: object) -> None:
        raise AssertionError("the past was read")

    struck = fact("event.struck", "studio", {"position": 1, "why": "slip"}, id="strike")
    with monkeypatch.context() as patched:
        patched.setattr(studio.warm.history, "past", past)
        refused = post(studio, [struck], role="desk")
        assert isinstance(refused, Refusal)
        assert [reason.code for reason in refused.reasons] == [Code.FORBIDDEN]
        with pytest.raises(AssertionError, match="was read"):
            post(studio, [struck], role="office")


def test_strikes_are_recorded_before_the_other_facts_of_their_batch(studio: OpenStudio) -> None:
    first, second = posted(studio, [_note(1), _note(2)])
    batch = [_note(3), *strikes_of(second.position), _note(4), *strikes_of(first.position)]
    receipts = posted(studio, batch)
    assert [receipt.id for receipt in receipts] == [event["id"] for event in batch]
    after = [receipt.position - second.position for receipt in receipts]
    assert after == [3, 1, 4, 2]
    again = posted(studio, [_note(5), *batch])
    assert [receipt.repeated for receipt in again] == [False, True, True, True, True]
    assert [receipt.position - second.position for receipt in again] == [5, *after]


def test_what_is_wrong_in_a_batch_with_strikes_is_named_by_its_place(studio: OpenStudio) -> None:
    (first,) = posted(studio, [_note(1)])
    unknown = fact("note.answered", "KESTREL-1/1", {"note": "N9", "text": "?"}, id="answered")
    for batch, places in (
        ([_note(2), unknown, *strikes_of(first.position)], [1]),
        ([_note(2), *strikes_of(first.position + 7), _note(3)], [1]),
        ([unknown, _note(2), *strikes_of(first.position), unknown | {"id": "other"}], [0, 3]),
    ):
        refused = post(studio, batch)
        assert isinstance(refused, Refusal)
        assert [reason.place for reason in refused.reasons] == places
