"""What scenes out of the picture lend to those in it.

A scene that is omitted, or whose episode is delivered, may still lend its art to others that reuse
it: `lent_visits` says which of its visits are needed for that, and these stay in the plan.
"""

from collections.abc import Iterator

from service.production.graph import successors
from service.production.state import Known, Node, visit_of
from service.production.visits import Phase

_NOBODY: frozenset[str] = frozenset()


def in_picture(known: Known, scene: str, out: frozenset[str] = frozenset()) -> bool:
    """Whether a scene is neither omitted (nor named in `out`) nor in a delivered episode."""
    record = known.scenes[scene]
    undelivered = known.episodes[record.episode].delivered_us < 0
    return undelivered and not record.omitted and scene not in out


class Lending:
    """Who needs what of scenes out of the picture, for as long as what is known does not change.

    Scenes named in `out` count as omitted. What was found is kept, so that asking about many
    scenes looks at each visit once.
    """

    def __init__(self, known: Known, out: frozenset[str] = frozenset()) -> None:
        self._known = known
        self._out = out
        self._users: dict[Node, frozenset[str]] = {}

    def borrowers(self, scene: str) -> dict[str, frozenset[str]]:
        """By department, the scenes in the picture that reuse what a scene's visit there makes.

        They are those that wait for the visit, or for one that stands behind it in the same scene.
        A scene that is out of the picture itself passes on what it lends.
        """
        if scene not in self._known.reusers:
            return {}
        departments = self._known.scenes[scene].departments
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
            if visit_of(self._known, scene, name).current.phase is not Phase.HANDED_OFF
        ]

    def users_of(self, node: Node) -> frozenset[str]:
        """The scenes in the picture that need a scene's visit, the scene itself left aside."""
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
        """The visits of scenes that wait for one of a scene."""
        for arc in successors(self._known, *node):
            if arc.node[0] in self._known.scenes:
                yield arc.node

    def _shown(self, here: Node, behind: Node) -> bool:
        """Whether a visit that waits for another is of another scene, and that in the picture."""
        return behind[0] != here[0] and in_picture(self._known, behind[0], self._out)


def borrowers(
    known: Known, scene: str, out: frozenset[str] = frozenset()
) -> dict[str, frozenset[str]]:
    """`Lending.borrowers` of one scene."""
    return Lending(known, out).borrowers(scene)


def lent_visits(known: Known, scene: str) -> frozenset[str]:
    """`Lending.lent_visits` of one scene."""
    return Lending(known).lent_visits(scene)


def still_to_do(known: Known, scene: str) -> list[str]:
    """`Lending.still_to_do` of one scene."""
    return Lending(known).still_to_do(scene)
