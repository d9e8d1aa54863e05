"""What the office's facts change."""

from datetime import date

from service.production.evolve.entering import enter_move
from service.production.evolve.marking import add_mark
from service.production.evolve.oddities import mark_alike
from service.production.evolve.touching import touch
from service.production.graph import sources_of
from service.production.lending import Lending, in_picture, still_to_do
from service.production.marks import STILL_NEEDED
from service.production.route import APPROVAL, Route
from service.production.state import (
    STUDIO_CALENDAR,
    Crew,
    Draft,
    Element,
    Episode,
    Known,
    LaidRoute,
    Length,
    Node,
    SameAs,
    Scene,
    Show,
)
from service.production.visits import Move
from service.vocabulary.calendar import Calendar, CalendarVersion, Shift, local_date
from service.vocabulary.event import Event
from service.vocabulary.facts import office as facts
from service.vocabulary.facts.office import WEEKDAYS
from service.vocabulary.identifiers import natural_order, parse_subject
from service.vocabulary.instants import US_PER_MIN, instant

MIN_PER_DAY = 24 * 60


def route_laid(draft: Draft, event: Event, fact: facts.RouteLaid) -> None:
    """A show's further route."""
    route = Route(fact)
    show = draft.shows[event.subject]
    draft.shows[event.subject] = show._replace(
        routes=(*show.routes, LaidRoute(fact.from_on, route, event.time_us))
    )
    for department in fact.departments:
        draft.units[department.department] = department.unit


def route_in_force(draft: Draft, show: str, at_us: int) -> Route | None:
    """The route an item listed at an instant takes.

    Of those in force then, the one with the latest date (that on which it was laid, where it names
    none); of two with one date, the one laid last. Dates are the studio's, UTC's before it has a
    calendar.
    """
    calendar = draft.calendars.get(STUDIO_CALENDAR)
    listed_on = _date_of(calendar, at_us)
    latest: LaidRoute | None = None
    latest_on = date.min
    for laid in draft.shows[show].routes:
        if laid.from_on is None or laid.from_on <= listed_on:
            from_on = laid.from_on or _date_of(calendar, laid.laid_us)
            if from_on >= latest_on:
                latest, latest_on = laid, from_on
    return latest.route if latest else None


def _date_of(calendar: Calendar | None, at_us: int) -> date:
    return local_date(calendar, at_us // US_PER_MIN) if calendar else instant(at_us).date()


def calendar_set(draft: Draft, event: Event, fact: facts.CalendarSet) -> None:
    """Working hours from a date; of the studio, or of one department."""
    owner = fact.department or STUDIO_CALENDAR
    known = draft.calendars.get(owner)
    studio = draft.calendars.get(STUDIO_CALENDAR)
    zone = fact.zone or (studio.zone if studio else "UTC")
    shifts = tuple(
        Shift(
            tuple(WEEKDAYS.index(day) + 1 for day in hours.days),
            hours.opens_min,
            hours.closes_min + (MIN_PER_DAY if hours.closes_min <= hours.opens_min else 0),
        )
        for hours in fact.shifts
    )
    version = CalendarVersion(fact.from_on, shifts, frozenset(fact.days_off))
    others = () if known is None else known.versions
    versions = [other for other in others if other.from_on != version.from_on]
    draft.calendars[owner] = Calendar(
        zone, tuple(sorted([*versions, version], key=lambda other: other.from_on))
    )


def crew_set(draft: Draft, event: Event, fact: facts.CrewSet) -> None:
    """A department's crew from a date."""
    crew = Crew(
        fact.from_on, fact.artists, fact.units_per_artist_day_e4, fact.minutes_per_artist_day
    )
    others = [
        other for other in draft.crews.get(fact.department, ()) if other.from_on != crew.from_on
    ]
    draft.crews[fact.department] = tuple(sorted([*others, crew], key=lambda other: other.from_on))


def show_opened(draft: Draft, event: Event, fact: facts.ShowOpened) -> None:
    """A series."""
    draft.shows[event.subject] = Show(
        fact.title,
        fact.frames_per_second,
        timecode=fact.timecode,
        scene_codes=fact.scene_codes,
    )


def _show_and_route(draft: Draft, event: Event) -> tuple[str, Route]:
    """The show of what an event is about, and its route in force then.

    Raises LookupError where there is none: the log would then not be what was decided.
    """
    subject = parse_subject(event.subject)
    show = subject.show if subject else ""
    route = route_in_force(draft, show, event.time_us)
    if route is None:
        raise LookupError(f"no route for {event.subject}")
    return show, route


def episode_opened(draft: Draft, event: Event, fact: facts.EpisodeOpened) -> None:
    """An episode, by the route in force."""
    show, route = _show_and_route(draft, event)
    mark_alike(draft, event)
    draft.episodes[event.subject] = Episode(
        title=fact.title,
        show=show,
        order=event.position,
        route=route,
        frames=fact.frames,
        difficulty=fact.difficulty,
        work=fact.work,
    )


def scene_listed(draft: Draft, event: Event, fact: facts.SceneListed) -> None:
    """A scene of an episode, by the route in force when it is listed."""
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


def scene_retimed(draft: Draft, event: Event, fact: facts.SceneRetimed) -> None:
    """A scene's new length."""
    scene = draft.scenes[event.subject]
    drawings = scene.drawings if fact.drawings is None else fact.drawings
    listed = Length(scene.listed_us, scene.frames, scene.drawings)
    lengths = (*(scene.lengths or (listed,)), Length(event.time_us, fact.frames, drawings))
    draft.scenes[event.subject] = scene._replace(
        frames=fact.frames, drawings=drawings, lengths=lengths
    )
    if not scene.omitted:
        _recount(draft, event, scene.episode, fact.frames - scene.frames)
    if (fact.frames, drawings) != (scene.frames, scene.drawings):
        # of one that is out, nothing of the picture changes
        touch(draft, event, (0, 0) if scene.omitted else (scene.frames, fact.frames))


def _recount(draft: Draft, event: Event, name: str, frames: int) -> None:
    """An episode whose scenes in the picture have some frames more, or fewer, than before."""
    episode = draft.episodes[name]
    draft.episodes[name] = episode._replace(
        scene_frames=episode.scene_frames + frames,
        recounted_us=max(episode.recounted_us, event.time_us),
    )


def scene_omitted(draft: Draft, event: Event, fact: facts.SceneOmitted) -> None:
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


def freed_by_omission(known: Known, scene: str) -> list[Node]:
    """Visits that nobody needs any more when a scene is omitted.

    They are its own but those that others reuse, those of omitted scenes that it alone reused, and
    those of elements that were made for these alone. Who answers for a design is no desk.
    """
    before, after = Lending(known), Lending(known, frozenset({scene}))
    lent = before.lent_visits(scene)
    freed = [(scene, name) for name in known.scenes[scene].departments if name not in lent]
    sources = sources_of(known, [scene])
    for source in sources:
        record = known.scenes[source]
        if record.omitted:
            unneeded = before.lent_visits(source) - after.lent_visits(source)
            freed += [(source, name) for name in record.departments if name in unneeded]
    used = (element for name in (scene, *sources) for element in known.scenes[name].elements)
    for element in dict.fromkeys(used):
        if before.users_of_element(element) and not after.users_of_element(element):
            departments = known.elements[element].departments
            freed += [(element, name) for name in departments if name != APPROVAL]
    return freed


def scene_restored(draft: Draft, event: Event, fact: facts.SceneRestored) -> None:
    """The mask comes off."""
    scene = draft.scenes[event.subject]
    over = (*scene.omissions, (scene.omitted_us, event.time_us))
    draft.scenes[event.subject] = scene._replace(omitted_us=-1, omissions=over)
    _recount(draft, event, scene.episode, scene.frames)
    touch(draft, event, (0, scene.frames))
    _mark_sources(draft, event)


def _mark_sources(draft: Draft, event: Event) -> None:
    """Flag a scene that asks for work of scenes out of the picture, which is planned from then."""
    out = [name for name in sources_of(draft, [event.subject]) if not in_picture(draft, name)]
    lending = Lending(draft)
    if in_picture(draft, event.subject) and any(lending.still_to_do(name) for name in out):
        add_mark(draft, event.position, STILL_NEEDED)


def element_listed(draft: Draft, event: Event, fact: facts.ElementListed) -> None:
    """An element of a show, by the route in force."""
    show, route = _show_and_route(draft, event)
    mark_alike(draft, event)
    opened = draft.shows[show]
    draft.shows[show] = opened._replace(elements=(*opened.elements, event.subject))
    draft.elements[event.subject] = Element(
        show=show,
        kind=fact.kind,
        title=fact.title,
        route=route,
        frames=fact.frames or 0,
        drawings=fact.drawings,
        difficulty=fact.difficulty,
        work=fact.work,
        departments=route.visits_of_kind(fact.kind),
        listed_us=event.time_us,
    )


def element_used(draft: Draft, event: Event, fact: facts.ElementUsed) -> None:
    """Scenes that use an element no longer visit the departments it replaces."""
    element = draft.elements[event.subject]
    new = [name for name in fact.scenes if name not in element.scenes]
    draft.elements[event.subject] = element._replace(scenes=(*element.scenes, *new))
    for name in new:
        scene = draft.scenes[name]
        draft.scenes[name] = scene._replace(elements=(*scene.elements, event.subject))
        set_departments(draft, name)


def hook_up_declared(draft: Draft, event: Event, fact: facts.HookUpDeclared) -> None:
    """Two scenes must match where they meet."""
    for one, other in ((event.subject, fact.to), (fact.to, event.subject)):
        known = draft.hook_ups.get(one, ())
        draft.hook_ups[one] = tuple(sorted({*known, other}, key=natural_order))


def same_as_declared(draft: Draft, event: Event, fact: facts.SameAsDeclared) -> None:
    """A scene reuses another's; what it takes over whole it no longer visits itself."""
    scene = draft.scenes[event.subject]
    same = same_as(fact)
    draft.scenes[event.subject] = scene._replace(same_as=(*scene.same_as, same))
    known = draft.reusers.get(fact.source, ())
    if event.subject not in known:
        draft.reusers[fact.source] = (*known, event.subject)
    set_departments(draft, event.subject)
    _mark_sources(draft, event)


def same_as(fact: facts.SameAsDeclared) -> SameAs:
    """What a scene reuses, as a state holds it."""
    return SameAs(fact.source, fact.joins, frozenset(fact.strands), fact.levels)


def set_departments(draft: Draft, name: str) -> None:
    """Work out which departments a scene visits itself."""
    scene = draft.scenes[name]
    left_out: set[str] = set()
    for used in scene.elements:
        element = draft.elements[used]
        left_out.update(element.route.kinds[element.kind].replaces)
    for same in scene.same_as:
        if not same.levels:
            left_out |= scene.route.skipped(same.joins, same.strands)
    draft.scenes[name] = scene._replace(
        departments=tuple(n for n in scene.route.scene_departments if n not in left_out)
    )
