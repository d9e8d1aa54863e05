"""Facts at the ends of what may be recorded, one proposer for each type of the catalogue.

Members are drawn by their kinds (`drawing`); where they must go together to be worth proposing, a
line of `_FITTING` sees to it. Whether the rules take the fact is theirs to say.
"""

from collections.abc import Callable
from random import Random
from typing import Any

from service.production.orders import MEMBERS
from service.production.route import APPROVAL
from service.production.takes import Phase
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.facts.orders import CHANGES, OrderLine
from service.vocabulary.facts.routes import UNITS
from service.vocabulary.identifiers import Form, parse_subject
from service.vocabulary.kinds import members
from tests.production.drawing import Draw
from tests.production.random_logs import Proposal, Proposer
from tests.telling import APPROVING, ROUTE, Story

UNKNOWN_MEMBERS: tuple[dict[str, Any], ...] = (
    {"": ""},
    {"~/~1": [[], {}, None, True, "\u0000"]},
    {"x" * 200: 2**53 - 1, "y": -(2**53) + 1, "z": 0.1 + 0.2, "tiny": 5e-324},
)
"""What this release does not know, which is kept and given back as it came."""
_NEW = {"show.opened", "episode.opened", "scene.listed", "element.listed"}
Fit = Callable[[Draw, dict[str, Any]], None]
"""What changes a fact that was drawn so that its members go together."""
_BEGUN = (Phase.ON_DESK, Phase.HANDED_OFF)


def _route(draw: Draw, data: dict[str, Any]) -> None:
    """A route hardly ever holds together by chance: one that does, with its figures drawn."""
    random = draw.random
    given = random.choice((ROUTE, APPROVING, APPROVING, _shortest(), _longest()))
    data |= {"kinds": [], **given}
    data["departments"] = [
        {
            **department,
            "redo": random.choice(("part", "whole")),
            "least": random.choice((0, 0.0001, 10_000_000)),
            "drawings_part": random.choice((0, 0.0001, 1)),
        }
        for department in given["departments"]
    ]
    data["kinds"] = [
        {**kind, "approval": {**kind["approval"], "days": random.choice((1, 250))}}
        if "approval" in kind
        else kind
        for kind in data["kinds"]
    ]


def _shortest() -> dict[str, Any]:
    only = {"department": "mix", "grain": "episode", "unit": "episodes"}
    return {"departments": [only], "gates": [{"gate": "delivery", "department": "mix"}]}


def _longest() -> dict[str, Any]:
    names = [f"d{place}".ljust(40, "x") for place in range(40)]
    line = [
        {
            "department": name,
            "grain": "scene",
            "unit": UNITS[1 + place % 4],
            "follows": [
                {"department": before, "strands": ["background", "character", "sound"]}
                for before in names[max(0, place - 20) : place]
            ],
        }
        for place, name in enumerate(names)
    ]
    return {"departments": line, "gates": [{"gate": "delivery", "department": names[-1]}]}


def _fit_items(draw: Draw, data: dict[str, Any]) -> None:
    """A call of one item names no others; one of a show names some."""
    _share(draw, data)
    subject = parse_subject(draw.subject)
    if subject is None or subject.form is not Form.SHOW:
        data.pop("items", None)
    else:
        data["items"] = [draw.recorded(Form.SCENE)]


def _share(draw: Draw, data: dict[str, Any]) -> None:
    """What is called says a share or a number of drawings, not both."""
    data.pop(draw.random.choice(("share", "drawings")), None)
    if not {"share", "drawings"} & data.keys():
        data["share"] = draw.random.choice((0.0001, 1))


def _lines(draw: Draw, data: dict[str, Any]) -> None:
    """Each line of an order has the members that go with its change."""
    for place, line in enumerate(data["lines"]):
        change = draw.random.choice(CHANGES)
        needed, allowed = MEMBERS[change]
        drawn = draw.group(OrderLine, needed) | {"change": change}
        if change == "add":
            drawn["scene"] = f"{draw.new(Form.SCENE)[:-1]}{place % 10}"
        wanted = {
            member.name
            for member in members(OrderLine)
            if member.attribute in {"change", *needed, *allowed}
        }
        line.clear()
        line |= {name: value for name, value in drawn.items() if name in wanted}
        if change == "retake":
            _share(draw, line)


def _subject_where(names: str, holds: Callable[[Any], bool]) -> Fit:
    """The subject is one for which it makes sense, where there is one."""

    def fit(draw: Draw, _: dict[str, Any]) -> None:
        able = sorted(name for name, one in getattr(draw.state, names).items() if holds(one))
        draw.subject = draw.random.choice(able or [draw.subject])

    return fit


def _resumed(draw: Draw, data: dict[str, Any]) -> None:
    stoppages = draw.state.stoppages.items()
    stopped = sorted(name for name, stops in stoppages if stops and stops[-1].resumed_us < 0)
    data["department"] = draw.random.choice(stopped or [data["department"]])


def _looked_at(draw: Draw, data: dict[str, Any]) -> None:
    """Mostly about what changed after work on it had begun, which can only be fine."""
    changed = sorted(name for name, touches in draw.state.touched.items() if touches)
    if changed and draw.random.random() < 0.8:
        draw.subject = draw.random.choice(changed)
        data["answer"] = "fine"
        data.pop("retake", None)
        data.pop("back_to", None)


def _begun(draw: Draw, data: dict[str, Any]) -> None:
    """What is called back was begun, where anything of the subject was."""
    _fit_items(draw, data)
    visits = draw.state.visits.get(draw.subject, {})
    begun = sorted(name for name, one in visits.items() if one.current.phase in _BEGUN)
    data["back_to"] = draw.random.choice(begun or [data["back_to"]])


def _about(names: str, code: str, attribute: str) -> Fit:
    """The subject is that of what the fact is about, where that is on record."""

    def fit(draw: Draw, data: dict[str, Any]) -> None:
        about = getattr(draw.state, names).get(data[code])
        if about is not None:
            draw.subject = getattr(about, attribute)

    return fit


_APPROVED = _subject_where("elements", lambda element: element.departments[-1] == APPROVAL)
_FITTING: dict[str, Fit] = {
    "route.laid": _route,
    "retake.called": _begun,
    "look-at.answered": _looked_at,
    "scene.freed": _subject_where("scenes", lambda scene: scene.hold is not None),
    "scene.restored": _subject_where("scenes", lambda scene: scene.omitted_us >= 0),
    "department.resumed": _resumed,
    **dict.fromkeys(("approval.asked", "approval.given", "approval.refused"), _APPROVED),
    "retake.withdrawn": _about("retakes", "retake", "subject"),
    "retake.bought-as-is": _about("retakes", "retake", "subject"),
    "note.answered": _about("notes", "note", "item"),
    "change-order.raised": _lines,
    "change-order.approved": _about("orders", "order", "subject"),
    "change-order.declined": _about("orders", "order", "subject"),
    "change-order.withdrawn": _about("orders", "order", "subject"),
}


def _of(type_: str) -> Proposer:
    def propose(story: Story, random: Random, prefix: str) -> Proposal:
        draw = Draw(story, random, prefix)
        form = random.choice(sorted(CATALOGUE[type_].SUBJECTS))
        draw.subject = draw.new(form) if type_ in _NEW else draw.recorded(form)
        draw.keep_to_route(form)
        data = draw.group(CATALOGUE[type_])
        if type_ in _FITTING:
            _FITTING[type_](draw, data)
        if random.random() < 0.02:
            data |= random.choice(UNKNOWN_MEMBERS)
        return type_, draw.subject, data

    return propose


# a price must be the quote's, which random logs ask for; no token removes personal text
EXTREMES: tuple[Proposer, ...] = tuple(
    _of(type_) for type_ in CATALOGUE if type_ not in ("change-order.priced", "text.forgotten")
)
