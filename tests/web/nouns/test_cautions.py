"""Cautions stand where hours, crews, people, blame and prices are entered, and where shown."""

import io
from collections.abc import Iterator, Mapping
from typing import Any

import pytest
from pypdf import PdfReader

from service.vocabulary import cautions, kinds
from service.vocabulary.facts import CATALOGUE
from service.web.app import bare_app
from service.web.document import document
from tests.places import README

from ..paper import Paper
from .test_impacts import CALL
from .test_quotations import CARD, LINES, price

WORDS = {
    cautions.HOURS: (
        "hours",
        "overtime",
        "rest",
        "night work",
        "minors",
        "local law",
        "agreements",
    ),
    cautions.PEOPLE: ("people", "labour", "privacy law", "codes, never names", "agreements"),
    cautions.BLAME: ("fault", "department", "not a finding about a person", "law", "agreements"),
    cautions.TAXES: ("taxes", "duties", "not in these prices", "local law"),
    cautions.FLOAT: ("float", "crews"),
}
# where such figures are entered
ENTERED = {
    "calendar.set": cautions.HOURS,
    "crew.set": cautions.HOURS,
    "hand-out.made": cautions.PEOPLE,
    "work.started": cautions.PEOPLE,
    "retake.called": cautions.BLAME,
    "rate.set": cautions.TAXES,
    "change-order.raised": cautions.TAXES,
    "change-order.priced": cautions.TAXES,
    "change-order.approved": cautions.TAXES,
}
# and where they are shown
SHOWN = {
    "/shows/KESTREL/elements": [cautions.PEOPLE],
    "/episodes/KESTREL-1": [cautions.PEOPLE],
    "/episodes/KESTREL-1/scenes": [cautions.PEOPLE],
    "/episodes/KESTREL-1/scenes/1": [cautions.PEOPLE],
    "/episodes/KESTREL-1/replay": [cautions.PEOPLE],
    "/episodes/KESTREL-1/diary": [cautions.PEOPLE],
    "/departments": [cautions.HOURS],
    "/departments/layout/tray": [cautions.PEOPLE],
    "/retakes": [cautions.BLAME],
    "/retakes/R1": [cautions.BLAME, cautions.PEOPLE],
    "/retakes/R1/impact": [cautions.FLOAT, cautions.HOURS],
    "/reports/retakes": [cautions.BLAME, cautions.TAXES],
    "/reports/retakes/totals?group_by=fault_of": [cautions.BLAME, cautions.TAXES],
    "/shows/KESTREL/rates": [cautions.TAXES],
    "/change-orders": [cautions.TAXES],
    "/change-orders/CO-7": [cautions.TAXES],
    "/change-orders/CO-7/quote": [cautions.TAXES],
}


@pytest.fixture(scope="module")
def made() -> dict[str, Any]:
    return document(bare_app())


@pytest.mark.parametrize("caution", WORDS)
def test_a_caution_says_what_it_is_about_and_to_whom_it_defers(caution: str) -> None:
    assert [word for word in WORDS[caution] if word not in caution.lower()] == []


@pytest.mark.parametrize("type_", CATALOGUE)
def test_a_caution_stands_where_its_figures_are_entered(made: dict[str, Any], type_: str) -> None:
    shape = made["components"]["schemas"][f"{CATALOGUE[type_].__name__}Event"]
    found = [caution for caution in WORDS if caution in shape["description"]]
    assert found == ([ENTERED[type_]] if type_ in ENTERED else [])


@pytest.mark.parametrize("type_", CATALOGUE)
def test_no_fact_that_needs_a_caution_lacks_it(type_: str) -> None:
    """Found by its members, so that a new fact has one too."""
    fact = CATALOGUE[type_]
    members = list(members_of(fact))
    names = {name for name, _ in members}
    wanted = set()
    if any(isinstance(kind, kinds.Money) for _, kind in members):
        wanted.add(cautions.TAXES)
    if names & {"artists", "minutes_per_artist_day", "shifts"}:
        wanted.add(cautions.HOURS)
    if "artist" in names:
        wanted.add(cautions.PEOPLE)
    if "fault_of" in names:
        wanted.add(cautions.BLAME)
    assert wanted <= set(fact.CAUTIONS)


def members_of(cls: type) -> Iterator[tuple[str, kinds.Kind]]:
    """The members of a dataclass and of the groups within, each with the kind of its values."""
    for member in kinds.members(cls):
        kind: Any = member.kind
        while isinstance(kind, kinds.Listing | kinds.Table):
            kind = kind.of
        yield member.name, kind
        if isinstance(kind, kinds.Group):
            yield from members_of(kind.of)


@pytest.fixture
def busy(opened: Paper) -> Paper:
    """Work handed out and begun, a retake with a fault, and an order."""
    opened.tell("rate.set", "KESTREL", CARD, who="office")
    opened.move_clock("2031-03-03T15:00:00Z")
    for scene in ("KESTREL-1/1", "KESTREL-2/1"):
        opened.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    opened.tell("retake.called", "KESTREL-1/1", CALL | {"back_to": "layout", "fault_of": "layout"})
    data = {"order": "CO-7", "asked_by": "client", "words": "A storm.", "lines": LINES}
    opened.tell("change-order.raised", "KESTREL", data)
    return opened


@pytest.mark.parametrize("path", SHOWN)
def test_a_caution_stands_where_its_figures_are_shown(busy: Paper, path: str) -> None:
    assert busy.get(path)["cautions"] == SHOWN[path]


def test_a_question_and_a_quote_have_those_of_an_impact(busy: Paper) -> None:
    wanted = [cautions.FLOAT, cautions.HOURS]
    assert busy.what_if(busy.event("scene.omitted", "KESTREL-1/3"))["cautions"] == wanted
    assert busy.get("/change-orders/CO-7/quote")["impact"]["cautions"] == wanted


def test_a_quotation_says_that_taxes_are_not_in_it(busy: Paper) -> None:
    path = "/change-orders/CO-7/quotation"
    for _ in ("an estimate", "a quotation"):
        assert cautions.TAXES in busy.ask(path).text
        answer = busy.ask(path, headers={"Accept": "application/pdf"})
        pages = PdfReader(io.BytesIO(answer.data)).pages
        text = " ".join(" ".join(page.extract_text().split()) for page in pages)
        assert cautions.TAXES in text
        price(busy, "CO-7")


def test_other_answers_have_no_cautions(busy: Paper) -> None:
    assert "cautions" not in busy.get("/episodes")
    assert "cautions" not in busy.get("/notes")


def test_the_readme_has_cautions_where_such_figures_are_entered() -> None:
    text = README.read_text(encoding="utf-8")
    section = " ".join(text.split("\n## Run it for your studio\n")[1].split("\n## ")[0].split())
    for caution in (cautions.HOURS, cautions.PEOPLE, cautions.BLAME, cautions.TAXES):
        assert caution in section


# the caution that an answer must carry, by the name of a member it has
WANTED = {
    "artist": cautions.PEOPLE,
    "artists": cautions.HOURS,
    "minutes_per_artist_day": cautions.HOURS,
    "fault_of": cautions.BLAME,
    "amount": cautions.TAXES,
    "cost": cautions.TAXES,
    "rate": cautions.TAXES,
    "total": cautions.TAXES,
}


def test_no_answer_that_needs_a_caution_lacks_it(made: dict[str, Any]) -> None:
    """Found by its members, so that a new address has them too."""
    missing = {
        (path, name)
        for path, operations in made["paths"].items()
        for operation in operations.values()
        for name in names_in(operation["responses"], made["components"]["schemas"])
        if name in WANTED and WANTED[name] not in operation.get("description", "")
    }
    assert missing == set()


def names_in(shape: object, schemas: Mapping[str, Any]) -> set[str]:
    """The names of all members of a shape and of those that it refers to."""
    found: set[str] = set()
    waiting, seen = [shape], set()
    while waiting:
        part = waiting.pop()
        if isinstance(part, list):
            waiting += part
        elif isinstance(part, dict):
            found |= part.get("properties", {}).keys()
            name = str(part.get("$ref", "")).rpartition("/")[2]
            if name in schemas and name not in seen:
                seen.add(name)
                waiting.append(schemas[name])
            waiting += part.values()
    return found
