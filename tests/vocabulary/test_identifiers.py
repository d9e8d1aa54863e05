"""Subjects taken apart, and scene numbers in the order people count them."""

import pytest

from service.vocabulary.identifiers import Form, natural_order, parse_subject


@pytest.mark.parametrize(
    ("text", "form", "show", "episode", "last"),
    [
        ("studio", Form.STUDIO, "", "", "studio"),
        ("KESTREL", Form.SHOW, "KESTREL", "", "KESTREL"),
        ("KESTREL-101", Form.EPISODE, "KESTREL", "KESTREL-101", "101"),
        ("KESTREL-101/42A", Form.SCENE, "KESTREL", "KESTREL-101", "42A"),
        ("KESTREL:harbour.night-2", Form.ELEMENT, "KESTREL", "", "harbour.night-2"),
    ],
)
def test_each_form_of_a_subject_is_taken_apart(
    text: str, form: Form, show: str, episode: str, last: str
) -> None:
    subject = parse_subject(text)
    assert subject is not None
    assert subject == (text, form, show, episode, last)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Studio",
        "kestrel",
        "KESTREL-",
        "KESTREL-101/",
        "KESTREL/42",
        "KESTREL:",
        "KESTREL-101/42/1",
        "KESTREL-101/42 ",
        "KESTREL-101/42\n",
        "KESTREL-a1",
        "KESTREL-101/٤٢",
        "ABCDEFGHIJKLM",
    ],
)
def test_anything_else_is_no_subject(text: str) -> None:
    assert parse_subject(text) is None


def test_scene_numbers_sort_as_people_count() -> None:
    numbers = ["100", "42A", "9", "42", "42B", "10"]
    assert sorted(numbers, key=natural_order) == ["9", "10", "42", "42A", "42B", "100"]


def test_numbers_and_words_can_be_sorted_together() -> None:
    assert sorted(["B1", "1", "A2", "A10"], key=natural_order) == ["A2", "A10", "B1", "1"]
