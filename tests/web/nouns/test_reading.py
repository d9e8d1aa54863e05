"""What all reads share: positions, moments, tags, pages, and refusing unknown arguments."""

import threading

import pytest
from sqlalchemy import Engine

from service.web.position_waits import Waiting

from ..paper import Paper, another_worker
from ..provided import provide_with

LISTS = (
    "/shows",
    "/shows/KESTREL/elements",
    "/episodes",
    "/episodes/KESTREL-1/scenes",
    "/departments",
    "/departments/layout/tray?section=in_tray&section=held",
    "/departments/camera/tray?section=ahead",
    "/notes?answered=all",
    "/retakes",
    "/episodes/KESTREL-1/replay/events",
)
ONES = (
    "/shows/KESTREL",
    "/shows/KESTREL/elements/BG-1",
    "/episodes/KESTREL-1",
    "/episodes/KESTREL-1/scenes/1",
    "/episodes/KESTREL-1/replay",
    "/retakes/R1",
    "/retakes/R1/impact",
)


@pytest.fixture
def busy(opened: Paper) -> Paper:
    """A studio in which every list has something."""
    for number in (1, 2, 3):
        name = f"KESTREL:BG-{number}"
        opened.tell("element.listed", name, {"kind": "background"}, who="office")
        opened.tell("element.used", name, {"scenes": [f"KESTREL-1/{number}"]}, who="office")
        note = {"note": f"N{number}", "to": "layout", "text": "Text."}
        opened.tell("note.given", f"KESTREL-1/{number}", note)
    opened.tell("note.answered", "KESTREL-1/1", {"note": "N1"})
    opened.tell("show.opened", "ASTER", {"title": "Aster"}, who="office")
    opened.tell("scene.held", "KESTREL-1/3", {"owes": "client", "by_on": "2031-03-05"})
    opened.move_clock("2031-03-03T13:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end=opened.now)
    for number in (1, 2):
        call = {
            "retake": f"R{number}",
            "kind": "retake",
            "urgency": "must-fix",
            "back_to": "layout",
            "strands": ["character"],
            "share": 0.1,
        }
        opened.tell("retake.called", "KESTREL-1/1", call)
    return opened


@pytest.mark.parametrize("path", LISTS)
def test_the_pages_to_the_end_are_the_whole(busy: Paper, path: str) -> None:
    whole = busy.get(path)["items"]
    assert len(whole) > 1
    for limit in (1, 2, len(whole)):
        assert busy.all_pages(path, limit) == whole


def test_pages_stay_at_one_position_and_moment(busy: Paper, engine: Engine) -> None:
    path = "/departments/layout/tray"
    whole = busy.get(path)
    first = busy.get(f"{path}?limit=2")
    busy.tell("visit.put-first", "KESTREL-2/3", {"department": "layout"})
    busy.move_clock("2031-03-05T13:00:00Z")
    for _ in ("the same worker", "another one"):
        second = busy.get(f"{path}?limit=1000&cursor={first['next']}")
        assert second["position"] == whole["position"]
        assert second["now"] == whole["now"]
        assert first["items"] + second["items"] == whole["items"]
        busy.app = another_worker(engine)
    assert busy.get(path)["items"][0]["item"] == "KESTREL-2/3"


def test_a_cursor_belongs_to_its_query(busy: Paper) -> None:
    cursor = busy.get("/notes?limit=1&answered=all")["next"]
    wrong = (400, "invalid-query", [("?cursor", "wrong-cursor")])
    assert busy.ask(f"/notes?answered=all&cursor={cursor}").status_code == 200
    assert busy.refused(f"/notes?cursor={cursor}") == wrong
    assert busy.refused(f"/retakes?cursor={cursor}") == wrong
    assert busy.refused("/notes?cursor=WzFd") == wrong
    assert busy.refused("/notes?cursor=%FF") == wrong


@pytest.mark.parametrize("path", [*LISTS, *ONES])
def test_an_answer_is_tagged_by_position_and_moment(busy: Paper, path: str) -> None:
    first = busy.ask(path)
    shown = first.get_json()
    assert {"position", "now"} <= set(shown)
    tag = {"If-None-Match": first.headers["ETag"]}
    again = busy.ask(path, headers=tag)
    assert (again.status_code, again.data) == (304, b"")
    busy.tell("note.given", "KESTREL-1/1", {"note": "N9", "to": "paint", "text": "New."})
    changed = busy.ask(path, headers=tag)
    # what a recorded call did never changes
    assert changed.status_code == (304 if path.endswith("/impact") else 200)


# the tag of recorded events is made of what is sent
@pytest.mark.parametrize("path", [path for path in (*LISTS, *ONES) if path != LISTS[-1]])
def test_a_tag_of_another_release_is_out_of_date(busy: Paper, path: str) -> None:
    """Its answer to the same question may have had other members."""
    tag = {"If-None-Match": busy.ask(path).headers["ETag"]}
    provide_with(busy.app, release="the next")
    assert busy.ask(path, headers=tag).status_code == 200


@pytest.mark.parametrize("path", [path for path in ONES if not path.endswith("/impact")])
def test_the_moment_alone_makes_another_answer(busy: Paper, path: str) -> None:
    tag = {"If-None-Match": busy.ask(path).headers["ETag"]}
    busy.move_clock("2031-03-03T13:00:59Z")
    assert busy.ask(path, headers=tag).status_code == 304
    busy.move_clock("2031-03-03T13:01:00Z")
    assert busy.ask(path, headers=tag).status_code == 200


@pytest.mark.parametrize("path", [*LISTS, *ONES, "/events/1/impact"])
def test_unknown_arguments_are_refused(busy: Paper, path: str) -> None:
    mark = "&" if "?" in path else "?"
    assert busy.refused(f"{path}{mark}colour=red") == (
        400,
        "invalid-query",
        [("?colour", "unknown-argument")],
    )


@pytest.mark.parametrize("path", [*LISTS, *ONES, "/events/1/impact"])
def test_a_token_is_required(busy: Paper, path: str) -> None:
    answer = busy.app.test_client().get(path)
    assert busy.problem(answer) == (401, "no-token", [])


@pytest.mark.parametrize("path", [*LISTS, *ONES])
def test_every_role_may_read(busy: Paper, path: str) -> None:
    shown = [busy.get(path, who) for who in ("office", "supervisor", "producer", "auditor")]
    assert all(one == shown[0] for one in shown)
    assert busy.get(path, "camera")


@pytest.mark.parametrize("path", [*LISTS[:-1], *ONES])
def test_a_read_waits_for_the_position_it_must_have_seen(busy: Paper, path: str) -> None:
    provide_with(busy.app, waiting=Waiting(wait_s=0.05))
    head = busy.get("/episodes")["position"]
    mark = "&" if "?" in path else "?"
    assert busy.get(f"{path}{mark}min_position={head}")
    answer = busy.ask(f"{path}{mark}min_position={head + 1}")
    assert busy.problem(answer)[1] == "not-yet"
    assert answer.headers["Retry-After"] == "1"


def test_a_read_sees_what_another_worker_records_meanwhile(busy: Paper, engine: Engine) -> None:
    head = busy.get("/notes")["position"]
    found: list[int] = []
    reader = another_worker(engine)

    def read() -> None:
        answer = reader.test_client().get(
            f"/notes?min_position={head + 1}",
            headers={"Authorization": f"Bearer {busy.secrets['auditor']}"},
        )
        found.append(answer.get_json()["position"])

    thread = threading.Thread(target=read)
    thread.start()
    busy.tell("note.given", "KESTREL-1/1", {"note": "N9", "to": "paint", "text": "New."})
    thread.join()
    assert found == [head + 1]


def test_a_studio_with_nothing_in_it_answers_with_nothing(paper: Paper) -> None:
    for path in ("/shows", "/episodes", "/departments", "/notes", "/retakes"):
        shown = paper.get(path)
        assert (shown["position"], shown["items"]) == (0, [])
    assert paper.what_if()["episodes"] == []
