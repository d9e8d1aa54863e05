"""Every type of event has a sentence, and no personal text gets into it."""

import pytest

from service.production.nouns import sentence
from service.vocabulary.event import Event
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.kinds import reviver
from service.web.schemas.events import split_personal
from tests.examples import example_event


def sentence_of(
    type_: str, data: dict[str, object] | None = None, subject: str | None = None
) -> str:
    members = example_event(type_)
    if data is not None:
        members["data"] = data
    public, _ = split_personal(members)
    fact = reviver(CATALOGUE[type_])(public["data"])
    return sentence(
        Event(7, "/x", "1", subject or members["subject"], 0, 0, "ann", fact, "supervisor")
    )


@pytest.mark.parametrize("type_", CATALOGUE)
def test_every_type_has_a_sentence(type_: str) -> None:
    shown = sentence_of(type_)
    assert shown[0].isupper()
    assert shown.endswith(".")
    assert "None" not in shown
    assert "{" not in shown
    _, personal = split_personal(example_event(type_))
    for text in personal.values():
        assert str(text) not in shown


@pytest.mark.parametrize(
    ("type_", "data", "expected"),
    [
        (
            "hand-off.made",
            {"department": "layout", "take": 2},
            "Layout handed off KESTREL-1/4, take 2.",
        ),
        (
            "hand-off.refused",
            {"department": "paint", "sender": "in-between", "share": 0.125},
            "Paint sent KESTREL-1/4 back to in-between: 12.5 % of the work is to be done again.",
        ),
        (
            "retake.called",
            {
                "retake": "R-1",
                "kind": "revision",
                "urgency": "must-fix",
                "back_to": "layout",
                "strands": ["background", "character"],
                "share": 0.3,
                "asked_by": "client",
            },
            "Revision R-1 (must-fix) was called on KESTREL-1/4, back to layout: background and "
            "character, 30 % of the drawings; asked for by client.",
        ),
        (
            "note.given",
            {"note": "N-1", "to": "layout", "text": "Moon too low."},
            "Note N-1 on KESTREL-1/4 was given to layout.",
        ),
    ],
)
def test_what_they_say(type_: str, data: dict[str, object], expected: str) -> None:
    assert sentence_of(type_, data, "KESTREL-1/4") == expected
