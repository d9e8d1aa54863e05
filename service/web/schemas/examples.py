"""An example of every type of event, made from the kinds of its members."""

from typing import Any

from service.vocabulary import kinds
from service.vocabulary.facts import CATALOGUE, Fact
from service.vocabulary.identifiers import Form
from service.vocabulary.quantities import from_e4

_SUBJECTS = {
    Form.SCENE: "LANTERN-104/42A",
    Form.EPISODE: "LANTERN-104",
    Form.ELEMENT: "LANTERN:HARBOUR-NIGHT",
    Form.SHOW: "LANTERN",
    Form.STUDIO: "studio",
}
_WORDS: dict[str, object] = {
    "artist": "p07",
    "artists": 9,
    "closes": "18:00",
    "currency": "EUR",
    "due_on": "2031-05-23",
    "feeds": "camera",
    "frames": 72,
    "frames_per_second": 24,
    "joins": "camera",
    "kind": "background",
    "minutes_per_artist_day": 480,
    "note": "N-2031-118",
    "opens": "09:00",
    "order": "CO-31",
    "owes": "client",
    "position": 4711,
    "retake": "RK-118",
    "sender": "clean-up",
    "title": "The Harbour Light",
    "units_per_artist_day": 6,
    "zone": "Europe/Vienna",
}


_CODES: dict[kinds.Kind, str] = {
    kinds.DEPARTMENT: "layout",
    kinds.ITEM: _SUBJECTS[Form.SCENE],
    kinds.SCENE: "LANTERN-104/43",
    kinds.EPISODE: _SUBJECTS[Form.EPISODE],
    kinds.ELEMENT: _SUBJECTS[Form.ELEMENT],
    kinds.SHOW_CODE: _SUBJECTS[Form.SHOW],
}
_OTHERS: dict[type[kinds.Kind], object] = {
    kinds.Flag: True,
    kinds.Money: "12.50",
    kinds.Day: "2031-03-10",
    kinds.Moment: "2031-03-04T13:00:00Z",
    kinds.Text: "The lantern is on the wrong side.",
    kinds.Label: "Harbour, night",
}


def example_event(type_: str) -> dict[str, Any]:
    """A complete event of a type, with all its members."""
    fact = CATALOGUE[type_]
    return {
        "specversion": "1.0",
        "id": f"example-{type_}",
        "source": "//lantern/desk",
        "type": type_,
        "subject": next(shown for form, shown in _SUBJECTS.items() if form in fact.SUBJECTS),
        "time": "2031-03-04T09:30:00Z",
        "data": example_data(fact),
    }


def example_data(cls: type[Fact] | type) -> dict[str, Any]:
    """A value for every member of a dataclass made with `says`."""
    return {member.name: _value(member.name, member.kind) for member in kinds.members(cls)}


def _value(name: str, kind: kinds.Kind) -> Any:
    match kind:
        case kinds.Listing(of, least):
            return [_value(name, of) for _ in range(max(1, least))]
        case kinds.Table(of):
            return {"layout": _value(name, of)}
        case kinds.Group(of):
            return example_data(of)
        case kinds.Choice(among):
            return among[0]
    return _WORDS.get(name) or _by_kind(kind)


def _by_kind(kind: kinds.Kind) -> object:
    match kind:
        case kinds.Whole(least):
            return max(least, 2)
        case kinds.Quantity(_, most_e4):
            return from_e4(min(most_e4, 2_500))
        case kinds.Code():
            return _CODES.get(kind, "A")
    return _OTHERS[type(kind)]
