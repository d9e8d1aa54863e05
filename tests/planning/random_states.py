"""States of random logs: every kind of fact that changes what is planned or how it is joined."""

from collections.abc import Iterator
from copy import deepcopy
from random import Random
from typing import Any

from service.production.decide import Accepted
from service.production.state import State
from service.vocabulary.facts.routes import GATES as NAMES
from tests.telling import APPROVING, ROUTE, studio

SHOW = "KESTREL"
DEPARTMENTS = ("layout", "background", "animation", "paint", "camera")
GATES = [
    *ROUTE["gates"],
    {"gate": "lock", "department": "storyboard"},
    {"gate": "retake-cut-off", "department": "layout"},
]
Proposal = tuple[str, str, dict[str, Any]]


def states_at_random(random: Random, facts: int) -> list[State]:
    """The states of a log after each of its facts, strikes among them."""
    approving = random.random() < 0.5
    episodes = ("KESTREL-1", "KESTREL-2", "KESTREL-10")
    route = {**(APPROVING if approving else ROUTE), "gates": GATES}
    story = studio(scenes=3, episodes=episodes, route=route)
    if approving:
        for code, kind in (("C1", "cast"), ("P1", "prop")):
            story.tell("element.listed", f"{SHOW}:{code}", {"kind": kind, "drawings": 4})
            used = {"scenes": ["KESTREL-1/1", f"KESTREL-2/{2 + (kind == 'prop')}"]}
            story.tell("element.used", f"{SHOW}:{code}", used)
    story.now = "2031-03-05T12:00:00Z"
    states = [story.state]
    for _ in range(facts):
        events = [
            story.event(*proposal, position=len(story.events) + place)
            for place, proposal in enumerate(_proposals(random, story.state, len(story.events)), 1)
        ]
        decided = story.propose(*events)
        if isinstance(decided, Accepted):
            story.record(*events)
            states.append(story.state)
    return states


def _proposals(random: Random, state: State, position: int) -> Iterator[Proposal]:
    """A batch of one fact, or now and then of two, which the rules may refuse."""
    for _ in range(random.choice((1, 1, 1, 2))):
        about = random.choice((_listed, _listed, _joined, _joined, _joined, _at_work, _at_work,
                               _ordered, _ordered, _struck))  # fmt: skip
        yield about(random, state, position)


def _listed(random: Random, state: State, position: int) -> Proposal:
    """What comes into the plan and what leaves it."""
    episode = random.choice(sorted(state.episodes))
    number = random.choice(("4", "5A", "10", "11", "100"))
    kind = random.choice(("background", "model-sheet", "overlay", "cast", "prop", "still"))
    element = f"{SHOW}:{random.choice(('BG1', 'BG2', 'M1', 'O1', 'C1', 'P1'))}"
    return random.choice((
        ("scene.listed", f"{episode}/{number}", {"frames": 30, "drawings": 7}),
        ("scene.listed", f"{episode}/{number}B", {"frames": 50, "work": {"paint": 2.5}}),
        ("element.listed", element, {"kind": kind, "drawings": 3}),
        ("episode.opened", f"{SHOW}-{random.choice((2, 3, 11))}", {"title": "One more"}),
        ("episode.delivered", episode, {}),
        ("route.laid", SHOW, _another_route(random)),
    ))  # fmt: skip


def _another_route(random: Random) -> dict[str, Any]:
    """The same with a department more or less, or as it was; and one more kind.

    A review of the episode follows scenes that stills may take the place of.
    """
    route = deepcopy(ROUTE)
    departments = {entry["department"]: entry for entry in route["departments"]}
    change = random.choice(("more", "less", "review", "none"))
    if change == "more":
        follows = [{"department": "layout", "strands": ["character"]}]
        effects = {"department": "effects", "grain": "scene", "unit": "scenes", "follows": follows}
        departments["camera"]["follows"].append({"department": "effects", "strands": ["character"]})
        route["departments"].insert(3, effects)
    elif change == "review":
        follows = [{"department": "paint", "strands": ["character"]}]
        review = {"department": "review", "grain": "episode", "unit": "episodes"}
        route["departments"].append(review | {"follows": follows})
        replaces = ["layout", "background", "animation", "paint"]
        route["kinds"].append(
            {"kind": "still", "departments": ["design"], "feeds": "camera", "strand": "character",
             "replaces": replaces}
        )  # fmt: skip
    elif change == "less":
        departments["camera"]["follows"][1]["department"] = "animation"
        route["departments"].remove(departments["paint"])
    route["kinds"].append(
        {"kind": "overlay", "departments": ["design", "background"], "feeds": "camera",
         "strand": "background"}
    )  # fmt: skip
    if random.random() < 0.5:
        route["kinds"] += APPROVING["kinds"][-2:]
    return route


def _joined(random: Random, state: State, position: int) -> Proposal:
    """What joins items."""
    scenes = sorted(state.scenes)
    scene, source = random.choice(scenes), random.choice(scenes)
    same = {
        "source": source,
        "joins": random.choice(("camera", "camera", "paint", "animation")),
        "strands": random.choice((["background"], ["character"], ["background", "character"])),
    }
    if random.random() < 0.3:
        same["levels"] = ["A"]
    declared: Proposal = ("same-as.declared", scene, same)
    if not state.elements or random.random() < 0.5:
        return declared
    users = random.sample(scenes, random.randint(1, 3))
    return ("element.used", random.choice(sorted(state.elements)), {"scenes": users})


def _at_work(random: Random, state: State, position: int) -> Proposal:
    """What desks do, and what is called back."""
    item = random.choice([*sorted(state.scenes), *sorted(state.elements), *sorted(state.episodes)])
    department = random.choice((*DEPARTMENTS, "design", "cutting"))
    code = f"R{random.randint(1, 9)}"
    call = {
        "retake": code,
        "kind": "retake",
        "urgency": random.choice(("must-fix", "if-time")),
        "back_to": department,
        "strands": ["background", "character"],
        "share": 0.3,
    }
    subject = state.retakes[code].subject if code in state.retakes else item
    return random.choice((
        ("work.started", item, {"department": department}),
        ("hand-off.made", item, {"department": department}),
        ("hand-off.made", item, {"department": department}),
        ("retake.called", item, call),
        ("retake.withdrawn", subject, {"retake": code}),
        *(_approved(random, state),) * 2,
    ))  # fmt: skip


def _approved(random: Random, state: State) -> Proposal:
    """An approval asked for, given or refused; the rules refuse it where none is needed."""
    designs = [name for name in state.elements if name.endswith(("C1", "P1"))]
    design = random.choice(sorted(designs or state.elements or {f"{SHOW}:C1": 0}))
    type_ = random.choice(("approval.asked", "approval.given", "approval.refused"))
    return type_, design, {} if type_ == "approval.asked" else {"by": "client"}


def _ordered(random: Random, state: State, position: int) -> Proposal:
    """What changes an item and not how it is joined."""
    scene = random.choice(sorted(state.scenes))
    item = random.choice([*sorted(state.scenes), *sorted(state.elements), *sorted(state.episodes)])
    retimed: dict[str, Any] = {"frames": random.randint(10, 90)}
    if random.random() < 0.5:
        retimed["drawings"] = random.randint(0, 20)
    due_on = f"2031-{random.choice(('03-0', '05-1', '05-2'))}{random.randint(1, 9)}"
    gate = {"gate": random.choice(("delivery", "delivery", *NAMES)), "due_on": due_on}
    return random.choice((
        ("scene.omitted", scene, {}),
        ("scene.restored", scene, {}),
        ("scene.retimed", scene, retimed),
        ("scene.held", scene, {"owes": "client", "by_on": "2031-03-09"}),
        ("scene.freed", scene, {}),
        ("priority.set", item, {"priority": random.randint(-2, 2)}),
        ("gate.set", random.choice(sorted(state.episodes)), gate),
        ("visit.put-first", scene, {"department": random.choice(DEPARTMENTS)}),
    ))  # fmt: skip


def _struck(random: Random, state: State, position: int) -> Proposal:
    """A strike of one of the last facts: the state without it is no descendant of the last."""
    return ("event.struck", "studio", {"position": position - random.randint(0, 6), "why": "slip"})
