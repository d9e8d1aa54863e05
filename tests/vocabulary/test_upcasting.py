"""Past versions of a type, read as the present one. The versions are invented."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import pytest

from service.vocabulary.event import UnknownTypeError, read_event, readers_of
from service.vocabulary.facts import CATALOGUE, Fact
from service.vocabulary.facts.desks import WorkStarted
from service.vocabulary.facts.office import GateSet
from service.vocabulary.kinds import DEPARTMENT, Flag, says
from service.vocabulary.upcasting import UPCASTERS, MissingUpcasterError, Upcaster
from tests.vocabulary.test_event import BODY


@dataclass(frozen=True, slots=True)
class Lit(Fact):
    """A lamp was lit: in version 1 by whom (`desk`), in 2 whether it was out before, as text."""

    TYPE: ClassVar[str] = "lamp.lit"
    VERSION: ClassVar[int] = 3
    department: str = says(DEPARTMENT, "By which department.")
    again: bool = says(Flag(), "Whether it had been lit before.", default=False)


def _second(data: Mapping[str, Any]) -> Mapping[str, Any]:
    return {"department": data["desk"], "again": "no"}


def _third(data: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**data, "again": data["again"] == "yes"}


STEPS: dict[tuple[str, int], Upcaster] = {("lamp.lit", 1): _second, ("lamp.lit", 2): _third}


LAMPS = readers_of({**CATALOGUE, "lamp.lit": Lit}, {**UPCASTERS, **STEPS})
"""Those of a release whose catalogue has the lamp too."""


def body(data: Mapping[str, Any], **more: object) -> bytes:
    return json.dumps({**BODY, "type": "lamp.lit", "data": data, **more}).encode()


@pytest.mark.parametrize(
    ("raw", "again"),
    [
        (body({"desk": "paint"}), False),
        (body({"desk": "paint"}, typeversion=1), False),
        (body({"department": "paint", "again": "yes"}, typeversion=2), True),
        (body({"department": "paint", "again": True}, typeversion=3), True),
        (body({"department": "paint"}, typeversion=3), False),
    ],
)
def test_every_version_is_read_as_the_present_one(raw: bytes, again: bool) -> None:
    assert read_event(raw, LAMPS).fact == Lit("paint", again)


@pytest.mark.parametrize("version", [0, 4, -1])
def test_a_version_that_is_not_known_fails_loudly(version: int) -> None:
    with pytest.raises(UnknownTypeError, match=rf"lamp\.lit, version {version}"):
        read_event(body({"department": "paint"}, typeversion=version), LAMPS)


def test_a_way_that_lacks_a_step_is_found_at_once() -> None:
    for at in (1, 2):
        steps = {key: step for key, step in STEPS.items() if key != ("lamp.lit", at)}
        with pytest.raises(MissingUpcasterError, match=f"no step from version {at} to {at + 1}"):
            readers_of({"lamp.lit": Lit}, steps)


def test_what_says_no_version_is_the_first() -> None:
    read = read_event(json.dumps(BODY).encode())
    assert read == read_event(json.dumps({**BODY, "typeversion": 1}).encode())
    assert read.fact == WorkStarted("paint", "p3", None)


def test_steps_are_of_types_and_versions_that_there_were() -> None:
    for type_, version in UPCASTERS:
        assert 1 <= version < CATALOGUE[type_].VERSION


@pytest.mark.parametrize(
    ("data", "version", "hard"),
    [
        ({}, 1, False),
        ({"hard": True}, 1, True),
        ({"hard": False}, 1, False),
        ({}, 2, None),
        ({"hard": False}, 2, False),
    ],
)
def test_a_gate_set_without_hard_was_soft_once_and_stays_as_it_was_now(
    data: dict[str, bool], version: int, hard: bool | None
) -> None:
    gate = {"gate": "delivery", "due_on": "2031-04-15", **data}
    raw = {**BODY, "type": "gate.set", "subject": "KESTREL-1", "data": gate, "typeversion": version}
    fact = read_event(json.dumps(raw).encode()).fact
    assert isinstance(fact, GateSet)
    assert fact.hard is hard
