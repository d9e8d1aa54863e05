"""Random facts about a small studio: proposed at random, and kept where they are accepted.

Each fact is drawn from one integer, so that a failing log shrinks to the facts that matter.
"""

from collections.abc import Callable, Iterable
from random import Random
from typing import Any

from hypothesis import strategies as st

from service.planning.compare.pricing import quoted
from service.production.decide import Accepted
from service.production.graph import successors
from service.production.orders import MOVES
from service.production.refusal import Refusal
from service.production.route import APPROVAL
from service.production.state import departments_of, item_of
from service.production.takes import Phase
from service.vocabulary.event import Event
from service.vocabulary.facts.routes import STRANDS
from service.vocabulary.instants import US_PER_MIN, format_instant, parse_instant
from service.vocabulary.money import money_text
from tests.telling import APPROVING, Story, studio

SEEDS = st.integers(0, 2**32 - 1)
LOGS = st.lists(SEEDS, max_size=40)

Proposal = tuple[str, str, dict[str, Any]]
Proposer = Callable[[Story, Random, str], Proposal]

_START_US = parse_instant("2031-03-04T09:00:00Z")
_STEP_US = 30 * US_PER_MIN


def _scene(story: Story, random: Random, prefix: str) -> str:
    return random.choice(sorted(name for name in story.state.scenes if name.startswith(prefix)))


def _item(story: Story, random: Random, prefix: str) -> str:
    state = story.state
    items = [*state.scenes, *state.episodes, *state.elements]
    return random.choice(sorted(name for name in items if name.startswith(prefix)))


def _visit(story: Story, random: Random, prefix: str) -> tuple[str, str]:
    item = _item(story, random, prefix)
    found = item_of(story.state, item)
    assert found is not None
    # of a route that no department of the item is on, any one: refused
    return item, random.choice(departments_of(found) or ["paint"])


def _strands(random: Random) -> list[str]:
    return sorted(random.sample(STRANDS, random.randint(1, 3)))


def _move(story: Story, random: Random, prefix: str) -> Proposal:
    item, department = _visit(story, random, prefix)
    type_ = random.choice(["hand-out.made", "work.started", "work.started", "hand-off.made"])
    data: dict[str, Any] = {"department": department}
    if type_ != "hand-off.made":
        data["artist"] = random.choice(["a1", "a2"])
    if random.random() < 0.2:
        data["take"] = random.randint(1, 3)
    return type_, item, data


def _refusal(story: Story, random: Random, prefix: str) -> Proposal:
    handed_off = sorted(
        (item, department)
        for item, visits in story.state.visits.items()
        for department, visit in visits.items()
        if item.startswith(prefix) and visit.current.phase is Phase.HANDED_OFF
    )
    item, sender = random.choice(handed_off or [_visit(story, random, prefix)])
    behind = [arc.node[1] for arc in successors(story.state, item, sender)]
    receiver = random.choice(sorted({*behind, "camera"}))
    share = random.choice([0.25, 0.5, 1])
    return "hand-off.refused", item, {"sender": sender, "department": receiver, "share": share}


def _omission(story: Story, random: Random, prefix: str) -> Proposal:
    type_ = random.choice(["scene.omitted", "scene.restored"])
    return type_, _scene(story, random, prefix), {}


def _hold(story: Story, random: Random, prefix: str) -> Proposal:
    scene = _scene(story, random, prefix)
    if random.random() < 0.5:
        return "scene.freed", scene, {}
    return "scene.held", scene, {"owes": "client", "by_on": "2031-03-20"}


def _order(story: Story, random: Random, prefix: str) -> Proposal:
    item, department = _visit(story, random, prefix)
    if random.random() < 0.5:
        return "priority.set", item, {"priority": random.randint(-3, 3)}
    return "visit.put-first", item, {"department": department}


def _note(story: Story, random: Random, prefix: str) -> Proposal:
    notes = sorted(n for n, note in story.state.notes.items() if note.item.startswith(prefix))
    if notes and random.random() < 0.5:
        note = random.choice(notes)
        return "note.answered", story.state.notes[note].item, {"note": note, "text": "Done."}
    code = f"N{prefix[-1]}{random.randint(1, 3)}"
    item = _item(story, random, prefix)
    return "note.given", item, {"note": code, "to": "paint", "text": "Look again."}


def _acceptance(story: Story, random: Random, prefix: str) -> Proposal:
    if random.random() < 0.1:
        episodes = sorted(name for name in story.state.episodes if name.startswith(prefix))
        return "episode.delivered", random.choice(episodes), {}
    return "scene.bought", _scene(story, random, prefix), {}


def _call(story: Story, random: Random, prefix: str) -> Proposal:
    item, back_to = _visit(story, random, prefix)
    code = f"R{prefix[-1]}{len(story.events)}"
    more: dict[str, Any] = {"share": random.choice([0.1, 0.5, 1])}
    if random.random() < 0.4:
        others = {_scene(story, random, prefix) for _ in range(random.randint(1, 2))} - {item}
        more["dependents"] = [
            {"scene": scene, "mark": random.choice(["redo", "look-at", "leave"])}
            for scene in sorted(others)
        ]
    return story.call_of(code, item, back_to, *_strands(random), **more)


def _answer(story: Story, random: Random, prefix: str) -> Proposal:
    open_ones = [
        (code, look.scene, retake.subject)
        for code, retake in story.state.retakes.items()
        for look in retake.look_at
        if retake.subject.startswith(prefix)
    ]
    if not open_ones:
        return _call(story, random, prefix)
    code, scene, subject = random.choice(sorted(open_ones))
    if random.random() < 0.3:
        return random.choice(["retake.withdrawn", "retake.bought-as-is"]), subject, {"retake": code}
    data: dict[str, Any] = {"retake": code, "answer": random.choice(["fine", "redo"])}
    if random.random() < 0.3:
        data["back_to"] = random.choice(["animation", "paint", "camera"])
    return "look-at.answered", scene, data


def _ending(story: Story, random: Random, prefix: str) -> Proposal:
    standing = sorted(
        (code, retake.subject)
        for code, retake in story.state.retakes.items()
        if retake.subject.startswith(prefix)
    )
    if not standing:
        return _call(story, random, prefix)
    code, subject = random.choice(standing)
    return random.choice(["retake.withdrawn", "retake.bought-as-is"]), subject, {"retake": code}


def _joining(story: Story, random: Random, prefix: str) -> Proposal:
    scene, other = _scene(story, random, prefix), _scene(story, random, prefix)
    elements = sorted(name for name in story.state.elements if name.startswith(prefix))
    kind = random.randint(0, 2 if elements else 1)
    if kind == 0:
        return "hook-up.declared", scene, {"to": other}
    if kind == 1:
        joins = random.choice(["animation", "paint", "camera"])
        data: dict[str, Any] = {"source": other, "joins": joins, "strands": _strands(random)}
        if random.random() < 0.4:
            data["levels"] = ["A"]
        return "same-as.declared", scene, data
    return "element.used", random.choice(elements), {"scenes": sorted({scene, other})}


def _listing(story: Story, random: Random, prefix: str) -> Proposal:
    number = random.randint(1, 9)
    if random.random() < 0.5 and prefix == "KESTREL":
        kind = random.choice(["background", "model-sheet", "cast"])
        return "element.listed", f"KESTREL:e{number}", {"kind": kind, "drawings": 4}
    episode = random.choice(sorted(e for e in story.state.episodes if e.startswith(prefix)))
    return "scene.listed", f"{episode}/{number}", {"frames": 16 * number, "drawings": 20}


def _retiming(story: Story, random: Random, prefix: str) -> Proposal:
    frames = random.randint(1, 200)
    return "scene.retimed", _scene(story, random, prefix), {"frames": frames}


def _studio_wide(story: Story, random: Random, prefix: str) -> Proposal:
    department = random.choice(["paint", "animation"])
    kind = random.randint(0, 2)
    if kind == 0:
        data = {"department": department}
        if random.random() < 0.5:
            data["expected_end_at"] = "2031-04-01T12:00:00Z"
        return "department.stopped", "studio", data
    if kind == 1:
        return "department.resumed", "studio", {"department": department}
    crew = {
        "department": department,
        "artists": random.randint(0, 3),
        "units_per_artist_day": random.randint(1, 20),
        "minutes_per_artist_day": 480,
        "from_on": f"2031-03-{random.randint(1, 28):02d}",
    }
    return "crew.set", "studio", crew


def _rates(story: Story, random: Random, prefix: str) -> Proposal:
    data = {
        "currency": "EUR",
        "from_on": f"2031-03-{random.randint(1, 28):02d}",
        "rates": {
            name: f"{random.randint(0, 9999) / 100:.2f}" for name in sorted(story.state.units)
        },
        "credit": random.randint(0, 10) / 10,
    }
    return "rate.set", "KESTREL", data


def _order_line(story: Story, random: Random, prefix: str, number: int) -> dict[str, Any]:
    scene = _scene(story, random, prefix)
    change = random.choice(["retake", "add", "retime", "omit", "restore", "redesign", "fee"])
    match change:
        case "retake":
            item, back_to = _visit(story, random, prefix)
            data: dict[str, Any] = {"items": [item], "back_to": back_to, "share": 0.5}
            return {"change": change, **data, "strands": _strands(random)}
        case "add":
            new = f"{scene.partition('/')[0]}/n{len(story.events)}{number}"
            return {"change": change, "scene": new, "frames": 40, "drawings": 8}
        case "retime":
            return {"change": change, "scene": scene, "frames": random.randint(1, 200)}
        case "redesign" if story.state.elements:
            return {"change": change, "element": random.choice(sorted(story.state.elements))}
        case "omit" | "restore":
            return {"change": change, "scene": scene}
    return {"change": "fee", "amount": f"{random.randint(-999, 999) / 100:.2f}", "what": "A fee"}


def _raised(story: Story, random: Random, prefix: str) -> Proposal:
    subject = random.choice([prefix, *(e for e in story.state.episodes if e.startswith(prefix))])
    lines = [_order_line(story, random, prefix, n) for n in range(random.randint(0, 3))]
    code = f"O{prefix[-1]}{len(story.events)}"
    data = {"order": code, "asked_by": "client", "words": "Please.", "lines": lines}
    return "change-order.raised", subject, data


def priced(story: Story, code: str, at_us: int) -> Proposal:
    """A price as it is quoted at a moment; without a card, none that the rules would take."""
    quote = quoted(story.state, code, at_us)
    data: dict[str, Any] = {"order": code, "position": len(story.events), "total": "0"}
    data |= {"currency": "EUR", "lines": []}
    if not isinstance(quote, Refusal):
        data |= {"currency": quote.currency, "total": money_text(quote.total)}
        data["lines"] = [
            {"line": line.number, "amount": money_text(line.amount)} for line in quote.lines
        ]
    return "change-order.priced", story.state.orders[code].subject, data


def _ordering(story: Story, random: Random, prefix: str) -> Proposal:
    open_ones = sorted(
        code
        for code, order in story.state.orders.items()
        if MOVES[order.standing] and order.subject.startswith(prefix)
    )
    if not open_ones or random.random() < 0.4:
        return _raised(story, random, prefix)
    code = random.choice(open_ones)
    order = story.state.orders[code]
    if order.price is None:
        type_, subject, data = priced(story, code, _START_US + len(story.events) * _STEP_US)
        return type_, subject, data | {"valid_until": "2031-12-31"}
    if random.random() < 0.3:
        type_ = random.choice(["change-order.declined", "change-order.withdrawn"])
        return type_, order.subject, {"order": code}
    data = {"order": code, "position": order.price.position}
    if random.random() < 0.5:
        episode = random.choice(sorted(story.state.episodes))
        data["gates"] = [{"episode": episode, "gate": "delivery", "due_on": "2031-06-02"}]
    return "change-order.approved", order.subject, data


def _approval(story: Story, random: Random, prefix: str) -> Proposal:
    elements = sorted(name for name in story.state.elements if name.startswith(prefix))
    if not elements:
        return _call(story, random, prefix)
    designs = [name for name in elements if story.state.elements[name].departments[-1] == APPROVAL]
    element = random.choice(designs or elements)
    by = random.choice(["client", "broadcaster", "studio"])
    kind = random.randint(0, 3)
    if kind == 0:
        return "approval.given", element, {"by": by}
    if kind == 1:
        data: dict[str, Any] = {"by": by, "retake": f"R{prefix[-1]}{len(story.events)}"}
        if random.random() < 0.5:
            data |= {"back_to": "design", "share": 0.5}
        return "approval.refused", element, data
    return "approval.asked", element, {"of": by}


JOINS: tuple[Proposer, ...] = (_joining, _joining, _listing)
OF_ITEMS: tuple[Proposer, ...] = (
    *(_move,) * 8,
    *(_refusal, _omission, _hold, _order, _note, _acceptance),
    *(_call, _call, _answer, _ending, _ending, _listing),
    *(_approval, _approval),
)
OTHERS: tuple[Proposer, ...] = (_retiming, _studio_wide, _rates, *(_ordering,) * 4)
ALL: tuple[Proposer, ...] = (
    *OF_ITEMS,
    *(_joining,) * 3,
    _retiming,
    _studio_wide,
    _rates,
    *(_ordering,) * 4,
)


def proposed(
    story: Story, seed: int, proposers: tuple[Proposer, ...], prefix: str = "KESTREL"
) -> Event:
    """A fact at random; now and then its time lies before that of others."""
    random = Random(seed)
    type_, subject, data = random.choice(proposers)(story, random, prefix)
    late = random.randint(1, 8) if random.random() < 0.25 else 0
    steps = max(0, len(story.events) - late)
    return story.event(type_, subject, data, at=format_instant(_START_US + steps * _STEP_US))


def tell_at_random(
    story: Story,
    seeds: Iterable[int],
    proposers: tuple[Proposer, ...] = ALL,
    prefix: str = "KESTREL",
) -> Story:
    """Propose a fact for each seed, and keep those that are accepted."""
    for seed in seeds:
        event = proposed(story, seed, proposers, prefix)
        decided = story.propose(event)
        if isinstance(decided, Accepted):
            story.record(event)
    return story


def furnished() -> Story:
    """The small studio with a shared background, a model sheet, a hook-up and a reused scene."""
    story = studio(route=APPROVING)
    for element, kind, scenes in (("imp", "cast", (1, 3)), ("hat", "prop", (2, 3))):
        story.tell("element.listed", f"KESTREL:{element}", {"kind": kind, "drawings": 4})
        used = {"scenes": [f"KESTREL-1/{number}" for number in scenes]}
        story.tell("element.used", f"KESTREL:{element}", used)
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    story.tell("element.used", "KESTREL:hall", {"scenes": ["KESTREL-1/1", "KESTREL-2/1"]})
    story.tell("element.listed", "KESTREL:fox", {"kind": "model-sheet", "drawings": 6})
    story.tell("element.used", "KESTREL:fox", {"scenes": ["KESTREL-1/1", "KESTREL-1/2"]})
    story.tell("hook-up.declared", "KESTREL-1/1", {"to": "KESTREL-1/2"})
    story.tell("hook-up.declared", "KESTREL-1/2", {"to": "KESTREL-1/3"})
    same = {"source": "KESTREL-1/2", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-2/2", same)
    return story


def random_studio(seeds: Iterable[int]) -> Story:
    """A studio with scenes and elements joined at random."""
    return tell_at_random(furnished(), seeds, JOINS)
