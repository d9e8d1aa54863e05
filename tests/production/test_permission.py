"""Who may record what: roles, and the departments of a desk."""

from typing import Any

import pytest

from service.production.decide import Accepted
from service.production.permission import Actor, permitted
from service.production.refusal import Code, Refusal
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE, Fact, Role
from service.vocabulary.facts.record import EventStruck
from tests.telling import Story, studio

NINE = "2031-03-04T09:00:00Z"
SCENE = "KESTREL-1/1"
EVERYBODY = set(Role)

# by role, from design: the office keeps the record of what there is, desks say what they do,
# supervision decides, the producer sets priorities and dates
BY_ROLE = {
    Role.OFFICE: {
        *("route.laid", "calendar.set", "crew.set", "show.opened", "episode.opened", "gate.set"),
        "rate.set",
        *("scene.listed", "scene.retimed", "scene.omitted", "scene.restored"),
        *("element.listed", "element.used", "hook-up.declared", "same-as.declared"),
        *("department.stopped", "department.resumed", "episode.delivered", "event.struck"),
        "approval.asked",
    },
    Role.DESK: {
        *(
            "hand-out.made",
            "hand-out.withdrawn",
            "work.started",
            "hand-off.made",
            "hand-off.refused",
        ),
        *("department.stopped", "department.resumed", "note.given", "note.answered"),
        "event.struck",
    },
    Role.PRODUCER: {
        *("gate.set", "priority.set", "episode.delivered", "note.given", "note.answered"),
        *("change-order.approved", "change-order.declined", "change-order.withdrawn"),
        *("rate.set", "event.struck", "approval.given", "approval.refused"),
    },
    Role.AUDITOR: set(),
}


@pytest.mark.parametrize("role", list(BY_ROLE))
def test_each_role_records_its_own_facts(role: Role) -> None:
    assert {fact.TYPE for fact in CATALOGUE.values() if role in fact.ROLES} == BY_ROLE[role]


def test_a_supervisor_records_what_desks_do_and_decides() -> None:
    recordable = {fact.TYPE for fact in CATALOGUE.values() if Role.SUPERVISOR in fact.ROLES}
    assert recordable >= BY_ROLE[Role.DESK]
    assert {name for name in CATALOGUE if name.startswith("retake.")} <= recordable
    assert not recordable & {
        "route.laid",
        "calendar.set",
        "crew.set",
        "rate.set",
        "show.opened",
        "scene.listed",
    }


@pytest.mark.parametrize("fact", list(CATALOGUE.values()), ids=lambda fact: fact.TYPE)
def test_other_roles_are_refused(fact: type[Fact]) -> None:
    for role in EVERYBODY - fact.ROLES:
        bare = object.__new__(fact)
        event = Event(1, "/tests", "e1", "studio", 0, 0, "tests", bare)
        (reason,) = permitted(event, Actor("somebody", role))
        assert (reason.code, reason.member) == (Code.FORBIDDEN, "/type")
        assert role.value in reason.detail


@pytest.mark.parametrize("fact", list(CATALOGUE.values()), ids=lambda fact: fact.TYPE)
def test_what_some_role_records_anybody_may_ask_about(fact: type[Fact]) -> None:
    question = Event(1, "/tests", "e1", "studio", 0, 0, "tests", object.__new__(fact))
    assert [reason.code for reason in permitted(question, None)] == (
        [] if fact.ROLES else [Code.FORBIDDEN]
    )


PAINT = Actor("paint desk", Role.DESK, ("paint",))


def by(story: Story, actor: Actor, type_: str, data: dict[str, Any]) -> set[Code]:
    decided = story.propose(story.event(type_, SCENE, data, NINE), actor=actor)
    return set() if isinstance(decided, Accepted) else {reason.code for reason in decided.reasons}


@pytest.mark.parametrize("type_", ["hand-out.made", "work.started", "hand-off.made"])
def test_a_desk_records_for_its_own_departments(type_: str) -> None:
    story = studio()
    assert by(story, PAINT, type_, {"department": "paint", "artist": "p1"}) == set()
    assert by(story, PAINT, type_, {"department": "layout", "artist": "p1"}) == {Code.FORBIDDEN}
    assert by(story, Actor("none", Role.DESK), type_, {"department": "paint", "artist": "p"}) == {
        Code.FORBIDDEN
    }


def test_a_desk_refuses_what_it_receives_not_what_it_sends() -> None:
    story = studio()
    story.desk(SCENE, "animation", start=NINE, end=NINE)
    back = {"sender": "animation", "department": "paint"}
    assert by(story, PAINT, "hand-off.refused", back) == set()
    sender = Actor("animation desk", Role.DESK, ("animation",))
    assert by(story, sender, "hand-off.refused", back) == {Code.FORBIDDEN}


def test_a_desk_says_from_which_department_a_note_comes() -> None:
    story = studio()
    note = {"note": "N1", "to": "animation", "text": "The mouth is missing."}
    assert by(story, PAINT, "note.given", note) == {Code.FORBIDDEN}
    assert by(story, PAINT, "note.given", {**note, "department": "paint"}) == set()
    supervisor = Actor("supervisor", Role.SUPERVISOR)
    assert by(story, supervisor, "note.given", note) == set()


def test_who_may_not_record_a_fact_learns_nothing_of_the_record() -> None:
    story = studio()
    unknown = story.event("retake.called", "KESTREL-9/1", story.call_of("R1", "", "paint")[2], NINE)
    decided = story.propose(unknown, actor=PAINT)
    assert isinstance(decided, Refusal)
    assert [reason.code for reason in decided.reasons] == [Code.FORBIDDEN]


def test_a_strike_by_a_desk_is_looked_at_with_the_struck_event() -> None:
    strike = Event(2, "/tests", "e2", "studio", 0, 0, "paint", EventStruck(1, "Wrong."))
    assert permitted(strike, PAINT) == []
