"""What every page that showed a text shows once it is erased."""

from collections.abc import Iterator

import pytest
from sqlalchemy import Engine

from service.log.engine import owner_engine
from service.record import erase_text
from tests.conftest import Database

from ..paper import Paper

TEXT = "The lamp of Oktavian is on the wrong side."


@pytest.fixture
def owner(database: Database) -> Iterator[Engine]:
    engine = owner_engine(database.owner_url)
    yield engine
    engine.dispose()


def test_no_page_shows_an_erased_text_and_its_event_says_so(opened: Paper, owner: Engine) -> None:
    data = {"note": "N1", "to": "layout", "text": TEXT}
    position = opened.tell("note.given", "KESTREL-1/1", data)
    other = opened.tell("note.given", "KESTREL-1/2", data | {"note": "N2", "text": "Other."})
    pages = (
        "/notes",
        "/events?type=note.given",
        f"/events/{position}",
        "/episodes/KESTREL-1/scenes/1",
        f"/events/{position}/personal",
    )
    before = {path: opened.ask(path) for path in pages}
    assert sum(TEXT in answer.get_data(as_text=True) for answer in before.values()) >= 4
    recorded = opened.ask(f"/events/{position}/recorded").get_data()

    erase_text(owner, "paper", [position], "office", "Request 12")

    for path in pages:
        assert TEXT not in opened.ask(path).get_data(as_text=True)
    shown = opened.ask(f"/events/{position}").get_json(force=True)
    assert shown["forgotten"] is True
    assert len(shown["personal"]) == 64
    assert "text" not in shown["data"]
    tag = before[f"/events/{position}"].headers["ETag"]
    again = opened.ask(f"/events/{position}", headers={"If-None-Match": tag})
    assert again.status_code == 200
    # the bytes and what proves them are as they were; another's text is there
    assert opened.ask(f"/events/{position}/recorded").get_data() == recorded
    kept = opened.ask(f"/events/{other}").get_json(force=True)
    assert kept["data"]["text"] == "Other."
    assert "forgotten" not in kept
    (first,) = (note for note in opened.get("/notes")["items"] if note["note"] == "N1")
    assert first["text"] is None
    assert opened.ask(f"/events/{position}/personal").status_code == 404
    last = opened.ask("/events?type=text.forgotten").get_json(force=True)[0]
    assert (last["poster"], last["posterrole"]) == ("owner", "owner")
    assert last["data"] == {"positions": [position], "by": "office", "ground": "Request 12"}


@pytest.mark.parametrize("who", ["office", "supervisor", "producer", "layout"])
@pytest.mark.parametrize("path", ["/events", "/what-if"])
def test_nobody_may_erase_a_text_over_http(opened: Paper, path: str, who: str) -> None:
    data = {"positions": [1], "by": "office", "ground": "Request 12"}
    answer = opened.post(path, opened.event("text.forgotten", "studio", data), who)
    status, _, _ = opened.problem(answer)
    assert status == 403
    if who != "layout" or path == "/events":
        assert "retake-ledger erase-text" in str(answer.get_json())


@pytest.mark.parametrize("name", ["forgotten", "typeversion"])
def test_what_the_log_sets_is_not_posted(opened: Paper, name: str) -> None:
    event = opened.event("scene.omitted", "KESTREL-1/1") | {name: True}
    assert opened.problem(opened.post("/events", event)) == (
        (422, "invalid-event", [(f"/{name}", "set-by-the-log")])
    )
