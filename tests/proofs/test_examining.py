"""A record that is handed over: what was done to it is found, and where."""

from collections.abc import Callable
from functools import partial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.canonical import canonical
from service.proofs.checkpoints import Checkpoint
from service.proofs.examining import Difference, examine, first_difference
from service.proofs.tree import Frontier, append, leaf_hash, root

SIZE = 40
Record = list[tuple[bytes, bytes]]


def body(position: int, text: str = "as it was") -> bytes:
    return f'{{"position":{position},"said":"{text}"}}'.encode()


def hashed(bodies: list[bytes]) -> tuple[Record, list[bytes]]:
    """The record of some bodies with its hashes, and the root at every size."""
    record, frontier, roots = [], Frontier(), [root(())]
    for size, raw in enumerate(bodies):
        nodes, frontier = append(frontier, size, leaf_hash(raw))
        record.append((raw, nodes))
        roots.append(root(frontier))
    return record, roots


RECORD, ROOTS = hashed([body(position) for position in range(1, SIZE + 1)])
EARLY, LATE, WHOLE = (Checkpoint("log", size, ROOTS[size]) for size in (10, 25, SIZE))


def found(record: Record, *checkpoints: Checkpoint) -> Difference | None:
    return examine(record, checkpoints or (EARLY, LATE, WHOLE)).difference


def test_a_record_that_is_as_it_was() -> None:
    examined = examine(RECORD, [EARLY, LATE, WHOLE])
    assert examined == (SIZE, ROOTS[SIZE], None, None)
    assert examine([], [Checkpoint("log", 0, ROOTS[0])]).difference is None


@pytest.mark.parametrize(
    ("salted", "from_position"),
    [((), None), ((1, 2, 3), 1), ((3,), 3), ((2, 3), 2), ((1, 3), 3), ((1, 2), None)],
)
def test_it_is_told_from_where_on_every_body_has_a_salt(
    salted: tuple[int, ...], from_position: int | None
) -> None:
    bodies = [
        canonical({"position": at} | ({"salt": "00"} if at in salted else {})) for at in (1, 2, 3)
    ]
    assert examine([(body, b"") for body in bodies]).salted_from == from_position


def test_a_record_goes_on_behind_its_checkpoints() -> None:
    assert found(RECORD, EARLY) is None


positions = st.integers(1, SIZE)


@given(positions)
def test_an_edited_payload_is_found_where_it_lies(at: int) -> None:
    record = list(RECORD)
    record[at - 1] = (body(at, "as they would have it"), record[at - 1][1])
    difference = found(record)
    assert difference is not None
    assert difference.position == at


@given(positions)
def test_a_dropped_event_is_found_where_it_lay(at: int) -> None:
    record = RECORD[: at - 1] + RECORD[at:]
    difference = found(record)
    assert difference is not None
    assert difference.position == at


@given(st.integers(1, SIZE - 1), st.data())
def test_two_events_exchanged_are_found_at_the_first(at: int, data: st.DataObject) -> None:
    other = data.draw(st.integers(at + 1, SIZE))
    record = list(RECORD)
    record[at - 1], record[other - 1] = record[other - 1], record[at - 1]
    difference = found(record)
    assert difference is not None
    assert difference.position == at


Tamper = Callable[[list[bytes], int], list[bytes]]


def edited(bodies: list[bytes], at: int) -> list[bytes]:
    return [*bodies[: at - 1], body(at, "as they would have it"), *bodies[at:]]


def dropped(bodies: list[bytes], at: int) -> list[bytes]:
    """And those behind it numbered anew, as somebody who is careful would."""
    return [*bodies[: at - 1], *(body(then, "moved up") for then in range(at, len(bodies)))]


@pytest.mark.parametrize("tamper", [edited, dropped])
@given(at=positions)
def test_all_later_hashes_made_anew_is_found_between_two_checkpoints(
    tamper: Tamper, at: int
) -> None:
    record, _ = hashed(tamper([raw for raw, _ in RECORD], at))
    examined = examine(record, [EARLY, LATE, WHOLE])
    assert examined.difference is not None
    if tamper is edited or at <= 25:
        before = max((size for size in (10, 25) if size < at), default=0)
        assert examined.difference.position == min(size for size in (10, 25, SIZE) if size >= at)
        assert f"behind {before}, " in examined.difference.what
    else:
        assert examined.difference == (
            SIZE,
            "the record ends at 39, the checkpoint covers 40 events",
        )


def test_one_early_checkpoint_is_enough_to_tell_that_the_beginning_was_rewritten() -> None:
    record, _ = hashed(edited([raw for raw, _ in RECORD], 3))
    difference = found(record, EARLY)
    assert difference is not None
    assert difference.position == 10
    assert "behind 0, at or before 10" in difference.what


def test_a_record_that_was_cut_short() -> None:
    difference = found(RECORD[:30])
    assert difference == (31, "the record ends at 30, the checkpoint covers 40 events")


def test_of_two_checkpoints_of_one_size_both_must_agree() -> None:
    forged = Checkpoint("log", 10, bytes(32))
    examined = examine(RECORD, [EARLY, forged])
    assert examined.difference is not None
    assert found([], Checkpoint("log", 0, bytes(32))) is not None


@pytest.mark.parametrize("line", [b"", b"nothing", b"[]", b'{"position":"1"}', b'{"position":2}'])
def test_a_line_that_is_no_event_of_its_place(line: bytes) -> None:
    difference = found([(line, b"")], EARLY)
    assert difference is not None
    assert difference.position == 1


def test_where_two_records_part() -> None:
    leaves = [leaf_hash(raw) for raw, _ in RECORD]
    part = partial(first_difference, leaves)
    assert part(leaves) is None
    assert part(leaves[:7]) is None
    assert part([*leaves[:7], bytes(32), *leaves[8:]]) == 8
