"""Scenes: listed, retimed, out of the picture and back, bought."""

from service.production.asking import (
    Reasons,
    legal,
    tables_on_route,
    the_scene,
)
from service.production.entering import enter_move, try_move
from service.production.graph import sources_of
from service.production.lending import Lending, in_picture, still_to_do
from service.production.marking import add_mark
from service.production.marks import STILL_NEEDED
from service.production.nouns.rule import Rule
from service.production.nouns.shows import check_route, route_in_force
from service.production.oddities import mark_alike
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL, Route, circle_between
from service.production.scene_changes import touch
from service.production.state import (
    AnyState,
    Draft,
    Episode,
    Length,
    Node,
    Scene,
    visit_of,
)
from service.production.visits import DESK_MOVES, Move
from service.production.wording import counted, drawings_of, if_said
from service.vocabulary.event import Event
from service.vocabulary.facts.office import SceneListed, SceneOmitted, SceneRestored, SceneRetimed
from service.vocabulary.facts.supervision import SceneBought
from service.vocabulary.identifiers import has_shape, parse_subject
from service.vocabulary.instants import NOT_YET_US, format_instant


def check_scene_listed(draft: Draft, event: Event, fact: SceneListed) -> Reasons:
    """A scene number is never used twice, and nothing enters a delivered episode."""
    subject = parse_subject(event.subject)
    episode = draft.episodes.get(subject.episode) if subject else None
    if subject is None or episode is None:
        name = subject.episode if subject else event.subject
        yield Reason(
            Code.UNKNOWN, f"episode {name} is not in the record; open it first", "/subject"
        )
        return
    if event.subject in draft.scenes:
        yield Reason(
            Code.EXISTS,
            f"scene {event.subject} is listed; scene numbers are never reused",
            "/subject",
        )
    if episode.delivered:
        yield Reason(Code.CONTRADICTION, "its episode is delivered", "/subject")
    show = draft.shows.get(subject.show)
    shapes = show.scene_codes if show is not None else ()
    if shapes and not any(has_shape(subject.last, shape) for shape in shapes):
        yield Reason(
            Code.CONTRADICTION,
            f"{subject.last} does not look like a scene of {subject.show}: codes there look like "
            f"{' or '.join(shapes)}, where # is a digit or a number and @ a capital letter",
            "/subject",
        )
    route = yield from check_route(draft, event)
    if route is not None:
        yield from tables_on_route(route.scene_departments, fact.difficulty, fact.work)
        yield from _without_circle(draft, episode, route)


def apply_scene_listed(draft: Draft, event: Event, fact: SceneListed) -> None:
    """A scene of an episode, by the route in force when it is listed.

    Raises LookupError where the show has no route then.
    """
    subject = parse_subject(event.subject)
    route = route_in_force(draft, subject.show, event.time_us) if subject else None
    if subject is None or route is None:
        raise LookupError(f"no route for {event.subject}")
    mark_alike(draft, event)
    episode = draft.episodes[subject.episode]
    draft.episodes[subject.episode] = episode._replace(scenes=(*episode.scenes, event.subject))
    _recount(draft, event, subject.episode, fact.frames)
    draft.scenes[event.subject] = Scene(
        episode=subject.episode,
        number=subject.last,
        route=route,
        frames=fact.frames,
        drawings=fact.drawings,
        levels=fact.levels,
        difficulty=fact.difficulty,
        work=fact.work,
        departments=route.scene_departments,
        listed_us=event.time_us,
    )
    touch(draft, event, (0, fact.frames))


def _say_scene_listed(event: Event, fact: SceneListed) -> str:
    drawings = if_said(", ", drawings_of(fact))
    return f"{event.subject} was listed: {counted(fact.frames, 'frame')}{drawings}."


def check_scene_retimed(draft: Draft, event: Event, fact: SceneRetimed) -> Reasons:
    """A listed scene may be retimed."""
    yield from the_scene(draft, event.subject)


def apply_scene_retimed(draft: Draft, event: Event, fact: SceneRetimed) -> None:
    """Give a scene its new length, from that time on."""
    scene = draft.scenes[event.subject]
    drawings = scene.drawings if fact.drawings is None else fact.drawings
    listed = Length(scene.listed_us, scene.frames, scene.drawings)
    lengths = (*(scene.lengths or (listed,)), Length(event.time_us, fact.frames, drawings))
    draft.scenes[event.subject] = scene._replace(
        frames=fact.frames, drawings=drawings, lengths=lengths
    )
    # one that is out adds nothing to the picture, but may have been in it then
    _recount(draft, event, scene.episode, 0 if scene.omitted else fact.frames - scene.frames)
    if (fact.frames, drawings) != (scene.frames, scene.drawings):
        # of one that is out, nothing of the picture changes
        touch(draft, event, (0, 0) if scene.omitted else (scene.frames, fact.frames))


def _say_scene_retimed(event: Event, fact: SceneRetimed) -> str:
    drawings = if_said(" and ", drawings_of(fact))
    return f"{event.subject} was retimed to {counted(fact.frames, 'frame')}{drawings}."


def check_scene_omitted(draft: Draft, event: Event, fact: SceneOmitted) -> Reasons:
    """A scene that is in the picture may be omitted."""
    scene = draft.scenes.get(event.subject)
    if scene is None:
        yield from the_scene(draft, event.subject)
        return
    if scene.omitted:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is omitted already", "/subject")
        return
    if any(event.time_us < until_us for _, until_us in scene.omissions):
        yield Reason(Code.TIME_ORDER, f"{event.subject} was restored only after that", "/time")
    for node in freed_by_omission(draft, event.subject):
        later = [
            entry
            for entry in visit_of(draft, *node).entries
            if entry.move in DESK_MOVES and entry.at_us > event.time_us
        ]
        if later:
            yield Reason(
                Code.TIME_ORDER,
                f"{node[1]} worked on {node[0]} at {format_instant(later[0].at_us)} "
                f"(event {later[0].position}), after this; correct the time",
                "/time",
            )
        else:
            yield from legal(event, node, try_move(draft, event, node, Move.OMIT))


def apply_scene_omitted(draft: Draft, event: Event, fact: SceneOmitted) -> None:
    """A mask over a scene: what is on a desk of it goes back to the tray, with its full work.

    Every visit that it frees hears of it, so that a start recorded late ends at the omission as
    well. What others reuse goes on.
    """
    for node in freed_by_omission(draft, event.subject):
        enter_move(draft, event, node, Move.OMIT)
    scene = draft.scenes[event.subject]
    draft.scenes[event.subject] = scene._replace(omitted_us=event.time_us)
    _recount(draft, event, scene.episode, -scene.frames)
    if still_to_do(draft, event.subject):
        add_mark(draft, event.position, STILL_NEEDED)
    touch(draft, event, (scene.frames, 0))


def _say_scene_omitted(event: Event, fact: SceneOmitted) -> str:
    return f"{event.subject} was taken out of the picture."


def check_scene_restored(draft: Draft, event: Event, fact: SceneRestored) -> Reasons:
    """Only what was omitted comes back."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is not None and not scene.omitted:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is not omitted", "/subject")
    elif scene is not None and event.time_us < scene.omitted_us:
        yield Reason(Code.TIME_ORDER, f"{event.subject} was omitted only after that", "/time")


def apply_scene_restored(draft: Draft, event: Event, fact: SceneRestored) -> None:
    """Put an omitted scene back into the picture."""
    scene = draft.scenes[event.subject]
    over = (*scene.omissions, (scene.omitted_us, event.time_us))
    draft.scenes[event.subject] = scene._replace(omitted_us=NOT_YET_US, omissions=over)
    _recount(draft, event, scene.episode, scene.frames)
    touch(draft, event, (0, scene.frames))
    mark_sources(draft, event)


def _say_scene_restored(event: Event, fact: SceneRestored) -> str:
    return f"{event.subject} came back into the picture."


def check_scene_bought(draft: Draft, event: Event, fact: SceneBought) -> Reasons:
    """A scene is bought once, and again only where a retake reopened it since."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is None or not scene.bought:
        return
    visits = (visit_of(draft, event.subject, name) for name in scene.departments)
    if all(visit.current.opened_us <= scene.bought_us for visit in visits):
        yield Reason(Code.CONTRADICTION, f"{event.subject} is bought already", "/subject")


def apply_scene_bought(draft: Draft, event: Event, fact: SceneBought) -> None:
    """Keep that a scene was accepted as it is."""
    draft.scenes[event.subject] = draft.scenes[event.subject]._replace(bought_us=event.time_us)


def _say_scene_bought(event: Event, fact: SceneBought) -> str:
    return f"{event.subject} was bought."


def _without_circle(draft: Draft, episode: Episode, route: Route) -> Reasons:
    """Scenes of one episode may take several routes, unless their visits then wait in a circle."""
    if len(draft.shows[episode.show].routes) == 1:
        return
    routes = {id(one): one for one in (draft.scenes[name].route for name in episode.scenes)}
    names = circle_between(episode.route, {**routes, id(route): route}.values())
    if names:
        yield Reason(
            Code.CIRCLE,
            f"by the routes of the episode and its scenes, {', '.join(names)} would wait for each "
            "other; lay a route that has these in the order of before, or list the scene in an "
            "episode that was opened since",
            "/subject",
        )


def _recount(draft: Draft, event: Event, name: str, frames: int) -> None:
    """Note that scenes of an episode were counted anew: `frames` more in the picture, or fewer."""
    episode = draft.episodes[name]
    draft.episodes[name] = episode._replace(
        scene_frames=episode.scene_frames + frames,
        recounted_us=max(episode.recounted_us, event.time_us),
    )


def freed_by_omission(state: AnyState, scene: str) -> list[Node]:
    """Visits that nobody needs any more when a scene is omitted.

    They are its own but those that others reuse, those of omitted scenes that it alone reused, and
    those of elements that were made for these alone. Who answers for a design is no desk.
    """
    before, after = Lending(state), Lending(state, frozenset({scene}))
    lent = before.lent_visits(scene)
    freed = [(scene, name) for name in state.scenes[scene].departments if name not in lent]
    sources = sources_of(state, [scene])
    for source in sources:
        record = state.scenes[source]
        if record.omitted:
            unneeded = before.lent_visits(source) - after.lent_visits(source)
            freed += [(source, name) for name in record.departments if name in unneeded]
    used = (element for name in (scene, *sources) for element in state.scenes[name].elements)
    for element in dict.fromkeys(used):
        if before.is_used(element) and not after.is_used(element):
            departments = state.elements[element].departments
            freed += [(element, name) for name in departments if name != APPROVAL]
    return freed


def mark_sources(draft: Draft, event: Event) -> None:
    """Flag a scene that asks for work of scenes out of the picture, which is planned from then."""
    out = [name for name in sources_of(draft, [event.subject]) if not in_picture(draft, name)]
    lending = Lending(draft)
    if in_picture(draft, event.subject) and any(lending.still_to_do(name) for name in out):
        add_mark(draft, event.position, STILL_NEEDED)


RULES = {
    "scene.listed": Rule(check_scene_listed, apply_scene_listed, _say_scene_listed),
    "scene.retimed": Rule(check_scene_retimed, apply_scene_retimed, _say_scene_retimed),
    "scene.omitted": Rule(check_scene_omitted, apply_scene_omitted, _say_scene_omitted),
    "scene.restored": Rule(check_scene_restored, apply_scene_restored, _say_scene_restored),
    "scene.bought": Rule(check_scene_bought, apply_scene_bought, _say_scene_bought),
}
