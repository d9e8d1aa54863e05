"""A fault that keeps plans from being made takes nothing else with it."""

from collections.abc import Iterator
from types import ModuleType
from typing import Any

import pytest

from service.planning.board import board, posing
from service.planning.board.board import BoardRow, Item
from service.planning.plan import schedule as planned
from service.production.state import State

from ..paper import Paper

SCENE = "KESTREL-1/2"


@pytest.fixture
def broken(opened: Paper) -> Iterator[Paper]:
    """A studio with a retake and a note; plans fail at one scene from now on."""
    opened.desk(SCENE, "layout", start="2031-03-03T08:00:00Z", end="2031-03-03T08:00:00Z")
    data = {"retake": "R1", "kind": "retake", "urgency": "must-fix", "back_to": "layout"}
    data |= {"strands": ["background"], "share": 0.5}  # type: ignore[dict-item]  # members of JSON differ in type
    opened.tell("retake.called", SCENE, data)
    stand = board.stand

    def fails(state: State, record: Item, *more: Any) -> BoardRow:
        if record is state.scenes[SCENE]:
            raise ZeroDivisionError("a fault of ours")
        return stand(state, record, *more)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(board, "stand", fails)
        yield opened


@pytest.mark.parametrize(
    "path",
    [
        *("/episodes", "/episodes/KESTREL-2", "/episodes/KESTREL-1/scenes", "/departments"),
        *("/departments/layout/tray", "/retakes/R1/impact", "/episodes/KESTREL-1/replay"),
        *("/episodes/KESTREL-1/trail", "/shows/KESTREL/elements"),
    ],
)
def test_what_needs_a_plan_says_at_which_item_none_can_be_made(broken: Paper, path: str) -> None:
    if path.endswith("elements"):
        broken.tell("element.listed", "KESTREL:fox", {"kind": "model-sheet"}, who="office")
    answer = broken.ask(path)
    assert broken.problem(answer) == (500, "no-plan", [])
    body = answer.get_json()
    assert body["item"] == SCENE
    assert SCENE in body["detail"]
    assert body["trace"]


@pytest.mark.parametrize(
    "path",
    [
        *("/events", "/retakes", "/retakes/R1", "/episodes/KESTREL-1/diary", "/notes", "/clock"),
        *("/episodes/KESTREL-1/replay/events", "/reports/retakes", "/shows", "/shows/KESTREL"),
        *("/proofs/inclusion?position=3", "/proofs/consistency?from=2", "/change-orders"),
    ],
)
def test_what_follows_from_the_record_alone_still_answers(broken: Paper, path: str) -> None:
    if path.startswith(("/proofs", "/events")):  # whose answers are not plain JSON
        assert broken.ask(path).status_code == 200
    else:
        broken.get(path)


def test_a_retake_answers_with_nothing_projected(broken: Paper) -> None:
    shown = broken.get("/retakes/R1")
    (take,) = [take for take in shown["takes"] if take["department"] == "layout"]
    assert (take["take"], take["state"], take["projected_finish_at"]) == (2, "in_tray", None)


def test_the_diary_says_that_no_plan_could_be_made(broken: Paper) -> None:
    (entry,) = [
        entry
        for entry in broken.get("/episodes/KESTREL-1/diary")["items"]
        if entry["type"] == "retake.called"
    ]
    assert (entry["delivery"], entry["no_plan"]) == (None, {"item": SCENE})
    text = broken.ask("/episodes/KESTREL-1/diary", headers={"Accept": "text/plain"}).text
    assert "no plan could be made of the record as it was then" in text


def test_posts_are_taken(broken: Paper) -> None:
    broken.tell("work.started", SCENE, {"department": "layout"})
    handed_off = broken.event("hand-off.made", SCENE, {"department": "layout"})
    assert broken.problem(broken.post("/what-if", handed_off))[:2] == (500, "no-plan")


def ready(paper: Paper) -> Any:
    return paper.app.test_client().get("/ready").get_json()


def test_readiness_and_a_metric_tell_until_a_plan_is_made_again(broken: Paper) -> None:
    assert ready(broken) == {"state": "ready", "studios_without_plan": 0}
    broken.ask("/episodes")
    assert ready(broken) == {"state": "ready", "studios_without_plan": 1}
    metrics = broken.app.test_client().get("/metrics").text
    assert "retake_ledger_studios_without_plan 1.0" in metrics
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(board, "stand", lambda *given: BoardRow(0, 0, 0, -1, -1, False))
        assert broken.ask("/episodes").status_code == 200
    assert ready(broken)["studios_without_plan"] == 0


ANEW = [
    *((board, name) for name in ("make_frame", "stand")),
    *((posing, name) for name in ("_release", "_keys", "_hours_by", "_crews_by")),
    *((planned, name) for name in ("make_line", "dispatch", "latest", "overdue_since")),
]
"""Functions that may fail while the first plan of a studio is made."""
PATCHED = [(board, name) for name in ("reframe", "sources_touched", "_prioritise")]
"""Functions that may fail while a plan is made from the one before."""


@pytest.mark.parametrize(
    ("module", "name", "warm"),
    [*((*place, False) for place in ANEW), *((*place, True) for place in PATCHED)],
)
def test_whatever_fault_keeps_a_plan_from_being_made_takes_nothing_else_with_it(
    opened: Paper, module: ModuleType, name: str, warm: bool
) -> None:
    def fails(*given: Any, **more: Any) -> None:
        raise ZeroDivisionError("a fault of ours")

    if warm:
        opened.get("/episodes")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, name, fails)
        opened.desk(SCENE, "layout", start="2031-03-03T08:00:00Z", end="2031-03-03T08:00:00Z")
        call = {"retake": "R1", "kind": "retake", "urgency": "must-fix", "back_to": "layout"}
        opened.tell("retake.called", SCENE, call | {"strands": ["background"], "share": 0.5})
        for path in ("/episodes", "/episodes/KESTREL-1", "/departments/layout/tray"):
            assert opened.problem(opened.ask(path)) == (500, "no-plan", [])
        assert opened.get("/retakes/R1")["takes"]
        assert opened.get("/episodes/KESTREL-1/diary")["items"]
        assert ready(opened)["studios_without_plan"] == 1
    assert opened.ask("/episodes").status_code == 200
    assert ready(opened)["studios_without_plan"] == 0
