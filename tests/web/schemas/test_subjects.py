"""The patterns of subjects match the subjects of a form, and nothing else."""

import re

import pytest

from service.vocabulary.identifiers import Form, parse_subject
from service.web.schemas.subjects import pattern_of

SUBJECTS = {
    "studio": Form.STUDIO,
    "LANTERN": Form.SHOW,
    "L2": Form.SHOW,
    "LANTERN-104": Form.EPISODE,
    "LANTERN-104/42A": Form.SCENE,
    "LANTERN:HARBOUR-night.2": Form.ELEMENT,
}
NO_SUBJECTS = ("", "lantern", "STUDIOstudio", "LANTERN-", "LANTERN-104/", "A:B:C", "studio ", "2L")


@pytest.mark.parametrize("form", Form)
def test_a_form_passes_its_own_subjects_alone(form: Form) -> None:
    pattern = pattern_of({form})
    for text, its in SUBJECTS.items():
        assert (re.search(pattern, text) is not None) is (its is form), text


def test_together_they_pass_what_is_a_subject() -> None:
    pattern = pattern_of(tuple(Form))
    for text in (*SUBJECTS, *NO_SUBJECTS):
        subject = parse_subject(text)
        assert (re.search(pattern, text) is not None) is (subject is not None), text
