"""What the office may record."""

from functools import cache
from zoneinfo import available_timezones

from service.production.decide.asking import (
    Reasons,
    legal,
    tables_on_route,
    the_department,
    the_scene,
)
from service.production.evolve.entering import try_move
from service.production.evolve.office import freed_by_omission, route_in_force
from service.production.refusal import Code, Reason
from service.production.route import Route, circle_between, route_faults
from service.production.state import STUDIO_CALENDAR, Draft, Episode, visit_of
from service.production.visits import DESK_MOVES, Move
from service.vocabulary.event import Event
from service.vocabulary.facts import office as facts
from service.vocabulary.footage import RATES
from service.vocabulary.identifiers import has_shape, parse_subject
from service.vocabulary.instants import format_instant


def route_laid(draft: Draft, event: Event, fact: facts.RouteLaid) -> Reasons:
    """A route needs its show, must hang together, and count as other routes do."""
    if event.subject not in draft.shows:
        yield Reason(Code.UNKNOWN, f"show {event.subject} is not open; open it first", "/subject")
    for fault in route_faults(fact):
        yield Reason(Code.CONTRADICTION, fault.detail, f"/data{fault.pointer}")
    for place, department in enumerate(fact.departments):
        unit = draft.units.get(department.department)
        if unit is not None and unit != department.unit:
            yield Reason(
                Code.CONTRADICTION,
                f"{department.department} counts in {unit} already; its crew cannot count in two "
                "units",
                f"/data/departments/{place}/unit",
            )


def calendar_set(draft: Draft, event: Event, fact: facts.CalendarSet) -> Reasons:
    """The studio's calendar comes first and fixes the zone."""
    studio = draft.calendars.get(STUDIO_CALENDAR)
    if fact.department is not None:
        yield from the_department(draft, fact.department)
        if studio is None:
            yield Reason(
                Code.CONTRADICTION,
                "set the studio's calendar before a department's",
                "/data/department",
            )
        if fact.zone is not None:
            yield Reason(
                Code.CONTRADICTION, "the zone is the studio's; leave it out here", "/data/zone"
            )
        return
    if studio is None and fact.zone is None:
        yield Reason(
            Code.CONTRADICTION, "the studio's first calendar must name its zone", "/data/zone"
        )
    if fact.zone is not None and fact.zone not in _zones():
        yield Reason(Code.UNKNOWN, f"{fact.zone} is not an IANA time zone", "/data/zone")
    elif studio is not None and fact.zone is not None and fact.zone != studio.zone:
        yield Reason(
            Code.CONTRADICTION,
            f"the studio's zone is {studio.zone} and does not change",
            "/data/zone",
        )


@cache
def _zones() -> frozenset[str]:
    # the time zone data is a part of the release, and listing it is slow
    return frozenset(available_timezones())


def crew_set(draft: Draft, event: Event, fact: facts.CrewSet) -> Reasons:
    """A crew is of a department that some route has, by the studio's dates."""
    yield from the_department(draft, fact.department)
    if STUDIO_CALENDAR not in draft.calendars:
        yield Reason(Code.CONTRADICTION, "set the studio's calendar first", "/data/from_on")


def show_opened(draft: Draft, event: Event, fact: facts.ShowOpened) -> Reasons:
    """A show opens once, and its time code has as many numbers a second as its frame rate."""
    if event.subject in draft.shows:
        yield Reason(Code.EXISTS, f"show {event.subject} is open already", "/subject")
    if fact.timecode is not None:
        numbers = RATES[fact.timecode].frames_per_second
        if numbers != fact.frames_per_second:
            yield Reason(
                Code.CONTRADICTION,
                f"time code {fact.timecode} numbers {numbers} frames a second, not "
                f"{fact.frames_per_second}; state {numbers} as frames_per_second",
                "/data/timecode",
            )


def _route_wanted(draft: Draft, event: Event) -> Reasons:
    subject = parse_subject(event.subject)
    show = subject.show if subject else event.subject
    if show not in draft.shows:
        yield Reason(Code.UNKNOWN, f"show {show} is not open; open it first", "/subject")
    elif route_in_force(draft, show, event.time_us) is None:
        yield Reason(
            Code.CONTRADICTION, f"no route of {show} is in force then; lay one first", "/subject"
        )


def episode_opened(draft: Draft, event: Event, fact: facts.EpisodeOpened) -> Reasons:
    """An episode opens once, on a route."""
    if event.subject in draft.episodes:
        yield Reason(Code.EXISTS, f"episode {event.subject} is open already", "/subject")
    wanted = list(_route_wanted(draft, event))
    yield from wanted
    subject = parse_subject(event.subject)
    route = route_in_force(draft, subject.show, event.time_us) if subject and not wanted else None
    if route is not None:
        yield from tables_on_route(route.episode_departments, fact.difficulty, fact.work)


def scene_listed(draft: Draft, event: Event, fact: facts.SceneListed) -> Reasons:
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
    if episode.delivered_us >= 0:
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
    yield from _route_wanted(draft, event)
    route = route_in_force(draft, subject.show, event.time_us)
    if route is not None:
        yield from tables_on_route(route.scene_departments, fact.difficulty, fact.work)
        yield from _without_circle(draft, episode, route)


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


def scene_retimed(draft: Draft, event: Event, fact: facts.SceneRetimed) -> Reasons:
    """A listed scene may be retimed."""
    yield from the_scene(draft, event.subject)


def scene_omitted(draft: Draft, event: Event, fact: facts.SceneOmitted) -> Reasons:
    """A scene is omitted once."""
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


def scene_restored(draft: Draft, event: Event, fact: facts.SceneRestored) -> Reasons:
    """Only what was omitted comes back."""
    yield from the_scene(draft, event.subject)
    scene = draft.scenes.get(event.subject)
    if scene is not None and not scene.omitted:
        yield Reason(Code.CONTRADICTION, f"{event.subject} is not omitted", "/subject")
    elif scene is not None and event.time_us < scene.omitted_us:
        yield Reason(Code.TIME_ORDER, f"{event.subject} was omitted only after that", "/time")


def element_listed(draft: Draft, event: Event, fact: facts.ElementListed) -> Reasons:
    """An element is listed once, of a kind that the route has."""
    if event.subject in draft.elements:
        yield Reason(Code.EXISTS, f"element {event.subject} is listed already", "/subject")
    wanted = list(_route_wanted(draft, event))
    yield from wanted
    subject = parse_subject(event.subject)
    route = route_in_force(draft, subject.show, event.time_us) if subject and not wanted else None
    if route is None:
        return
    kind = route.kinds.get(fact.kind)
    if kind is None:
        known = ", ".join(sorted(route.kinds)) or "none"
        yield Reason(
            Code.UNKNOWN, f"the route has no kind {fact.kind}; it has: {known}", "/data/kind"
        )
    else:
        yield from tables_on_route(kind.departments, fact.difficulty, fact.work)
