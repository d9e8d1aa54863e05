"""The forms of a subject as patterns, for the documents; `parse_subject` is what judges."""

from collections.abc import Collection

from service.vocabulary.identifiers import ELEMENT, EPISODE, SCENE, SHOW, Form

_PATTERNS = {
    Form.STUDIO: "studio",
    Form.SHOW: SHOW,
    Form.EPISODE: f"{SHOW}-{EPISODE}",
    Form.SCENE: f"{SHOW}-{EPISODE}/{SCENE}",
    Form.ELEMENT: f"{SHOW}:{ELEMENT}",
}


def pattern_of(forms: Collection[Form]) -> str:
    """The pattern of all of a subject that has one of the forms."""
    return f"^(?:{'|'.join(_PATTERNS[form] for form in Form if form in forms)})$"
