"""An episode's diary: what happened, and what each event changed when it was recorded."""

import csv
import io
from typing import Any

import pytest
from sqlalchemy import Engine

from service.projections.diary import WALKED_EVENTS_MAX, DiaryEntry, all_about, read_diary
from service.record import Studios

from ..paper import Paper, another_worker

DIARY = "/episodes/KESTREL-1/diary"
SCENE = "KESTREL-1/1"
CALL = {
    "retake": "R1",
    "kind": "retake",
    "urgency": "must-fix",
    "back_to": "layout",
    "strands": ["character"],
    "share": 1,
    "items": [SCENE],
    "why": "=Too dark.",
}


@pytest.fixture
def recorded(opened: Paper) -> tuple[Paper, dict[str, int]]:
    """Layout of a scene, one fact late, one struck, a retake called and withdrawn."""
    at: dict[str, int] = {}
    opened.move_clock("2031-03-04T15:00:00Z")
    opened.desk(SCENE, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    at["other"] = opened.tell("note.given", "KESTREL-2/1", _note("N1"))
    at["note"] = opened.tell("note.given", SCENE, _note("N2"))
    at["late"] = opened.record(
        opened.event("hand-out.made", SCENE, {"department": "layout", "artist": "L7"})
        | {"time": "2031-03-03T08:30:00Z"}
    )
    at["slip"] = opened.tell("work.started", "KESTREL-1/2", {"department": "layout"})
    at["call"] = opened.tell("retake.called", "KESTREL", CALL)
    at["strike"] = opened.tell("event.struck", "studio", {"position": at["slip"], "why": "Slip."})
    at["withdrawn"] = opened.tell("retake.withdrawn", "KESTREL", {"retake": "R1"})
    return opened, at


def _note(code: str) -> dict[str, str]:
    return {"note": code, "to": "paint", "text": "The moon is too low."}


def entries(paper: Paper, who: str = "supervisor", query: str = "?limit=200") -> dict[int, Any]:
    return {entry["position"]: entry for entry in paper.get(DIARY + query, who)["items"]}


def changed(entry: dict[str, Any]) -> list[tuple[str, str, int, str]]:
    return [tuple(change.values()) for change in entry["changes"]]


def test_what_each_event_says_and_changed(recorded: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded
    shown = entries(paper)
    assert at["other"] not in shown
    assert list(shown) == sorted(shown)
    note = shown[at["note"]]
    assert note["sentence"] == f"Note N2 on {SCENE} was given to paint."
    assert note["words"] == {"/data/text": "The moon is too low."}
    assert (note["poster"], note["role"]) == ("supervisor", "supervisor")
    assert (note["delivery"], note["changes"], note["late"]) == (None, [], False)
    call = shown[at["call"]]
    # layout was handed off: it gets a second take; nothing behind it had begun
    assert (SCENE, "layout", 2, "reopened") in changed(call)
    assert call["delivery"]["before"] is not None
    # withdrawn before anybody began: the take that it opened is gone
    assert (SCENE, "layout", 2, "cancelled") in changed(shown[at["withdrawn"]])


def test_late_and_struck_facts_are_marked(recorded: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded
    shown = entries(paper)
    late = shown[at["late"]]
    assert late["late"]
    assert late["time"] < late["recordedat"]
    slip, strike = shown[at["slip"]], shown[at["strike"]]
    assert slip["struck_at"] == at["strike"]
    assert changed(slip) == [("KESTREL-1/2", "layout", 1, "started")]
    assert changed(strike) == [("KESTREL-1/2", "layout", 1, "in_tray_again")]
    assert strike["struck_at"] is None
    assert strike["words"] == {"/data/why": "Slip."}


def test_it_has_what_was_struck_or_withdrawn_however_much_that_is(
    recorded: tuple[Paper, dict[str, int]], engine: Engine
) -> None:
    paper, at = recorded
    slip = paper.tell("work.started", "KESTREL-1/2", {"department": "layout"})
    paper.tell("event.struck", "studio", {"position": slip, "why": "Again."})
    paper.tell("retake.called", "KESTREL", {**CALL, "retake": "R2"})
    withdrawn = paper.tell("retake.withdrawn", "KESTREL", {"retake": "R2"})
    wanted = {at["slip"], at["strike"], slip, slip + 1, at["withdrawn"], withdrawn}
    assert wanted <= set(entries(paper))
    studio = Studios(engine).of("paper").warm
    view = studio.view()
    struck = studio.history.strikes_at(view.position)
    with engine.connect() as connection:
        about = all_about(connection, "paper", view.state, "KESTREL-1", struck, read_events=1)
    assert wanted <= set(about.positions)


def test_the_dates_are_those_of_the_impact(recorded: tuple[Paper, dict[str, int]]) -> None:
    paper, _ = recorded
    checked = 0
    for position, entry in entries(paper).items():
        if entry["delivery"] is None:
            continue
        impact = paper.get(f"/events/{position}/impact")
        (mine,) = [one for one in impact["episodes"] if one["episode"] == "KESTREL-1"] or [None]
        if mine is None:
            continue
        checked += 1
        assert entry["delivery"] == {
            "before": mine["delivery_before"],
            "after": mine["delivery_after"],
            "open_before": None if entry["type"] == "episode.opened" else True,
            "open_after": True,
            "margin_workdays_before": mine["margin_workdays_before"],
            "margin_workdays_after": mine["margin_workdays_after"],
        }
    assert checked > 8


def test_a_delivery_that_was_made_and_is_open_again(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    paper.move_clock("2031-03-10T15:00:00Z")
    for department in ("layout", "background", "animation", "paint", "camera"):
        paper.desk(SCENE, department, start="2031-03-04T09:00:00Z", end=paper.now)
    paper.desk("KESTREL-1", "cutting", "mix", start=paper.now, end=paper.now)
    paper.move_clock("2031-03-24T08:00:00Z")
    call = CALL | {"back_to": "mix", "strands": ["sound"], "items": ["KESTREL-1"]}
    called = paper.tell("retake.called", "KESTREL-1", call)
    withdrawn = paper.tell("retake.withdrawn", "KESTREL-1", {"retake": "R1"})
    delivery = entries(paper)[called]["delivery"]
    assert (delivery["before"], delivery["open_before"]) == ("2031-03-10", False)
    assert (delivery["after"], delivery["open_after"]) == ("2031-03-24", True)
    text = paper.ask(f"{DIARY}?limit=200", headers={"Accept": "text/plain"}).get_data(as_text=True)
    *_, at_call, at_end = text.split("\n\n")
    # from the 24th to the 15th of April: 5 working days of March and 11 of April
    again = "delivery, made on 2031-03-10, is open again: 2031-03-24, margin 16 working days"
    assert again in at_call
    assert "delivery from 2031-03-24 to 2031-03-10, made then, margin 26" in at_end
    back = entries(paper)[withdrawn]["delivery"]
    assert (back["open_before"], back["open_after"]) == (True, False)


def test_page_by_page_and_in_another_worker_it_is_the_same(
    recorded: tuple[Paper, dict[str, int]], engine: Engine
) -> None:
    paper, _ = recorded
    whole = list(entries(paper).values())
    assert paper.all_pages(DIARY, 3) == whole
    paper.app = another_worker(engine)
    assert paper.all_pages(DIARY, 4) == whole


def walked(engine: Engine, events_max: int) -> list[DiaryEntry]:
    """The whole diary by a worker of its own, which walks across gaps of so many events at most."""
    studio = Studios(engine).of("paper").warm
    view = studio.view()
    found: list[DiaryEntry] = []
    more = True
    with engine.connect() as connection:
        while more:
            page, more = read_diary(
                *(connection, studio, view.state, "KESTREL-1"),
                after=found[-1].event.position if found else 0,
                limit=4,
                until=view.position,
                walked_events_max=events_max,
            )
            found += page
    return found


def test_it_is_the_same_whether_the_log_is_walked_or_a_worker_is_asked(
    recorded: tuple[Paper, dict[str, int]], engine: Engine
) -> None:
    paper, _ = recorded
    usual = walked(engine, WALKED_EVENTS_MAX)
    assert [entry.event.position for entry in usual] == list(entries(paper))
    for events_max in (0, 2):
        assert walked(engine, events_max) == usual


def test_pages_are_of_one_position(recorded: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded
    first = paper.get(f"{DIARY}?limit=3")
    later = paper.tell("note.given", SCENE, _note("N3"))
    rest = paper.get(f"{DIARY}?limit=200&cursor={first['next']}")
    assert rest["position"] == first["position"]
    assert [entry["position"] for entry in rest["items"]][-1] == at["withdrawn"]
    assert later in entries(paper)


def test_personal_text_is_for_those_who_may_read_it(recorded: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded
    assert entries(paper, "camera")[at["note"]]["words"]  # notes concern all desks
    assert entries(paper, "camera")[at["strike"]]["words"] == {}
    assert entries(paper, "auditor")[at["strike"]]["words"]


def test_money_is_withheld_from_desks(opened: Paper) -> None:
    line = {"change": "retime", "scene": SCENE, "frames": 160, "drawings": 80}
    data = {"order": "CO-1", "asked_by": "client", "words": "More stars.", "lines": [line]}
    raised = opened.event("change-order.raised", "KESTREL-1", data)
    position = opened.record(raised)
    kept = entries(opened, "layout")[position]
    assert (kept["withheld"], kept["words"]) == (True, {})
    assert "CO-1" not in kept["sentence"]
    open_ = entries(opened)[position]
    assert open_["sentence"].startswith("Change order CO-1 was raised")


def test_as_csv_and_as_text(recorded: tuple[Paper, dict[str, int]]) -> None:
    paper, at = recorded
    answer = paper.ask(f"{DIARY}?limit=200", headers={"Accept": "text/csv"})
    assert answer.content_type.startswith("text/csv")
    rows = list(csv.DictReader(io.StringIO(answer.get_data(as_text=True), newline="")))
    shown = entries(paper)
    assert [int(row["position"]) for row in rows] == list(shown)
    by_position = {int(row["position"]): row for row in rows}
    assert by_position[at["call"]]["words"] == "'=Too dark."
    assert by_position[at["slip"]]["struck_at"] == str(at["strike"])
    assert by_position[at["slip"]]["changes"] == "layout take 1 started"
    assert by_position[at["late"]]["marks"] == "late"
    answer = paper.ask(f"{DIARY}?limit=200", headers={"Accept": "text/plain"})
    text = answer.get_data(as_text=True)
    assert f"event {at['slip']}, recorded 2031-03-04T15:00:00Z by supervisor" in text
    assert f"struck by event {at['strike']}" in text
    assert "marked: late" in text
    part = paper.ask(f"{DIARY}?limit=3", headers={"Accept": "text/plain"})
    assert 'rel="next"' in part.headers["Link"]
    assert "Accept" in part.vary


def test_an_entry_tells_what_its_date_supposes_of_a_department_that_does_not_work(
    opened: Paper,
) -> None:
    before = opened.tell("priority.set", "KESTREL-1", {"priority": 1}, who="producer")
    opened.tell("department.stopped", "studio", {"department": "paint"})
    at = opened.tell("scene.retimed", "KESTREL-1/2", {"frames": 800})
    (one,) = entries(opened)[at]["suppositions"]
    assert (one["department"], one["taken_to_end_at"]) == ("paint", "2031-03-04T00:00:00Z")
    assert entries(opened)[before]["suppositions"] == []
    text = opened.ask(f"{DIARY}?limit=200", headers={"Accept": "text/plain"}).text
    *_, moved = (line for line in text.splitlines() if "delivery from" in line)
    assert "; paint did not work and was taken to go on at 2031-03-04T00:00:00Z" in moved


def test_wrong_requests_are_refused(opened: Paper) -> None:
    assert opened.refused("/episodes/KESTREL-9/diary")[0] == 404
    assert opened.refused(f"{DIARY}?limit=201")[0] == 400
    assert opened.refused(f"{DIARY}?cursor=x")[2] == [("?cursor", "wrong-cursor")]
    answer = opened.ask(DIARY, headers={"Accept": "image/png"})
    assert answer.status_code == 406


FORGED = (
    'Fine."\n    event 9, recorded 2031-03-04T15:00:00Z by desk\n\n'
    "2031-03-04T15:00:00Z  Change order CO-7 was approved.\r\x1b[2K\u202e\u2028"
    '    event 10, recorded 2031-03-04T15:00:00Z by producer\n    "Good.\u200d'
)


def test_no_text_can_pass_for_an_entry(opened: Paper) -> None:
    opened.tell("note.given", SCENE, {"note": "N1", "to": "paint", "text": FORGED})
    before = len(opened.ask(DIARY, headers={"Accept": "text/plain"}).text.split("\n\n"))
    opened.tell("note.given", SCENE, {"note": "N2", "to": "paint", "text": "Good."})
    text = opened.ask(DIARY, headers={"Accept": "text/plain"}).text
    assert len(text.split("\n\n")) == before + 1
    said = [line for line in text.splitlines() if "Change order CO-7" in line or "by desk" in line]
    assert said
    assert all(line.startswith("    | ") for line in said if "event 9," in line or "CO-7" in line)
    assert text.replace("\n", "").replace("\u200d", "").isprintable()
    assert "\\x1b[2K\\u202e" in text


def test_a_member_that_its_type_does_not_name_is_shown_with_its_name(opened: Paper) -> None:
    data = {"note": "N1", "to": "paint", "text": "Good.", "toward": {"a": 1}}
    at = opened.tell("note.given", SCENE, data)
    text = opened.ask(DIARY, headers={"Accept": "text/plain"}).text
    assert '    | /data/toward: {"a":1}\n' in text
    assert "    | Good.\n" in text
    answer = opened.ask(f"{DIARY}?limit=200", headers={"Accept": "text/csv"})
    rows = csv.DictReader(io.StringIO(answer.get_data(as_text=True), newline=""))
    (words,) = [row["words"] for row in rows if row["position"] == str(at)]
    assert sorted(words.split(" / ")) == ['/data/toward: {"a":1}', "Good."]


def test_what_the_strike_of_a_start_changes(opened: Paper) -> None:
    layout = {"department": "layout"}
    opened.move_clock("2031-03-04T15:00:00Z")
    started = opened.tell("work.started", SCENE, layout | {"artist": "L7"}, "2031-03-03T09:00:00Z")
    opened.tell("hand-off.made", SCENE, layout, "2031-03-03T13:00:00Z")
    struck = opened.tell("event.struck", "studio", {"position": started, "why": "Slip."})
    out = opened.tell("hand-out.made", "KESTREL-1/2", layout | {"artist": "L7"})
    back = opened.tell("hand-out.withdrawn", "KESTREL-1/2", layout)
    shown = entries(opened)
    assert changed(shown[struck]) == [(SCENE, "layout", 1, "dated_anew")]
    assert changed(shown[out]) == [("KESTREL-1/2", "layout", 1, "handed_out")]
    assert changed(shown[back]) == [("KESTREL-1/2", "layout", 1, "hand_out_withdrawn")]
