"""Codes that are easily confused, and shows that say how theirs look."""

from typing import Any

import pytest

from service.production.refusal import Code
from service.vocabulary.identifiers import alike, has_shape
from tests.telling import ROUTE, Story, studio


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("sc_020_A", "20A"),
        ("42", "042"),
        ("42a", "42A"),
        ("SC42", "42"),
        ("1.2", "1_2"),
        ("0", "00"),
    ],
)
def test_codes_that_read_alike(one: str, other: str) -> None:
    assert alike(one) == alike(other)


@pytest.mark.parametrize(
    ("one", "other"),
    [("20", "2.0"), ("42", "42A"), ("A1", "B1"), ("sc", "1"), ("12", "1.2"), ("A1", "1")],
)
def test_codes_that_do_not(one: str, other: str) -> None:
    assert alike(one) != alike(other)


@pytest.mark.parametrize(
    ("shape", "good", "bad"),
    [
        ("#", ["0", "7", "142"], ["07", "A", "7A", ""]),
        ("#@", ["7A", "142B"], ["7", "7a", "7AB"]),
        ("sc_###_@", ["sc_020_A"], ["sc_20_A", "SC_020_A", "sc_0200_A"]),
        ("@##", ["A01"], ["A1", "a01"]),
        ("1.#", ["1.5"], ["1x5", "1.05"]),
    ],
)
def test_shapes(shape: str, good: list[str], bad: list[str]) -> None:
    assert all(has_shape(code, shape) for code in good)
    assert not any(has_shape(code, shape) for code in bad)


def test_a_code_that_looks_like_one_already_there_is_flagged() -> None:
    story = studio(scenes=20)
    like = story.tell("scene.listed", "KESTREL-1/sc_020", {"frames": 40})
    assert story.marks(like) == ("looks-like-another",)
    assert story.marks(story.tell("scene.listed", "KESTREL-1/20A", {"frames": 40})) == ()
    assert story.marks(story.tell("scene.listed", "KESTREL-1/020.a", {"frames": 40})) == (
        "looks-like-another",
    )
    # an order adds a scene like any other
    assert story.marks(story.tell("scene.listed", "KESTREL-2/21", {"frames": 40})) == ()


def test_so_are_codes_of_elements_and_episodes() -> None:
    story = studio()
    story.tell("element.listed", "KESTREL:fox", {"kind": "model-sheet"})
    fox = story.tell("element.listed", "KESTREL:Fox", {"kind": "model-sheet"})
    assert story.marks(fox) == ("looks-like-another",)
    opened = story.tell("episode.opened", "KESTREL-01", {"title": "One again"})
    assert story.marks(opened) == ("looks-like-another",)


def story_of_show(*shapes: str) -> Story:
    story = Story()
    story.tell("show.opened", "WREN", {"title": "Wren", "scene_codes": list(shapes)})
    story.tell("route.laid", "WREN", ROUTE)
    story.tell("episode.opened", "WREN-1", {"title": "One"})
    return story


def listed(story: Story, number: str) -> tuple[str, str, dict[str, Any]]:
    return "scene.listed", f"WREN-1/{number}", {"frames": 40}


def test_a_show_may_say_how_its_scenes_codes_look() -> None:
    story = story_of_show("###", "###@")
    story.tell(*listed(story, "020"))
    story.tell(*listed(story, "020A"))
    for wrong in ("20", "sc_020", "020a"):
        (reason,) = story.refused(*listed(story, wrong))
        assert (reason.code, reason.member) == (Code.CONTRADICTION, "/subject")
        assert "### or ###@" in reason.detail


def test_without_it_any_code_is_taken() -> None:
    story = story_of_show()
    for number in ("20", "sc_021", "22a"):
        story.tell(*listed(story, number))
