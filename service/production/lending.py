"""What is needed for the scenes in the picture, and what scenes out of it lend to them.

A scene that is omitted, or whose episode is delivered, may still lend its art to others that reuse
it: `lent_visits` says which of its visits are needed for that, and these stay in the plan. An
element is needed for the scenes that use it, or that reuse one which does.
"""

from collections.abc import Iterator

from service.production.graph import reusers_of, successors
from service.production.state import AnyState, Node, visit_of
from service.production.takes import Phase

_NOBODY: frozenset[str] = frozenset()


def in_picture(state: AnyState, scene: str, out: frozenset[str] = frozenset()) -> bool:
    """Whether a scene is neither omitted (nor named in `out`) nor in a delivered episode."""
    record = state.scenes[scene]
    undelivered = not state.episodes[record.episode].delivered
    return undelivered and not record.omitted and scene not in out


class Lending:
    """Who needs what of scenes out of the picture, for as long as what is known does not change.

    Scenes named in `out` count as omitted. What was found is kept, so that asking about many
    scenes looks at each visit once.
    """

    def __init__(self, state: AnyState, out: frozenset[str] = frozenset()) -> None:
        self._state = state
        self._out = out
        self._users: dict[Node, frozenset[str]] = {}

    def borrowers(self, scene: str) -> dict[str, frozenset[str]]:
        """By department, the scenes in the picture that reuse what a scene's visit there makes.

        They are those that wait for the visit, or for one that stands behind it in the same scene.
        A scene that is out of the picture itself passes on what it lends.
        """
        if scene not in self._state.reusers:
            return {}
        departments = self._state.scenes[scene].departments
        found = ((name, self.users_of((scene, name))) for name in departments)
        return {name: users for name, users in found if users}

    def lent_visits(self, scene: str) -> frozenset[str]:
        """Departments at which scenes in the picture need a scene's visits."""
        return frozenset(self.borrowers(scene))

    def still_to_do(self, scene: str) -> list[str]:
        """Departments, in route order, whose visits of a scene others need and wait for."""
        return [
            name
            for name in self.borrowers(scene)
            if visit_of(self._state, scene, name).current.phase is not Phase.HANDED_OFF
        ]

    def needs(self, item: str, department: str) -> bool:
        """Whether a visit is needed, and so planned.

        Those of an undelivered episode and its scenes in the picture are, those that scenes lend,
        and those of an element that such scenes use or that nobody uses as yet.
        """
        state = self._state
        if item in state.scenes:
            return in_picture(state, item, self._out) or bool(self.users_of((item, department)))
        element = state.elements.get(item)
        if element is not None:
            return not element.scenes or self.is_used(item)
        return not state.episodes[item].delivered

    def drops(self, item: str, department: str) -> bool:
        """Whether nobody needs a visit because the scenes that it was for are omitted."""
        state = self._state
        scene, element = state.scenes.get(item), state.elements.get(item)
        if scene is not None:
            omitted = self._omitted(item)
        else:
            omitted = bool(element and element.scenes) and all(
                self._omitted(user) for user in (element.scenes if element else ())
            )
        return omitted and not self.needs(item, department)

    def is_used(self, element: str) -> bool:
        """Whether any scene in the picture uses an element, or reuses what needs it."""
        users = self._state.elements[element].scenes
        # one scene in the picture is enough; a main character's model is used by hundreds
        if any(in_picture(self._state, user, self._out) for user in users):
            return True
        return bool(self.users_of_element(element))

    def users_of_element(self, name: str) -> frozenset[str]:
        """The scenes in the picture that use an element, or reuse what needs it."""
        state = self._state
        element = state.elements[name]
        users = {user for user in element.scenes if in_picture(state, user, self._out)}
        # visits are followed only where that could find one more
        reusers = reusers_of(state, element.scenes)
        if any(reuser not in users and in_picture(state, reuser, self._out) for reuser in reusers):
            for stay, _ in element.route.joins[element.kind]:
                users |= self.users_of((name, stay))
        return frozenset(users)

    def _omitted(self, scene: str) -> bool:
        return self._state.scenes[scene].omitted or scene in self._out

    def users_of(self, node: Node) -> frozenset[str]:
        """The scenes in the picture that need a visit of a scene or an element.

        The scene whose visit it is is left aside.
        """
        users = self._users
        waiting = [node]
        while waiting:
            here = waiting[-1]
            if here in users:
                waiting.pop()
                continue
            behind = list(self._behind(here))
            unknown = [other for other in behind if not self._shown(here, other)
                       and other not in users]  # fmt: skip
            if unknown:
                waiting += unknown
                continue
            waiting.pop()
            found = [
                frozenset({other[0]}) if self._shown(here, other) else users[other]
                for other in behind
            ]
            users[here] = _NOBODY.union(*found)
        return users[node]

    def _behind(self, node: Node) -> Iterator[Node]:
        """The visits of scenes that wait for one, and those behind it in the same element."""
        for arc in successors(self._state, *node):
            if arc.node[0] in self._state.scenes or arc.node[0] == node[0]:
                yield arc.node

    def _shown(self, here: Node, behind: Node) -> bool:
        """Whether a visit that waits for another is of another scene, and that in the picture."""
        return behind[0] != here[0] and in_picture(self._state, behind[0], self._out)


def lent_visits(state: AnyState, scene: str) -> frozenset[str]:
    """`Lending.lent_visits` of one scene."""
    return Lending(state).lent_visits(scene)


def still_to_do(state: AnyState, scene: str) -> list[str]:
    """`Lending.still_to_do` of one scene."""
    return Lending(state).still_to_do(scene)
