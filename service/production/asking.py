"""Questions the rules ask again and again, each answered with the reasons against."""

from collections.abc import Iterable, Iterator

from service.production.entering import try_move
from service.production.lending import lent_visits
from service.production.refusal import Code, Reason
from service.production.route import APPROVAL
from service.production.state import (
    WORDS,
    Draft,
    Element,
    Episode,
    Node,
    Scene,
    departments_of,
    item_of,
)
from service.production.takes import Phase
from service.production.visits import Illegal, Move, Visit
from service.vocabulary.event import Event
from service.vocabulary.instants import format_instant
from service.vocabulary.quantities import ONE_E4

Reasons = Iterator[Reason]

_STANDS = {
    Phase.WAITING: "has not been handed off",
    Phase.ON_DESK: "is on a desk",
    Phase.HANDED_OFF: "is already handed off",
    Phase.TAKEN_BACK: "was taken back by a retake",
}
_REMEDIES = {
    (Phase.WAITING, Move.REFUSE): "there is no hand-off to refuse",
    (Phase.ON_DESK, Move.START): "hand it off before it starts again",
    (Phase.ON_DESK, Move.REFUSE): "there is no hand-off to refuse",
    (Phase.HANDED_OFF, Move.HAND_OUT): "call a retake to reopen it",
    (Phase.HANDED_OFF, Move.START): "call a retake to reopen it",
    (Phase.HANDED_OFF, Move.HAND_OFF): "call a retake to reopen it",
}


def the_item(draft: Draft, item: str, member: str = "/subject") -> Reasons:
    """Whether the item is known."""
    if item_of(draft, item) is None:
        yield Reason(Code.UNKNOWN, f"{item} is not in the record; list or open it first", member)


def the_scene(draft: Draft, scene: str, member: str = "/subject") -> Reasons:
    """Whether the scene is known."""
    if scene not in draft.scenes:
        yield Reason(Code.UNKNOWN, f"scene {scene} is not in the record; list it first", member)


def the_episode(draft: Draft, episode: str) -> Reasons:
    """Whether the episode is known."""
    if episode not in draft.episodes:
        yield Reason(
            Code.UNKNOWN, f"episode {episode} is not in the record; open it first", "/subject"
        )


def the_department(draft: Draft, department: str, member: str = "/data/department") -> Reasons:
    """Whether any route has the department."""
    if department not in draft.units:
        yield Reason(
            Code.UNKNOWN,
            f"{department} is on no route; check the name, or lay a route that has it first",
            member,
        )


def on_route(
    item: str, found: Scene | Element | Episode, department: str, member: str = "/data/department"
) -> Reasons:
    """Whether an item visits a department itself."""
    own = departments_of(found)
    if department not in own:
        yield Reason(
            Code.NOT_ON_ROUTE,
            f"{item} does not visit {department}; it visits {', '.join(own)}",
            member,
        )


def tables_on_route(departments: Iterable[str], difficulty: WORDS, work: WORDS) -> Reasons:
    """Whether tables by department name departments of the route."""
    names = set(departments)
    for member, table in (("difficulty", difficulty), ("work", work)):
        for name, _ in table:
            if name not in names:
                yield Reason(
                    Code.NOT_ON_ROUTE,
                    f"{name} is not on the route; leave it out or lay a route that has it",
                    f"/data/{member}/{name}",
                )


def the_move(
    draft: Draft,
    event: Event,
    department: str,
    move: Move,
    take: int | None,
    member: str = "/data/department",
    *,
    artist: str | None = None,
    share_e4: int = ONE_E4,
) -> Reasons:
    """Whether a desk's move is legal for the subject's visit at a department."""
    found = item_of(draft, event.subject)
    if found is None:
        yield from the_item(draft, event.subject)
        return
    against = list(on_route(event.subject, found, department, member))
    if department == APPROVAL and not against:
        detail = "no desk hands off an approval; record approval.asked, approval.given or .refused"
        against.append(Reason(Code.CONTRADICTION, detail, member))
    out = isinstance(found, Scene) and found.omitted_at(event.time_us)
    if isinstance(found, Scene) and out and department not in lent_visits(draft, event.subject):
        remedy = "restore it first" if found.omitted else "correct the time"
        against.append(
            Reason(Code.CONTRADICTION, f"{event.subject} was omitted then; {remedy}", "/subject")
        )
    yield from against
    if not against:
        node = (event.subject, department)
        tried = try_move(draft, event, node, move, take=take, artist=artist, share_e4=share_e4)
        yield from legal(event, node, tried, take)


def legal(event: Event, node: Node, tried: Visit | Illegal, take: int | None = None) -> Reasons:
    """Put in words what the table of moves says against an entry."""
    if not isinstance(tried, Illegal):
        return
    item, department = node
    met, entry = tried.take, tried.entry
    where = f"{item} at {department}, take {met.number},"
    if entry.position != event.position:
        yield Reason(
            Code.TIME_ORDER,
            f"{where} could not {_past_of(entry.move)} at {format_instant(entry.at_us)} "
            f"(event {entry.position}) after this; check the times, they never decrease in a take",
            "/time",
        )
    elif take is not None and take != met.number:
        yield Reason(
            Code.ILLEGAL_MOVE,
            f"take {met.number} of {item} at {department} was open then, not take {take}; "
            "name the open take or correct the time",
            "/data/take",
        )
    else:
        remedy = _REMEDIES.get((met.phase, entry.move), "check the record of this visit")
        yield Reason(Code.ILLEGAL_MOVE, f"{where} {_STANDS[met.phase]}: {remedy}", "/subject")


def _past_of(move: Move) -> str:
    return move.replace("_", " ")
