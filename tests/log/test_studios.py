"""Studios and their clocks."""

from datetime import UTC, datetime

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import Engine

from service.log.append import UnknownStudioError, read_head
from service.log.checkpoints import read_signed, sign_latest
from service.log.studios import (
    NAME_MOST,
    ClockError,
    StudioExistsError,
    StudioNameError,
    find_studio,
    list_studios,
    make_studio,
    move_clock,
)
from service.proofs.notes import read_note
from service.settings import Settings
from service.vocabulary.instants import instant_us
from tests.log.recording import START_US, record

SECRET = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))


def test_a_studio_of_either_clock_is_found_again(engine: Engine) -> None:
    before_us = instant_us(datetime.now(UTC))
    with engine.begin() as connection:
        make_studio(connection, "south", "real")
        make_studio(connection, "north", "simulated", START_US, "North Light Ltd")
        south, north = find_studio(connection, "south"), find_studio(connection, "north")
        assert list_studios(connection) == [north, south]
        assert find_studio(connection, "west") is None
        assert read_head(connection, "south").clock_at_us is None
        assert read_head(connection, "south").recorded_at_us >= before_us
    assert south is not None
    assert north is not None
    assert (south.clock, north.clock) == ("real", "simulated")
    # its code stands for the title where it has none
    assert (south.title, north.title) == ("south", "North Light Ltd")
    assert before_us <= south.made_at_us <= north.made_at_us <= instant_us(datetime.now(UTC))


def test_a_studio_is_made_once(engine: Engine) -> None:
    with engine.begin() as connection:
        make_studio(connection, "north", "simulated", START_US)
        record(connection, [{}])
        with pytest.raises(StudioExistsError, match="north"):
            make_studio(connection, "north", "real")
        studio = find_studio(connection, "north")
        assert studio is not None
        assert studio.clock == "simulated"
        assert read_head(connection, "north").position == 1


@pytest.mark.parametrize(
    "name",
    [
        "Paper Lantern",
        "a+b",
        "Paper",
        "-paper",
        "p\u00e4per",
        "paper\n",
        "a/b",
        "",
        "p" * (NAME_MOST + 1),
    ],
)
def test_a_name_that_no_checkpoint_can_bear_is_refused_with_the_remedy(
    engine: Engine, name: str
) -> None:
    with engine.begin() as connection:
        with pytest.raises(StudioNameError, match="such as paper-lantern"):
            make_studio(connection, name, "real")
        assert list_studios(connection) == []


def test_the_longest_name_of_a_studio_stands_in_a_note_beside_the_longest_origin(
    engine: Engine,
) -> None:
    name, origin = "p" * NAME_MOST, "o" * 200
    settings = Settings.from_environment({"HOME": "/", "RETAKE_LEDGER_ORIGIN": origin})
    with engine.begin() as connection:
        make_studio(connection, name, "real")
        signed = sign_latest(connection, name, settings.origin_of(name), SECRET)
        (kept,) = read_signed(connection, name, [signed.size])
        (signature,) = read_note(str(kept.note)).signatures
        assert signature.name.endswith(f"/{name}")


def test_a_clock_has_a_beginning_if_and_only_if_it_is_simulated(engine: Engine) -> None:
    with engine.begin() as connection:
        with pytest.raises(ValueError, match="needs an instant"):
            make_studio(connection, "north", "simulated")
        with pytest.raises(ValueError, match="real one has none"):
            make_studio(connection, "north", "real", START_US)
        assert list_studios(connection) == []


def test_a_simulated_clock_moves_forward_and_never_back(engine: Engine) -> None:
    with engine.begin() as connection:
        make_studio(connection, "north", "simulated", START_US)
        moved = move_clock(connection, "north", START_US + 5)
        assert moved.clock_at_us == START_US + 5
        assert move_clock(connection, "north", START_US + 5) == moved
        with pytest.raises(ClockError, match=r"2030-03-17T17:46:40\.000005Z and does not"):
            move_clock(connection, "north", START_US + 4)
    with engine.begin() as connection:
        assert read_head(connection, "north") == moved


def test_nobody_moves_a_real_clock_or_that_of_no_studio(engine: Engine) -> None:
    with engine.begin() as connection:
        make_studio(connection, "south", "real")
        with pytest.raises(ClockError, match="real clock"):
            move_clock(connection, "south", START_US)
        with pytest.raises(UnknownStudioError, match="west"):
            move_clock(connection, "west", START_US)
