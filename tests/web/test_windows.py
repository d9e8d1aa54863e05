"""Counting in windows of time."""

import threading

from limits import RateLimitItemPerSecond
from limits.strategies import FixedWindowRateLimiter

from service.web.windows import Windows


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def test_a_window_begins_with_the_first_count_and_another_after_its_end() -> None:
    clock = Clock()
    limiter = FixedWindowRateLimiter(Windows(clock))
    item = RateLimitItemPerSecond(2, 10)
    assert [limiter.hit(item, "a") for _ in range(3)] == [True, True, False]
    assert limiter.test(item, "b")
    stats = limiter.get_window_stats(item, "a")
    assert (stats.remaining, stats.reset_time) == (0, 110.0)
    clock.now_s = 109.9
    assert not limiter.hit(item, "a")
    clock.now_s = 110.0
    assert limiter.get_window_stats(item, "a").remaining == 2
    assert limiter.hit(item, "a")
    assert limiter.get_window_stats(item, "a").reset_time == 120.0


def test_windows_that_are_over_are_forgotten_once_there_are_many() -> None:
    clock = Clock()
    counts = Windows(clock, keys_max=3)
    for name in "abc":
        counts.incr(name, 10)
    clock.now_s += 10
    assert [counts.get(name) for name in "abc"] == [0, 0, 0]
    counts.incr("d", 10)
    assert counts.reset() == 1


def test_no_count_is_lost_between_threads_and_no_thread_is_started() -> None:
    counts = Windows()
    before = threading.active_count()
    threads = [
        threading.Thread(target=lambda: [counts.incr("a", 60) for _ in range(1000)])
        for _ in range(4)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert counts.get("a") == 4000
    assert threading.active_count() == before
    counts.clear("a")
    assert counts.get("a") == 0
    assert counts.check()
