"""Stories of extreme but valid posts, and then every address read by every role.

A story follows from its seed. It furnishes a studio of its own, posts events whose values lie at
the limits of what is allowed, whether the service accepts them or not, and then reads every GET
route of the app, with names in the address that are mostly on record and with arguments at their
bounds. Each route is read by a desk and by one of the other roles, drawn at random, so that over
some stories every role reads every route. Whatever was accepted, no answer may be a fault of the
service: a status of 500 or above.
"""

import re
import time
from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache
from random import Random
from typing import Any
from urllib.parse import quote, urlencode

from flask import Flask
from sqlalchemy import Engine
from werkzeug.test import TestResponse

from service.log.studios import write_clock
from service.production.state import State
from service.vocabulary.facts import CATALOGUE
from service.vocabulary.identifiers import parse_subject
from service.vocabulary.instants import US_PER_MIN, format_instant, parse_instant
from service.web.access import roles_of
from service.web.app import bare_app
from service.web.described import description_of
from service.web.document import document, methods_of, path_of, routes
from service.web.services import Services
from service.web.strict_json import WHOLE_MAX
from tests.production.drawing import MOMENTS
from tests.production.extremes import EXTREMES
from tests.production.random_logs import ALL, furnished, proposed
from tests.recording import SEAL_KEY
from tests.telling import Story
from tests.web.paper import HOLDERS, Paper

POSTS = (20, 60)
"""How many posts a story has, at least and at most."""
DESKS = tuple(who for who, (_, departments) in HOLDERS.items() if departments)
ABOVE_DESKS = tuple(who for who in HOLDERS if who not in DESKS)
PROPOSERS = (*ALL, *ALL, *EXTREMES)
CLOCKS = ("2031-03-07T09:00:00Z",) * 8 + ("2031-12-31T23:59:59.999999Z", MOMENTS[-1])
BUILT_S_MAX = 60.0
STEP_US = 366 * 24 * 60 * US_PER_MIN
"""How far a simulated clock can be moved at a time."""
_NEXT = re.compile(r'<([^>]+)>; rel="next"')


@dataclass
class Outcome:
    """What came of one story or of several."""

    posts: Counter[int] = field(default_factory=Counter)
    recorded: Counter[str] = field(default_factory=Counter)
    questions: Counter[int] = field(default_factory=Counter)
    gets: Counter[int] = field(default_factory=Counter)
    slowest: tuple[float, str] = (0.0, "")
    faults: list[str] = field(default_factory=list)

    def add(self, other: "Outcome") -> None:
        """Take another's counts in."""
        self.posts += other.posts
        self.recorded += other.recorded
        self.questions += other.questions
        self.gets += other.gets
        self.slowest = max(self.slowest, other.slowest)
        self.faults += other.faults


@dataclass(frozen=True)
class Address:
    """A GET route: its address with names in braces, its arguments, what it can answer with."""

    template: str
    query: tuple[tuple[str, dict[str, Any]], ...]
    media_types: tuple[str, ...]
    guarded: bool


@lru_cache(maxsize=1)
def addresses() -> tuple[Address, ...]:
    """Every GET route of the app, with the arguments that the OpenAPI document says it takes."""
    app = bare_app()
    paths = document(app)["paths"]
    found = []
    for rule, route, _ in routes(app):
        if "GET" in methods_of(rule):
            template = path_of(rule)
            parameters = paths[template]["get"].get("parameters", ())
            query = tuple((p["name"], p["schema"]) for p in parameters if p["in"] == "query")
            description = description_of(route)
            media_types = description.media_types if description else ()
            guarded = roles_of(route) is not None
            found.append(Address(template, query, media_types, guarded))
    return tuple(found)


@lru_cache(maxsize=1)
def _furnished() -> Story:
    return furnished()


def run_story(engine: Engine, seed: int, app: Flask | None = None) -> Outcome:
    """Run the story of a seed in a studio of its own, to the reads at its end."""
    story = ExtremeStory(engine, seed, app)
    try:
        story.furnish()
        story.tell()
        story.read()
    except Exception as error:
        error.add_note(f"in the story of seed {seed}")
        raise
    return story.outcome


class ExtremeStory:
    """One story: its studio over HTTP, and beside it a log in memory with the studio's state."""

    def __init__(self, engine: Engine, seed: int, app: Flask | None = None) -> None:
        self.seed, self.random = seed, Random(seed)
        self.name = f"story-{seed}"
        self.paper = Paper(engine, self.name, app)
        self.log = Story()
        self.outcome = Outcome()

    def furnish(self) -> None:
        """Record what the office sets up and two storyboards: one post for each run of one role."""
        given = _furnished()
        batch: list[dict[str, Any]] = []
        before = ""
        for event in given.events:
            who = "office" if "office" in event.fact.ROLES else "supervisor"
            if batch and who != before:
                self.paper.record(*batch, who=before)
                batch = []
            at = format_instant(event.time_us)
            data = given.data_by_position[event.position]
            batch.append(self.paper.event(event.fact.TYPE, event.subject, data, at))
            before = who
        self.paper.record(*batch, who=before)
        self._catch_up()

    def tell(self) -> None:
        """Move the clock and post events, of which some are refused."""
        self._move_clock(self.random.choice(CLOCKS))
        for _ in range(self.random.randint(*POSTS)):
            first = self._drawn()
            who = self._poster(first)
            others = [self._drawn() for _ in range(self.random.choice((0, 0, 0, 0, 1, 2)))]
            events = [first, *(other for other in others if _may(who, other))]
            answer = self.paper.post("/events", events, who)
            self.outcome.posts[answer.status_code] += 1
            if answer.status_code == 201:
                self.outcome.recorded.update(event["type"] for event in events)
                self._catch_up()
            self._look_at(answer, f"POST /events by {who} {events}")
            if self.random.random() < 0.03:
                self._move_clock(self.random.choice(MOMENTS))

    def read(self) -> None:
        """Ask some questions, then read every address by a desk and by a role that sees more."""
        for _ in range(2):
            question = [self._drawn() for _ in range(self.random.randint(1, 3))]
            who = self.random.choice(("office", "supervisor", "producer"))
            answer = self.paper.post("/what-if", question, who)
            self.outcome.questions[answer.status_code] += 1
            self._look_at(answer, f"POST /what-if by {who} {question}")
        for address in addresses():
            if not address.guarded:
                self._ask(self._path(address), "auditor", address)
                continue
            for roles in (DESKS, ABOVE_DESKS):
                self._ask(self._path(address), self.random.choice(roles), address)

    def _drawn(self) -> dict[str, Any]:
        event = proposed(self.log, self.random.getrandbits(32), PROPOSERS)
        at = format_instant(event.time_us)
        if self.random.random() < 0.05:
            at = self.random.choice((*MOMENTS, self.paper.now))
        data = self.log.data_by_position.pop(event.position)
        posted = self.paper.event(event.fact.TYPE, event.subject, data, at)
        if self.random.random() < 0.03:
            posted |= {
                "x" * 64: self.random.choice((-(2**31), 2**31 - 1, True, "\U0001f98a" * 256))
            }
        return posted

    def _poster(self, event: dict[str, Any]) -> str:
        """Somebody whose token may post it, mostly."""
        able = [who for who in HOLDERS if _may(who, event)]
        return self.random.choice(able if able and self.random.random() < 0.97 else [*HOLDERS])

    def _catch_up(self) -> None:
        services: Services = self.paper.app.extensions["retake-ledger"]
        view = services.studios.of(self.name).view()
        self.log.state = view.state
        # proposals ask for the number of events alone
        missing = view.position - len(self.log.events)
        self.log.events += _furnished().events[:1] * missing

    def _move_clock(self, to: str) -> None:
        """Move the clock by a request, after going on to within one step where it is farther."""
        to_us, now_us = parse_instant(to), parse_instant(self.paper.now)
        if to_us < now_us or self._put_clock(to) or to_us - now_us <= STEP_US:
            return
        with self.paper.engine.begin() as connection:  # a request for each step would take long
            write_clock(connection, self.name, to_us - STEP_US, SEAL_KEY)
        self.paper.now = format_instant(to_us - STEP_US)
        self._put_clock(to)

    def _put_clock(self, to: str) -> bool:
        headers = {"Authorization": f"Bearer {self.paper.secrets['office']}"}
        answer = self.paper.app.test_client().put("/clock", json={"now": to}, headers=headers)
        self._look_at(answer, f"PUT /clock {to}")
        if answer.status_code == 200:
            self.paper.now = answer.get_json()["now"]
        return answer.status_code == 200

    def _path(self, address: Address) -> str:
        random, state = self.random, self.log.state
        names = _names(state, len(self.log.events), random)
        path = address.template
        for name, value in names.items():
            path = path.replace(f"{{{name}}}", quote(value, safe=""))
        if random.random() < 0.4:
            return path
        query = [
            (name, self._argument(name, shape, names))
            for name, shape in address.query
            if name != "cursor" and random.random() < 0.35
        ]
        return f"{path}?{urlencode(query)}" if query else path

    def _argument(self, name: str, shape: dict[str, Any], names: dict[str, str]) -> str:
        """A value at the bounds of an argument."""
        random, last = self.random, len(self.log.events)
        shape = shape.get("items", shape)
        if name == "min_position":  # one event more would be waited for
            return str(random.choice((0, last) * 8 + (WHOLE_MAX,)))
        if "enum" in shape:
            return str(random.choice(shape["enum"]))
        if shape["type"] == "boolean":
            return random.choice(("true", "false"))
        if shape["type"] == "integer":
            least, most = shape["minimum"], shape["maximum"]
            return str(random.choice((least, least + 1, min(last, most), most)))
        if shape.get("format") == "date-time":
            return random.choice((*MOMENTS, self.paper.now))
        if name == "month":
            return random.choice(("0000-01", "1900-01", "2031-03", "9999-12"))
        return names.get(name, random.choice(("studio", "KESTREL", names["episode"], "x")))

    def _ask(self, path: str, who: str, address: Address) -> None:
        accept = self.random.choice(address.media_types or ("*/*",))
        for _ in range(2):
            answer = self._answered(path, who, accept)
            self._look_at(answer, f"GET {path} by {who}")
            following = _NEXT.search(answer.headers.get("Link", ""))
            if following is None:
                return
            path = following[1]

    def _answered(self, path: str, who: str, accept: str) -> TestResponse:
        """What an address answers; where a trail is being built, it is asked again as told."""
        ends_s = time.monotonic() + BUILT_S_MAX
        while True:
            began = time.perf_counter()
            answer = self.paper.ask(path, who, {"Accept": accept})
            took = time.perf_counter() - began, f"{path} by {who}, seed {self.seed}"
            self.outcome.slowest = max(self.outcome.slowest, took)
            self.outcome.gets[answer.status_code] += 1
            shown = (answer.get_json(silent=True) or {}) if answer.status_code == 503 else {}
            if shown.get("type") != "/problems/being-built" or time.monotonic() > ends_s:
                return answer
            time.sleep(int(answer.headers["Retry-After"]))

    def _look_at(self, answer: TestResponse, request: str) -> None:
        if answer.status_code < 500:
            return
        shown = answer.get_json(silent=True) or {}
        # 503 as well, but right: the request named a position that the log has not reached
        if shown.get("type") != "/problems/not-yet":
            detail = shown.get("detail", "")
            self.outcome.faults.append(
                f"seed {self.seed}: {answer.status_code} {request}: {detail}"
            )


def _may(who: str, event: dict[str, Any]) -> bool:
    role, departments = HOLDERS[who]
    own = not departments or event["data"].get("department") in departments
    return own and role in CATALOGUE[event["type"]].ROLES


def _names(state: State, last: int, random: Random) -> dict[str, str]:
    """The names to put into an address: mostly ones on record, now and then ones that are not."""

    def one(recorded: list[str], unrecorded: str) -> str:
        return random.choice(recorded) if recorded and random.random() < 0.9 else unrecorded

    scene = parse_subject(one(sorted(state.scenes), "KESTREL-9/9"))
    element = parse_subject(one(sorted(state.elements), "NOWHERE:nothing"))
    assert scene is not None
    assert element is not None
    episodes = [*sorted(state.episodes), scene.episode]
    return {
        "department": one(sorted(state.units), "nowhere"),
        "element": element.last,
        "show": random.choice((element.show, one(sorted(state.shows), "NOWHERE"))),
        "episode": scene.episode if random.random() < 0.7 else one(episodes, "NOWHERE-1"),
        "scene": scene.last,
        "order": one(sorted(state.orders), "nothing"),
        "retake": one(sorted(state.retakes), "nothing"),
        "position": str(random.choice((1, random.randint(1, last), last, last + 1, WHOLE_MAX))),
        "size": str(random.choice((0, 1, last, last + 1, WHOLE_MAX, 10**30))),
        "name": random.choice(("no-plan", "not-found", "nothing")),
    }
