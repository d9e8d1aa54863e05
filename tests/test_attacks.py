"""An attack that comes through fails, so that whoever runs it need not read its figures."""

import socket

import pytest

from service.checking.findings import Kind
from tests.attacks import crowd, derived, prices
from tests.attacks.memory import RAISED_MAX_MIB, Cost, Request, not_held
from tests.attacks.slow import Measured, Slow, goals_missed

SOME = 0.0001
QUIET = Measured(1.0, 5.0, 10.0)


def test_a_price_that_is_found_in_spite_of_salts_fails() -> None:
    with (
        prices.without_salt(),
        pytest.raises(SystemExit, match=r"with salts the price \S+ was found"),
    ):
        list(prices.attack(SOME))


def test_an_alteration_that_is_not_found_fails() -> None:
    with pytest.raises(SystemExit, match=f"nothing: not found as {Kind.TRAIL}"):
        list(derived.attack(SOME, {"nothing": (lambda _: None, Kind.TRAIL)}))


@pytest.mark.parametrize(
    ("under", "held_s", "expected"),
    [
        (Measured(49.0, 500.0, 19.0), 10.0, []),
        (Measured(50.0, 50.0, 19.0), 10.0, ["/live takes 50 ms or more"]),
        (Measured(1.0, 1.0, 20.0), 10.0, ["posts take 2 times as long"]),
        (QUIET, None, ["1 not dropped: silent"]),
    ],
)
def test_slow_clients_that_are_felt_or_not_dropped_fail(
    under: Measured, held_s: float | None, expected: list[str]
) -> None:
    client = Slow("silent", socket.socket(), 0.0, held_s)
    missed = goals_missed(QUIET, [QUIET, under], [client])
    client.socket.close()
    assert len(missed) == len(expected)
    assert all(one.startswith(begins) for one, begins in zip(missed, expected, strict=True))


@pytest.mark.parametrize(
    ("waits", "expected"),
    [
        (crowd.Waits(100.0, 2000.0, 100.0, 2000.0), []),
        (crowd.Waits(101.0, 200.0, 9.0, 200.0), ["others wait more than 100 ms in the median"]),
        (crowd.Waits(9.0, 20.0, 9.0, 2001.0), ["others wait more than 2000 ms at the longest"]),
    ],
)
def test_a_crowd_that_is_felt_fails(waits: crowd.Waits, expected: list[str]) -> None:
    assert crowd.goals_missed(waits) == expected


def test_a_request_that_is_too_dear_or_measures_nothing_fails() -> None:
    request = Request("desk", "/events", b"[]", wanted=201)
    costs = [
        Cost(request, 201, RAISED_MAX_MIB, 1.0, 10),
        Cost(request, 201, RAISED_MAX_MIB + 1, 1.0, 10),
        Cost(request, 403, 0.0, 1.0, 10),
    ]
    dear, refused = not_held(costs)
    assert "65.0 MiB" in dear
    assert "answered 403, not 201" in refused
