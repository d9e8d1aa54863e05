"""From one frame to the next: what a change of items or arcs touches.

What it does not touch is carried over, by `splice`.
"""

from collections.abc import Iterable, Iterator, Sequence

from service.planning.board.frame import Frame, due_episodes_of, planned_episodes
from service.planning.board.splice import Change, Reframed, splice
from service.production.graph import reusers_of, sources_of
from service.production.lending import Lending, in_picture
from service.production.state import (
    Element,
    Episode,
    Scene,
    State,
    item_of,
    line_departments,
)


def reframe(frame: Frame, before: State, after: State, changed: Sequence[str]) -> Reframed | None:
    """The frame of `after`, made of that of `before`; None where it serves as it is.

    `changed` are all items whose records are not the same objects.
    """
    episodes = _planned_episodes(frame, after)
    change = _change(frame, before, after, changed, episodes)
    departments = line_departments(after)
    if (
        not (change.due or change.recut or change.rewired)
        and episodes == frame.episodes
        and departments == frame.departments
    ):
        return None
    return splice(frame, after, change, episodes, departments)


def _planned_episodes(frame: Frame, state: State) -> tuple[str, ...]:
    planned = set(frame.episodes)
    found = {name for name, episode in state.episodes.items() if not episode.delivered}
    return frame.episodes if found == planned else planned_episodes(state)


def _change(
    frame: Frame, before: State, after: State, changed: Sequence[str], episodes: tuple[str, ...]
) -> Change:
    undelivered, lending = set(episodes), Lending(after)
    # where no scene reuses another, what belongs to an episode does so until that is delivered
    only_fewer = undelivered < set(frame.episodes) and not (
        before.reusers or after.reusers or any(item in after.scenes for item in changed)
    )
    anew = set(changed)
    due: dict[str, tuple[str, ...] | None] = {}
    for item in _affected(frame, before, after, changed, undelivered):
        place = frame.place_of.get(item)
        was = None if place is None else frame.due_sets[frame.due_set[place]]
        if was and only_fewer and item not in anew:
            will = tuple([name for name in was if name in undelivered]) or None
        else:
            will = due_episodes_of(after, item, undelivered, lending)
        if will != was:
            due[item] = will
    entering = [item for item in due if item not in frame.place_of]
    leaving = [item for item, names in due.items() if names is None]
    recut: set[str] = set()
    rewired = set(entering)
    for item in entering:
        rewired |= frame.missing.get(item, frozenset())
    for item in changed:
        _rewire(before, after, item, recut, rewired)
    return Change(due, entering, leaving, recut, rewired)


def _affected(
    frame: Frame, before: State, after: State, changed: Sequence[str], undelivered: set[str]
) -> set[str]:
    """Items that may enter, leave, or belong to other episodes than before."""
    affected = set(undelivered.symmetric_difference(frame.episodes))
    for name in list(affected):
        affected.update(*(state.episodes[name].scenes for state in (before, after)
                       if name in state.episodes))  # fmt: skip
    for item in changed:
        old, new = before.episodes.get(item), after.episodes.get(item)
        if old is not None or new is not None:
            affected |= set(old.scenes if old else ()) ^ set(new.scenes if new else ())
        elif item in after.elements or not (_shown(before, item) and _shown(after, item)):
            affected.add(item)
    for name in {**before.shows, **after.shows}:
        listed, lists = before.shows.get(name), after.shows.get(name)
        if listed is not lists:
            affected |= set(listed.elements if listed else ()) ^ set(
                lists.elements if lists else ()
            )
    for item in (*affected, *changed):
        affected |= _sources(before, item) | _sources(after, item)
    for item in (*affected, *changed):
        was, will = before.scenes.get(item), after.scenes.get(item)
        if was is will:
            affected.update(was.elements if was else ())
        else:
            used, uses = set(was.elements if was else ()), set(will.elements if will else ())
            affected |= used | uses if item in affected else used ^ uses
    return affected


def _shown(state: State, item: str) -> bool:
    return item in state.scenes and in_picture(state, item)


def sources_touched(before: State, after: State, changed: Iterable[str]) -> set[str]:
    """Scenes that others need more or less of, because these or their episodes changed."""
    touched: set[str] = set()
    for item in changed:
        old, new = before.episodes.get(item), after.episodes.get(item)
        scenes: Iterable[str] = (item,)
        if old is not None and new is not None:
            scenes = new.scenes if old.delivered != new.delivered else ()
        for scene in scenes:
            touched |= {scene, *_sources(before, scene), *_sources(after, scene)}
    return touched


def needed_otherwise(before: State, after: State, changed: Iterable[str]) -> set[str]:
    """Scenes and elements that are needed for more or less, because these scenes changed."""
    scenes = sources_touched(before, after, changed)
    records = (state.scenes.get(name) for name in scenes for state in (before, after))
    return scenes.union(*(record.elements for record in records if record is not None))


def _sources(state: State, item: str) -> set[str]:
    scene = state.scenes.get(item)
    return set(sources_of(state, [item])) if scene is not None and scene.same_as else set()


def _rewire(before: State, after: State, item: str, recut: set[str], rewired: set[str]) -> None:
    """Add what a change of an item's record makes wait for something else."""
    old, new = item_of(before, item), item_of(after, item)
    if isinstance(old, Episode) or isinstance(new, Episode):
        rewired.update(_by_episode(item, old, new, recut))
    elif isinstance(old, Element) or isinstance(new, Element):
        if not _alike(old, new, "kind", "departments"):
            recut.add(item)
            users = {user for found in (old, new) if isinstance(found, Element)
                     for user in found.scenes}  # fmt: skip
            rewired |= {item, *users, *_reusers(before, after, users)}
    elif not _alike(old, new, "departments", "elements", "same_as"):
        rewired |= {item, *_reusers(before, after, (item,))}
        if not _alike(old, new, "departments"):
            recut.add(item)
            rewired.update(found.episode for found in (old, new) if isinstance(found, Scene))


def _by_episode(item: str, old: object, new: object, recut: set[str]) -> Iterator[str]:
    """An episode with scenes or without waits for others; on another route so do its scenes."""
    if bool(getattr(old, "scenes", ())) != bool(getattr(new, "scenes", ())):
        yield item
    if not _alike(old, new):
        recut.add(item)
        yield item
        for found in (old, new):
            if isinstance(found, Episode):
                yield from found.scenes


def _alike(old: object, new: object, *members: str) -> bool:
    """Whether two records of one item are on the same route, and have these members the same."""
    return getattr(old, "route", None) is getattr(new, "route", None) and all(
        getattr(old, name, None) == getattr(new, name, None) for name in members
    )


def _reusers(before: State, after: State, scenes: Iterable[str]) -> set[str]:
    names = list(scenes)
    return {
        reuser for state in (before, after) for reuser in reusers_of(state, names)
    }  # fmt: skip
