"""Appending: the head, repeats, and many writers at once."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from hashlib import sha256
from multiprocessing import get_context

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError, OperationalError

from service.log.append import (
    Head,
    HeadMovedError,
    Recorded,
    UnknownStudioError,
    append_rows,
    find_recorded,
    lock_head,
    read_head,
)
from service.log.read import bodies
from service.log.studios import make_studio
from service.proofs.tree import Frontier, append, leaf_hash, unpack
from tests.conftest import Database
from tests.log.recording import (
    COMMITS,
    MINUTE_US,
    START_US,
    STUDIO,
    append_many,
    make_row,
    record,
)

WRITERS = 6


def test_a_new_studio_stands_at_nothing(studio: Engine) -> None:
    with studio.begin() as connection:
        expected = Head(0, START_US, (), START_US)
        assert lock_head(connection, STUDIO) == expected
        assert read_head(connection, STUDIO) == expected


def test_a_studio_that_was_never_made_is_named(engine: Engine) -> None:
    with engine.begin() as connection:
        with pytest.raises(UnknownStudioError, match="south"):
            lock_head(connection, "south")
        with pytest.raises(UnknownStudioError, match="south"):
            read_head(connection, "south")


def test_rows_move_the_head_and_keep_every_column(studio: Engine) -> None:
    given: list[Mapping[str, object]] = [
        {"salt": b"s1", "personal": b'{"text":"late again"}'},
        {"department": None, "time_at_us": -1_234_567, "subject": "ÜBER-1"},
    ]
    with studio.begin() as connection:
        rows = record(connection, given)
    with studio.begin() as connection:
        head = read_head(connection, STUDIO)
        stored = connection.execute(
            text(
                "SELECT position, source, id, type, subject, department, "
                "extract(epoch FROM time_at) * 1000000, "
                "extract(epoch FROM recorded_at) * 1000000, poster, content_hash, body, nodes, "
                "salt, content "
                "FROM event LEFT JOIN personal USING (studio, position) ORDER BY position"
            )
        ).all()
    assert [tuple(row) for row in stored] == [tuple(row) for row in rows]
    assert head.position == 2
    assert head.recorded_at_us == rows[1].recorded_at_us
    assert head.clock_at_us == START_US
    assert head.frontier == (unpack(rows[1].nodes)[1],)


def test_no_rows_change_nothing(studio: Engine) -> None:
    with studio.begin() as connection:
        append_rows(connection, STUDIO, [], Head(9, START_US, (), None))
        assert read_head(connection, STUDIO).position == 0


def test_a_rollback_leaves_neither_rows_nor_head(studio: Engine) -> None:
    with studio.connect() as connection:
        record(connection, [{}, {}])
        connection.rollback()
        assert read_head(connection, STUDIO) == Head(0, START_US, (), START_US)
        assert bodies(connection, STUDIO, 0) == []


@pytest.mark.parametrize("positions", [[2], [1, 3], [2, 1], [1, 1], [1]])
def test_rows_that_do_not_follow_the_head_are_refused(studio: Engine, positions: list[int]) -> None:
    head = Head(2, START_US + 10 * MINUTE_US, (bytes(32),), None)
    rows = [make_row(position, id=f"{index}") for index, position in enumerate(positions)]
    with studio.connect() as connection:
        with pytest.raises(HeadMovedError):
            append_rows(connection, STUDIO, rows, head)
        connection.rollback()
        assert bodies(connection, STUDIO, 0) == []


def test_recording_never_goes_back(studio: Engine) -> None:
    early = {"recorded_at_us": START_US - 1}
    with studio.connect() as connection, pytest.raises(HeadMovedError):
        record(connection, [early])


def test_the_same_source_and_id_twice_is_a_fault(studio: Engine) -> None:
    with studio.begin() as connection:
        record(connection, [{"id": "same"}])
    with studio.connect() as connection, pytest.raises(IntegrityError, match="source_id_key"):
        record(connection, [{}, {"id": "same"}])
    with studio.begin() as connection:
        record(connection, [{"id": "same", "source": "/desks/paint"}])
        assert read_head(connection, STUDIO).position == 2


def test_an_error_does_not_carry_what_people_wrote(studio: Engine) -> None:
    private = {"id": "same", "salt": b"s", "personal": b'{"text":"private"}'}
    with studio.connect() as connection, pytest.raises(IntegrityError) as refused:
        record(connection, [private, private])
    assert "private" not in str(refused.value)
    made = text("INSERT INTO head VALUES (:studio, 0, now(), '')")
    with studio.connect() as connection, pytest.raises(IntegrityError) as refused:
        connection.execute(made, {"studio": STUDIO})
    assert "[SQL parameters hidden" in str(refused.value)


def test_repeats_are_found_by_source_and_id_in_this_studio_alone(studio: Engine) -> None:
    with studio.begin() as connection:
        make_studio(connection, "south", "simulated", START_US)
        record(connection, [{"id": "elsewhere"}], studio="south")
        rows = record(
            connection,
            [{"id": "a", "salt": b"s", "personal": b"{}"}, {"id": "b", "source": "/other"}],
        )
        layout = "/desks/layout"
        keys = [(layout, "a"), (layout, "b"), ("/other", "b"), (layout, "elsewhere")]
        found = find_recorded(connection, STUDIO, keys)
        assert find_recorded(connection, STUDIO, []) == {}
    assert found == {
        (layout, "a"): Recorded(
            1, rows[0].content_hash, rows[0].recorded_at_us, sha256(b"{}").digest()
        ),
        ("/other", "b"): Recorded(2, rows[1].content_hash, rows[1].recorded_at_us, None),
    }


def test_a_thousand_rows_at_once(studio: Engine) -> None:
    with studio.begin() as connection:
        rows = record(connection, [{} for _ in range(1000)])
        keys = [(row.source, row.id) for row in rows]
        assert len(find_recorded(connection, STUDIO, keys)) == 1000
        assert bodies(connection, STUDIO, 0) == [(row.position, row.body) for row in rows]


def test_a_lost_connection_is_an_error_of_sqlalchemy_and_the_pool_recovers(
    studio: Engine, database: Database, server_admin: Engine
) -> None:
    with studio.connect() as connection:
        lock_head(connection, STUDIO)
        process = connection.execute(text("SELECT pg_backend_pid()")).scalar_one()
        with server_admin.connect() as admin:
            admin.execute(text("SELECT pg_terminate_backend(:process, 5000)"), {"process": process})
        with pytest.raises(OperationalError):
            read_head(connection, STUDIO)
    with studio.connect() as connection:
        assert read_head(connection, STUDIO).position == 0


@pytest.mark.parametrize("kind", ["threads", "processes"])
def test_many_writers_leave_dense_positions_and_the_tree_of_the_bodies(
    studio: Engine, database: Database, kind: str
) -> None:
    if kind == "threads":
        with ThreadPoolExecutor(WRITERS) as threads:
            done = [
                threads.submit(append_many, database.service_url, writer)
                for writer in range(WRITERS)
            ]
            for future in done:
                future.result(timeout=120)
    else:
        context = get_context("spawn")
        processes = [
            context.Process(target=append_many, args=(database.service_url, writer))
            for writer in range(WRITERS)
        ]
        for process in processes:
            process.start()
        for process in processes:
            process.join(timeout=120)
        assert [process.exitcode for process in processes] == [0] * WRITERS
    with studio.begin() as connection:
        stored = bodies(connection, STUDIO, 0)
        nodes = connection.execute(text("SELECT nodes FROM event ORDER BY position")).scalars()
        head = read_head(connection, STUDIO)
        expected_nodes = list(nodes)
    count = sum(1 + (writer + commit) % 3 for writer in range(WRITERS) for commit in range(COMMITS))
    assert [position for position, _ in stored] == list(range(1, count + 1))
    frontier: Frontier = ()
    for (position, body), expected in zip(stored, expected_nodes, strict=True):
        completed, frontier = append(frontier, position - 1, leaf_hash(body))
        assert completed == expected
    assert head.position == count
    assert head.frontier == frontier


def test_what_is_read_under_the_lock_is_what_stands_once_it_is_had(
    studio: Engine, server_admin: Engine
) -> None:
    with studio.connect() as first, ThreadPoolExecutor(1) as threads:
        record(first, [{"id": "first"}])

        def wait_and_look() -> tuple[int, int]:
            with studio.begin() as second:
                second.execute(text("SELECT count(*) FROM event"))  # a snapshot before the lock
                waiter.append(second.execute(text("SELECT pg_backend_pid()")).scalar_one())
                head = lock_head(second, STUDIO)
                found = find_recorded(second, STUDIO, [("/desks/layout", "first")])
                return head.position, len(found)

        waiter: list[int] = []
        waiting = threads.submit(wait_and_look)
        query = text("SELECT wait_event_type FROM pg_stat_activity WHERE pid = :waiter")
        with server_admin.connect() as admin:
            while not waiting.done():
                if waiter and admin.execute(query, {"waiter": waiter[0]}).scalar() == "Lock":
                    break
        assert not waiting.done()
        first.commit()
        assert waiting.result(timeout=60) == (1, 1)


def test_reading_the_head_waits_for_nobody_and_holds_up_nobody(studio: Engine) -> None:
    with studio.begin() as writer, studio.begin() as reader:
        reader.execute(text("SET LOCAL lock_timeout = '1s'"))
        writer.execute(text("SET LOCAL lock_timeout = '1s'"))
        assert read_head(reader, STUDIO).position == 0
        record(writer, [{}])
        assert read_head(reader, STUDIO).position == 0


def test_studios_do_not_wait_for_one_another(studio: Engine) -> None:
    with studio.begin() as connection:
        make_studio(connection, "south", "simulated", START_US)
    with studio.begin() as one, studio.begin() as other:
        record(one, [{}])
        other.execute(text("SET LOCAL lock_timeout = '1s'"))
        record(other, [{}], studio="south")
