"""The catalogue: every fact says who records it, of what, and in which words."""

import pytest

from service.vocabulary.facts import CATALOGUE, Fact, Role
from service.vocabulary.facts.base import DESKS
from service.vocabulary.identifiers import Form
from service.vocabulary.kinds import Kind, Text, members

FACTS = sorted(CATALOGUE.values(), key=lambda fact: fact.TYPE)


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: fact.TYPE)
def test_a_fact_is_frozen_and_says_of_what_and_by_whom(fact: type[Fact]) -> None:
    assert vars(fact)["__dataclass_params__"].frozen
    assert fact.SUBJECTS
    assert set(fact.SUBJECTS) <= set(Form)
    # the owner of the database, who alone can erase text, has no token and so no role
    assert fact.ROLES or fact.TYPE == "text.forgotten"
    assert set(fact.ROLES) <= set(Role)
    assert Role.AUDITOR not in fact.ROLES, "an auditor only reads"


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: fact.TYPE)
def test_its_name_is_noun_first_and_past(fact: type[Fact]) -> None:
    noun, _, verb = fact.TYPE.partition(".")
    assert noun.replace("-", "").isalpha()
    assert verb.replace("-", "").isalpha()


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: fact.TYPE)
def test_every_member_is_described_and_optional_ones_come_last_or_have_defaults(
    fact: type[Fact],
) -> None:
    found = members(fact)
    assert len({member.name for member in found}) == len(found)
    for member in found:
        assert isinstance(member.kind, Kind)
        assert member.note.endswith(".")


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: fact.TYPE)
def test_free_text_is_personal(fact: type[Fact]) -> None:
    for member in members(fact):
        assert member.personal == isinstance(member.kind, Text)
        if member.name in {"why", "text"}:
            assert member.personal, "what people write in their own words is kept aside"


@pytest.mark.parametrize("fact", FACTS, ids=lambda fact: fact.TYPE)
def test_what_desks_record_says_for_which_department(fact: type[Fact]) -> None:
    if Role.DESK in fact.ROLES and fact.TYPE != "event.struck":
        assert "department" in {member.name for member in members(fact)}


def test_the_catalogue_has_what_the_design_asks_of_desks() -> None:
    by_desks = {fact.TYPE for fact in FACTS if fact.ROLES >= DESKS}
    assert by_desks >= {
        "hand-out.made",
        "work.started",
        "hand-off.made",
        "hand-off.refused",
        "department.stopped",
        "department.resumed",
    }
