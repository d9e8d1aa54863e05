"""What is to look at in scenes that changed after work on them had begun."""

from service.production.route import Route
from service.production.state import Known, Touched, visit_of


def to_look_at(known: Known, scene: str) -> list[Touched]:
    """What is still to look at in a scene: each change with the visits not redone since.

    Of a scene out of the picture only the episode's own visits count.
    """
    omitted = known.scenes[scene].omitted if scene in known.scenes else True
    found = []
    for change in known.touched.get(scene, ()):
        visits = tuple(
            (item, department, take)
            for item, department, take in change.visits
            if visit_of(known, item, department).current.number == take
            if item != scene or not omitted
        )
        if visits:
            found.append(change._replace(visits=visits))
    return found


def behind_scenes(route: Route) -> tuple[str, ...]:
    """The departments of episode grain that stand behind those which work on scenes."""
    found: set[str] = set()
    for name in sorted(route.followed_by, key=route.rank.__getitem__):
        if name in route.scene_departments or name in found:
            found.update(arc.department for arc in route.followed_by[name])
    return tuple(name for name in route.episode_departments if name in found)
