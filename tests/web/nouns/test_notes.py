"""Notes: open and answered ones, and who may read what they say."""

import pytest

from ..paper import Paper
from ..provided import provide_with


@pytest.fixture
def talked(opened: Paper) -> Paper:
    for code, subject, to in (
        ("N1", "KESTREL-1/1", "layout"),
        ("N2", "KESTREL-1", "cutting"),
        ("N3", "KESTREL-2/1", "layout"),
        ("N4", "KESTREL-1/10", "camera"),
    ):
        if subject.endswith("/10"):
            opened.tell("scene.listed", subject, {"frames": 16}, who="office")
        opened.tell("note.given", subject, {"note": code, "to": to, "text": f"Text of {code}."})
    answer = {"note": "N3", "department": "layout", "text": "Moved."}
    opened.tell("note.answered", "KESTREL-2/1", answer, who="layout")
    return opened


def codes(paper: Paper, query: str = "") -> list[str]:
    return [note["note"] for note in paper.get(f"/notes{query}")["items"]]


def test_open_notes_come_first_the_newest_before(talked: Paper) -> None:
    shown = talked.get("/notes")["items"]
    assert [note["note"] for note in shown] == ["N4", "N2", "N1"]
    assert shown[-1] == {
        "note": "N1",
        "item": "KESTREL-1/1",
        "to": "layout",
        "given_at": "2031-03-03T08:00:00Z",
        "given_position": shown[-1]["given_position"],
        "text": "Text of N1.",
        "answered_at": None,
        "answered_position": None,
        "answer": None,
    }
    event = talked.ask(f"/events/{shown[-1]['given_position']}").get_json()
    assert event["data"]["note"] == "N1"


def test_answered_notes(talked: Paper) -> None:
    (note,) = talked.get("/notes?answered=true")["items"]
    assert (note["note"], note["text"], note["answer"]) == ("N3", "Text of N3.", "Moved.")
    assert note["answered_at"] == "2031-03-03T08:00:00Z"
    assert codes(talked, "?answered=false") == codes(talked) == ["N4", "N2", "N1"]
    assert codes(talked, "?answered=all") == ["N4", "N3", "N2", "N1"]


def test_notes_by_subject_and_department(talked: Paper) -> None:
    assert codes(talked, "?subject=KESTREL-1") == ["N4", "N2", "N1"]
    assert codes(talked, "?subject=KESTREL-1/1") == ["N1"]
    assert codes(talked, "?subject=KESTREL&answered=all") == ["N4", "N3", "N2", "N1"]
    assert codes(talked, "?department=layout&answered=all") == ["N3", "N1"]
    assert codes(talked, "?subject=studio") == []


@pytest.mark.parametrize("who", ["office", "supervisor", "producer", "auditor", "camera"])
def test_what_desks_say_to_each_other_concerns_them_all(talked: Paper, who: str) -> None:
    texts = [note["text"] for note in talked.get("/notes", who)["items"]]
    assert texts == ["Text of N4.", "Text of N2.", "Text of N1."]


def test_the_tag_follows_the_texts(talked: Paper) -> None:
    tag = talked.ask("/notes").headers["ETag"]
    assert talked.ask("/notes", headers={"If-None-Match": tag}).status_code == 304
    assert talked.ask("/notes?answered=all").headers["ETag"] != tag


def test_wrong_filters_are_refused(opened: Paper) -> None:
    assert opened.refused("/notes?answered=maybe&department=A") == (
        400,
        "invalid-query",
        [("?department", "wrong-form"), ("?answered", "not-a-choice")],
    )
    assert opened.refused("/notes?subject=KESTREL/1")[2] == [("?subject", "not-a-subject")]


def test_a_page_is_shorter_where_its_texts_are_long(talked: Paper) -> None:
    whole = talked.all_pages("/notes?answered=all", limit=1000)
    provide_with(talked.app, page_bytes_max=90)
    assert len(talked.get("/notes?answered=all&limit=1000")["items"]) == 2
    assert talked.all_pages("/notes?answered=all", limit=1000) == whole
    provide_with(talked.app, page_bytes_max=1)
    assert talked.all_pages("/notes?answered=all", limit=1000) == whole


def test_only_the_text_of_a_note_is_shown_of_what_was_written_with_it(talked: Paper) -> None:
    data = {"note": "N5", "to": "layout", "text": "Shown.", "mood": ["grey"] * 1000}
    talked.tell("note.given", "KESTREL-1/2", data)
    (note, *_) = talked.get("/notes")["items"]
    assert (note["note"], note["text"]) == ("N5", "Shown.")
    assert "grey" not in talked.ask("/notes").get_data(as_text=True)
