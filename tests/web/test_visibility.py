"""Who may read personal text."""

from typing import Any

import pytest

from service.log.tokens import Token
from service.vocabulary.facts import CATALOGUE, Role
from service.web.visibility import Concern, concern_of, sees_money, sees_text, withheld
from tests.examples import example_event


def holder(role: str, *departments: str) -> Token:
    return Token("t", "lantern", "n", role, departments, "//lantern")


def event(type_: str, **data: Any) -> Concern:
    return concern_of({"type": type_, "data": data})


@pytest.mark.parametrize("type_", CATALOGUE)
@pytest.mark.parametrize("role", sorted(set(Role) - {Role.DESK}))
def test_all_but_the_desks_read_everything(type_: str, role: Role) -> None:
    assert sees_text(holder(role), concern_of(example_event(type_)))


def test_a_desk_reads_talk_retakes_and_what_names_its_department() -> None:
    desk = holder("desk", "layout", "camera")
    assert sees_text(desk, event("note.given", to="paint"))
    assert sees_text(desk, event("retake.called", back_to="paint"))
    assert sees_text(desk, event("hand-off.made", department="camera"))
    assert sees_text(desk, event("hand-off.refused", department="paint", sender="layout"))
    assert not sees_text(desk, event("hand-off.made", department="paint"))
    assert not sees_text(desk, event("scene.omitted"))
    assert not sees_text(holder("desk"), event("hand-off.made", department="paint"))


def test_an_unknown_role_reads_nothing() -> None:
    assert not sees_text(holder("visitor", "layout"), event("note.given", to="layout"))


@pytest.mark.parametrize("role", Role)
def test_desks_alone_see_no_money(role: Role) -> None:
    token = holder(role, "layout")
    assert sees_money(token) == (role != Role.DESK)
    assert withheld(token, "rate.set") == withheld(token, "change-order.priced")
    assert withheld(token, "rate.set") == (role == Role.DESK)
    assert not withheld(token, "retake.called")


def test_desks_do_not_read_the_text_of_orders() -> None:
    assert not sees_text(holder("desk", "layout"), event("change-order.raised", to="layout"))


def test_an_unknown_role_sees_no_money() -> None:
    assert not sees_money(holder("visitor"))
    assert withheld(holder("visitor"), "rate.set")
