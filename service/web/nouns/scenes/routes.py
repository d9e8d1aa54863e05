"""Scenes of an episode, with their visits."""

from collections.abc import Sequence

from flask import Blueprint, Response, g

from service.production.state import Scene, State
from service.vocabulary import cautions
from service.vocabulary.identifiers import natural_order
from service.web import negotiation
from service.web.access import require
from service.web.described import Answer, describe
from service.web.negotiation import JSON
from service.web.nouns.notes.answers import TEXT, concerns_of
from service.web.nouns.scenes import answers as shapes
from service.web.nouns.scenes.answers import shown_scene, shown_scene_whole
from service.web.reading import answer, found, page_answer, read_now, read_page
from service.web.recorded import texts_at
from service.web.schemas.reading import PAGE, PAGE_HEADERS, READ, READ_HEADERS
from service.web.services import services
from service.web.visibility import Concern

scenes = Blueprint("scenes", __name__)
NOTES_MAX = 100
"""How many open notes are shown with a scene, the newest; `/notes` has all."""


def scenes_of(state: State, episode: str) -> list[str]:
    """The scenes of an episode in their order."""
    names = state.episodes[episode].scenes
    return sorted(names, key=lambda name: (natural_order(name), name))


@scenes.get("/episodes/<episode>/scenes")
@describe(
    "The scenes of an episode, with their visits",
    tag="scenes",
    query=PAGE,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("A page of scenes.", {JSON: shapes.SCENES}, PAGE_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def list_scenes(episode: str) -> Response:
    """A page of scenes, in their order."""
    page = read_page(negotiation.read_args())
    reading = page.reading
    found(reading.state.episodes.get(episode), f"episode {episode}")
    return page_answer(
        page,
        scenes_of(reading.state, episode),
        lambda name: shown_scene(reading.standings, name),
    )


@scenes.get("/episodes/<episode>/scenes/<scene>")
@describe(
    "One scene: its visits, what it uses, what holds it, its open notes and its retakes",
    tag="scenes",
    query=READ,
    cautions=(cautions.PEOPLE,),
    dates=True,
    answers={200: Answer("The scene.", {JSON: shapes.SCENE}, READ_HEADERS)},
    problems=("not-found", "not-yet"),
)
@require()
def show_scene(episode: str, scene: str) -> Response:
    """One scene, by its number."""
    reading = read_now(negotiation.read_args())
    name = f"{episode}/{scene}"
    record = found(reading.state.scenes.get(name), f"scene {name}")
    notes = _open_notes(reading.state, name)
    texts = _texts(reading.state, notes, record)
    return answer(reading, lambda: shown_scene_whole(reading.standings, name, notes, texts), texts)


def _open_notes(state: State, item: str) -> list[str]:
    codes = (code for code, note in state.notes.items() if note.item == item and not note.answered)
    return sorted(codes, key=lambda code: -state.notes[code].position)[:NOTES_MAX]


def _texts(state: State, notes: Sequence[str], record: Scene) -> dict[int, dict[str, str]]:
    concerns: dict[int, Concern] = {}
    for code in notes:
        concerns |= concerns_of(state.notes[code])
    if record.hold is not None:
        concerns[record.hold.position] = Concern("scene.held")
    with services().engine.connect() as connection:
        return texts_at(connection, g.token, concerns, {TEXT, "/data/why"})
