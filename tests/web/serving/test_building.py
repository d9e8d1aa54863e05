"""The one worker that builds the trails and serves nobody."""

import os
import signal
from collections.abc import Iterator
from contextlib import suppress

import httpx
import pytest

from service.web.serving.building import NICENESS
from tests.serving import Service, data_folder, is_alive, memory_disk
from tests.waiting import wait_until


@pytest.fixture(scope="module")
def serving() -> Iterator[Service]:
    with data_folder(memory_disk()) as data:
        service = Service(data, workers=1)
        service.start()
        service.wait_until_ready()
        yield service
        service.end()


def builders(service: Service) -> list[int]:
    """The workers that take the processor's time last."""
    own = os.getpriority(os.PRIO_PROCESS, 0)
    found = []
    for pid in service.child_pids():
        with suppress(ProcessLookupError):  # killed, and gone since it was listed
            if os.getpriority(os.PRIO_PROCESS, pid) == min(own + NICENESS, 19):
                found.append(pid)
    return found


def test_one_worker_more_than_asked_for_builds(serving: Service) -> None:
    wait_until(lambda: len(builders(serving)) == 1)
    assert len(serving.child_pids()) == 2


def test_where_the_builder_is_killed_another_one_is_started(serving: Service) -> None:
    wait_until(lambda: len(builders(serving)) == 1)
    (killed,) = builders(serving)
    os.kill(killed, signal.SIGKILL)
    wait_until(lambda: bool(builders(serving)) and builders(serving) != [killed])
    assert len(serving.child_pids()) == 2
    assert httpx.get(f"{serving.url}/live").is_success


def test_where_all_workers_are_killed_one_of_those_to_come_builds(serving: Service) -> None:
    before = set(serving.child_pids())
    for pid in before:
        os.kill(pid, signal.SIGKILL)
    wait_until(lambda: not before & set(serving.child_pids()) and len(serving.child_pids()) == 2)
    wait_until(lambda: len(builders(serving)) == 1)
    serving.wait_until_ready()


def test_a_worker_that_is_told_to_end_while_it_begins_ends(serving: Service) -> None:
    before = serving.child_pids()
    for pid in before:
        os.kill(pid, signal.SIGKILL)
    told: set[int] = set()

    def all_are_told() -> bool:
        for pid in set(serving.child_pids()) - set(before) - told:
            os.kill(pid, signal.SIGTERM)
            told.add(pid)
        return len(told) >= len(before)

    wait_until(all_are_told, "no other workers were started", every_s=0.01)
    wait_until(lambda: not any(map(is_alive, told)), "a worker goes on")
    serving.wait_until_ready()
