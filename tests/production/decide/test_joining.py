"""How scenes are joined: hook-ups, and what one reuses of another."""

from typing import Any

import pytest

from service.production.refusal import Code
from tests.production.decide.test_office import NINE, line_of, opened
from tests.production.test_graph import in_a_circle
from tests.telling import studio


def test_a_hook_up_joins_two_known_scenes_once() -> None:
    story = studio()
    assert story.codes("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/1"}) == {Code.CIRCLE}
    assert story.codes("hook-up.declared", "KESTREL-1/98", {"to": "KESTREL-1/99"}) == {Code.UNKNOWN}
    story.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"})
    assert story.codes("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"}) == {Code.EXISTS}


def reuse(source: str, joins: str = "camera", **more: Any) -> dict[str, Any]:
    return {"source": source, "joins": joins, "strands": ["character"], **more}


def test_circles_of_reuse_are_refused() -> None:
    story = studio()
    assert story.codes("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/1")) == {Code.CIRCLE}
    story.tell("same-as.declared", "KESTREL-1/2", reuse("KESTREL-1/1"))
    story.tell("same-as.declared", "KESTREL-1/3", reuse("KESTREL-1/2"))
    assert story.codes("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/3")) == {Code.CIRCLE}


def test_reuse_names_a_known_source_and_a_department_the_scene_visits() -> None:
    story = studio()
    assert story.codes("same-as.declared", "KESTREL-1/1", reuse("KESTREL-9/1")) == {Code.UNKNOWN}
    assert story.codes("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/2", "mix")) == {
        Code.NOT_ON_ROUTE
    }
    story.tell("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/2"))
    assert story.codes("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/2")) == {Code.EXISTS}


def test_what_has_begun_cannot_be_reused_from_elsewhere() -> None:
    story = studio()
    story.desk("KESTREL-1/1", "animation", start=NINE)
    assert story.codes("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/2")) == {
        Code.CONTRADICTION
    }
    story.tell("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/2", levels=["A"]))
    assert "animation" in story.state.scenes["KESTREL-1/1"].departments


@pytest.mark.parametrize(
    ("joins", "strands", "levels", "member"),
    [
        # layout makes the backgrounds of the scene besides, so that it must be done all the same
        ("animation", ["character"], [], "/data/joins"),
        ("background", ["background"], [], "/data/joins"),
        ("camera", ["character"], [], None),
        ("animation", ["background", "character"], [], "/data/joins"),
        ("camera", ["background", "character"], [], None),
        ("animation", ["character"], ["A"], None),
        # nothing of that kind comes to camera at all
        ("camera", ["sound"], [], "/data/strands"),
        ("camera", ["sound"], ["A"], "/data/strands"),
    ],
)
def test_what_saves_no_department_any_work_is_refused(
    joins: str, strands: list[str], levels: list[str], member: str | None
) -> None:
    story = studio()
    data = {"source": "KESTREL-1/1", "joins": joins, "strands": strands, "levels": levels}
    if member is None:
        story.tell("same-as.declared", "KESTREL-1/2", data)
        return
    (reason,) = story.refused("same-as.declared", "KESTREL-1/2", data)
    assert (reason.code, reason.member) == (Code.CONTRADICTION, member)


def test_scenes_of_two_routes_do_not_come_to_wait_for_each_other() -> None:
    story = opened()
    story.tell("route.laid", "KESTREL", line_of("layout", "LOCK", "paint", "camera", "MIX"))
    story.tell("episode.opened", "KESTREL-1", {"title": "Number 1"})
    story.tell("scene.listed", "KESTREL-1/1", {"frames": 24})
    story.tell("route.laid", "KESTREL", line_of("paint", "camera", "LOCK", "layout", "MIX"))
    story.tell("scene.listed", "KESTREL-1/2", {"frames": 24})
    # the second's camera would wait for the first's paint, that for the lock, that for the camera
    (reason,) = story.refused("same-as.declared", "KESTREL-1/2", reuse("KESTREL-1/1", levels=["A"]))
    assert (reason.code, reason.member) == (Code.CIRCLE, "/data/source")
    # the other way round nothing waits for itself
    story.tell("same-as.declared", "KESTREL-1/1", reuse("KESTREL-1/2", levels=["A"]))
    assert not in_a_circle(story.state)
