"""The README's tables of roles agree with the code."""

from pathlib import Path

import pytest

from service.production.permission import Actor, permitted
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE, Role
from service.vocabulary.kinds import reviver
from service.web import roles
from service.web.app import bare_app
from tests.examples import example_event
from tests.places import TOP

README = TOP / roles.FILE


def test_the_readme_has_the_tables_that_the_code_gives() -> None:
    assert f"{roles.BEGIN}{roles.text()}{roles.END}" in README.read_text(encoding="utf-8"), (
        "roles changed: run `python -m service.web.roles`"
    )


def test_the_tables_are_written_between_their_marks(tmp_path: Path) -> None:
    file = tmp_path / "README.md"
    file.write_text(f"Before.\n{roles.BEGIN}old\n{roles.END}After.\n", encoding="utf-8")
    for _ in range(2):
        roles.write(file)
        written = file.read_text(encoding="utf-8")
        assert written == f"Before.\n{roles.BEGIN}{roles.text()}{roles.END}After.\n"
    file.write_text("No such lines.", encoding="utf-8")
    with pytest.raises(ValueError, match="where the tables stand"):
        roles.write(file)
    assert file.read_text(encoding="utf-8") == "No such lines."


@pytest.mark.parametrize("role", Role)
def test_a_role_records_what_the_table_says(role: Role) -> None:
    shown = roles.recorded_by(role).removeprefix("for its own departments: ")
    named = {
        f"{noun}.{verb}"
        for part in shown.split("; ")
        if part != "nothing"
        for noun, _, verbs in [part.partition(" ")]
        for verb in verbs.split(", ")
    }
    assert named == {type_ for type_ in CATALOGUE if allowed(type_, Actor("tests", role, OWN))}


def test_a_desk_records_for_its_own_departments() -> None:
    other = Actor("tests", Role.DESK, ("elsewhere",))
    assert {type_ for type_ in CATALOGUE if allowed(type_, other)} == {"event.struck"}


OWN = ("layout", "animation")


def allowed(type_: str, actor: Actor) -> bool:
    """Whether the rules let an actor record the example of a type."""
    fact = reviver(CATALOGUE[type_])(example_event(type_)["data"])
    return permitted(Event(1, "/tests", "e", "studio", 0, 0, "tests", fact), actor) == []


def test_an_address_is_kept_for_those_whom_its_route_wants() -> None:
    kept = roles.kept_for_roles(bare_app())
    assert kept[(Role.OFFICE,)] == ["PUT /clock"]
    assert "POST /what-if" in kept[(Role.OFFICE, Role.SUPERVISOR, Role.PRODUCER)]
    assert not any(route.startswith("GET /episodes") for shown in kept.values() for route in shown)
