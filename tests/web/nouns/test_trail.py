"""What moved a delivery, over HTTP: rows, pages, causes, totals."""

from typing import Any

import pytest
from sqlalchemy import Engine

from service.projections.present import Trails, WalkLimits
from service.projections.walking import Walker
from service.record import Studios
from service.web.nouns.trail.answers import shown_days
from tests.projections.logs import built_by_other_rules

from ..paper import Paper, another_worker
from ..provided import provide_with
from .test_impacts import CALL

EPISODE = "KESTREL-1"
SCENE = "KESTREL-1/1"


@pytest.fixture
def delayed(paper: Paper) -> Paper:
    """One episode of one scene, a day lost at the layout desk, and a retake.

    By hand, from nine to five: the board takes two days, layout half a day, animation a day (5
    feet at 5), paint two (40 drawings at 20), camera 2 hours, cutting and mix a day each.
    Listed on Monday, the board done at eight: from Monday 9:00 on 4 + 8 + 16 + 2 + 8 + 8 = 46
    hours, to Monday the 10th, 15:00. Nothing starts on Monday: a day is lost.
    """
    paper.open(1, (EPISODE,))
    paper.move_clock("2031-03-04T09:00:00Z")
    paper.desk(SCENE, "layout", start="2031-03-04T09:00:00Z")
    paper.move_clock("2031-03-04T13:00:00Z")
    paper.tell("hand-off.made", SCENE, {"department": "layout"})
    paper.desk(SCENE, "background", "animation", start="2031-03-04T13:00:00Z")
    paper.move_clock("2031-03-05T13:00:00Z")
    for department in ("background", "animation"):
        paper.tell("hand-off.made", SCENE, {"department": department})
    # half of 5 feet again: 4 hours
    paper.tell("retake.called", SCENE, CALL)
    return paper


def build(paper: Paper) -> None:
    """Build the trail as the projector does."""
    studio = Studios(paper.engine).of("paper").warm
    with paper.engine.connect() as connection:
        assert Walker(studio, paper.engine).piece(connection, 60).done


def moves(paper: Paper, query: str = "") -> list[dict[str, Any]]:
    items: list[dict[str, Any]] = paper.get(f"/episodes/{EPISODE}/trail{query}")["items"]
    return items


def test_each_change_of_a_delivery_with_its_cause(delayed: Paper) -> None:
    shown = moves(delayed)
    assert [(row["type"], row["delta_minutes"]) for row in shown] == [
        ("scene.listed", None),
        # the storyboard, two days of work, is recorded as done in the same minute
        ("hand-off.made", -(2 * 1440)),
        (None, 1440),
        # from the minute in which a desk should be done on, the plan gives it one minute more
        (None, 1),
        ("hand-off.made", -1),
        (None, 1),
        ("hand-off.made", -1),
        ("retake.called", 4 * 60 + 16 * 60),
    ]
    first, board, lost, *_, called = shown
    assert first["delivery_after"] == board["delivery_before"] == "2031-03-12T15:00:00Z"
    assert board["delivery_after"] == "2031-03-10T15:00:00Z"
    assert lost["cause"] == "time"
    assert (lost["waited_for"], lost["department"]) == (SCENE, "layout")
    assert (lost["at"], lost["delta_days"]) == ("2031-03-04T09:00:00Z", 1.0)
    assert (called["retake"], called["retake_kind"]) == ("R1", "retake")
    assert (called["department"], called["delta_days"]) == ("animation", 0.83)
    assert called["delivery_after"] == "2031-03-12T11:00:00Z"


def test_a_delivery_that_was_made_and_is_open_again_says_so(paper: Paper) -> None:
    paper.open(1, (EPISODE,))
    paper.move_clock("2031-03-10T15:00:00Z")
    for department in ("layout", "background", "animation", "paint", "camera"):
        paper.desk(SCENE, department, start="2031-03-04T09:00:00Z", end=paper.now)
    paper.desk(EPISODE, "cutting", "mix", start=paper.now, end=paper.now)
    paper.move_clock("2031-03-24T08:00:00Z")
    call = CALL | {"back_to": "mix", "strands": ["sound"], "share": 1}
    paper.tell("retake.called", EPISODE, call)
    *before, called = moves(paper)
    # made on the 10th; a day of mix from Monday the 24th on
    assert (called["delivery_before"], called["delivery_after"]) == (
        "2031-03-10T15:00:00Z", "2031-03-24T17:00:00Z",
    )  # fmt: skip
    assert called["reopened"]
    assert not any(row["reopened"] for row in before)
    paper.tell("retake.withdrawn", EPISODE, {"retake": "R1"})
    withdrawn = moves(paper)[-1]
    assert withdrawn["delta_minutes"] == -called["delta_minutes"]
    assert not withdrawn["reopened"]


def test_stored_rows_are_the_same_and_what_is_not_over_is_provisional(delayed: Paper) -> None:
    before = moves(delayed)
    assert all(row["provisional"] for row in before)
    build(delayed)
    after = moves(delayed)
    assert [row["provisional"] for row in after] == [False] * 5 + [True] * 3
    assert [row | {"provisional": True} for row in after] == before
    delayed.move_clock("2031-03-06T13:00:00Z")
    *_, called, waited = moves(delayed)
    assert (called["type"], waited["cause"], waited["delta_minutes"]) == (
        "retake.called", "time", 1440,
    )  # fmt: skip
    assert waited["provisional"]
    assert (waited["waited_for"], waited["department"]) == (SCENE, "animation")


@pytest.mark.parametrize("stored", [False, True])
def test_pages_and_filters(delayed: Paper, *, stored: bool) -> None:
    if stored:
        build(delayed)
    path = f"/episodes/{EPISODE}/trail"
    assert delayed.all_pages(path, 1) == delayed.all_pages(path, 3) == moves(delayed)
    of_events = delayed.all_pages(f"{path}?cause=event", 2)
    assert [row["number"] for row in of_events] == [1, 2, 5, 7, 8]
    assert [row["number"] for row in moves(delayed, "?cause=time")] == [3, 4, 6]
    assert [row["number"] for row in moves(delayed, "?cause=retake.called")] == [8]
    last = moves(delayed)[-1]["position"]
    assert [row["number"] for row in moves(delayed, f"?from_position={last}")] == [8]
    assert [row["number"] for row in moves(delayed, f"?until_position={last - 1}")] == list(
        range(1, 8)
    )


def test_wrong_queries_are_refused(delayed: Paper) -> None:
    path = f"/episodes/{EPISODE}/trail"
    assert delayed.refused(f"{path}?cause=weather") == (
        400, "invalid-query", [("?cause", "not-a-choice")],
    )  # fmt: skip
    cursor = delayed.ask(f"{path}?limit=1").get_json()["next"]
    assert delayed.refused(f"{path}?cause=time&cursor={cursor}")[2] == [("?cursor", "wrong-cursor")]
    assert delayed.refused("/episodes/KESTREL-9/trail")[:2] == (404, "not-found")
    assert delayed.refused("/episodes/KESTREL-9/trail/totals")[:2] == (404, "not-found")
    assert delayed.refused("/trail/totals?show=OWL")[:2] == (404, "not-found")


@pytest.mark.parametrize("stored", [False, True])
@pytest.mark.parametrize("path", [f"/episodes/{EPISODE}/trail/totals", "/trail/totals",
                                  "/trail/totals?show=KESTREL"])  # fmt: skip
def test_totals(delayed: Paper, path: str, *, stored: bool) -> None:
    if stored:
        build(delayed)
    shown = delayed.get(path)
    lost, gained = 1440 + 1 + 1 + 1200, 2 * 1440 + 1 + 1
    assert shown["in_all"] == {
        "moves": 7,
        "minutes_lost": lost,
        "minutes_gained": gained,
        "minutes_net": lost - gained,
        "days_lost": 1.83,
        "days_gained": 2.0,
        "days_net": -0.17,
    }
    by_cause = [(row["cause"], row["type"], row["minutes_net"]) for row in shown["by_cause"]]
    assert by_cause == [
        ("time", None, 1442), ("event", "retake.called", 1200), ("event", "hand-off.made", -2882),
    ]  # fmt: skip
    by_department = [(row["department"], row["days_net"]) for row in shown["by_department"]]
    assert by_department == [("layout", 1.0), ("animation", 0.83), ("storyboard", -2.0)]
    (of_kind,) = shown["by_retake_kind"]
    assert (of_kind["retake_kind"], of_kind["moves"]) == ("retake", 1)


def test_auditors_read_it_and_a_tag_says_that_nothing_changed(delayed: Paper) -> None:
    path = f"/episodes/{EPISODE}/trail"
    first = delayed.ask(path, "auditor")
    assert first.status_code == 200
    again = delayed.ask(path, "auditor", {"If-None-Match": first.headers["ETag"]})
    assert again.status_code == 304
    build(delayed)
    assert delayed.ask(path, "auditor", {"If-None-Match": first.headers["ETag"]}).status_code == 200


def test_another_worker_answers_the_same(delayed: Paper, engine: Engine) -> None:
    build(delayed)
    mine = moves(delayed)
    delayed.app = another_worker(engine)
    assert moves(delayed) == mine


def test_reads_are_refused_while_much_is_being_built(delayed: Paper) -> None:
    provide_with(delayed.app, trails=Trails(delayed.engine, WalkLimits(behind_events_max=5)))
    answer = delayed.ask(f"/episodes/{EPISODE}/trail")
    assert delayed.problem(answer)[:2] == (503, "being-built")
    assert int(answer.headers["Retry-After"]) > 0
    build(delayed)
    assert moves(delayed)
    built_by_other_rules(delayed.engine)
    assert delayed.refused("/trail/totals")[:2] == (503, "being-built")


@pytest.mark.parametrize("minutes", range(-8, 9))
def test_days_of_a_few_minutes_have_no_sign_where_they_are_none(minutes: int) -> None:
    shown = shown_days(minutes)
    assert shown is not None
    assert (shown == 0) == (abs(minutes) <= 7)
    assert str(shown) != "-0.0"
