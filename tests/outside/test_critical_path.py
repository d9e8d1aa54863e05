"""Early and late dates and floats: worked networks as published, and random ones by networkx.

The sources stand with the networks. With an artist for every visit the plan is the forward pass;
float is what `latest` leaves behind a planned finish.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from random import Random
from typing import Any

import networkx as nx
import numpy as np
import pytest

from service.planning.backward import durations, latest
from service.planning.board import make_board
from service.planning.chain import critical_chain
from service.planning.dispatch import dispatch
from service.planning.line import Line
from service.planning.schedule import Schedule, date_of, float_workdays, schedule
from service.vocabulary.calendar import NEVER
from tests.outside.networks import (
    CRITPATH,
    SOFTWARE,
    VANHOUCKE,
    WIDGET,
    Dated,
    Figures,
    Network,
)
from tests.planning.lines import Crew, Department, Row, line_of
from tests.telling import Story

NETWORKS = {
    "critpath": CRITPATH,
    "Vanhoucke": VANHOUCKE,
    "software": SOFTWARE.network,
    "widget": WIDGET.network,
}
DATED = {"software": SOFTWARE, "widget": WIDGET}
each_network = pytest.mark.parametrize("network", NETWORKS.values(), ids=NETWORKS)
each_dated = pytest.mark.parametrize("dated", DATED.values(), ids=DATED)


# --- the passes of others, by networkx -----------------------------------------------------------


def by_longest_paths(days: Mapping[str, int], follows: Mapping[str, Sequence[str]]) -> Any:
    """Length of the whole and figures by activity: longest paths to each and from each."""
    graph: Any = nx.DiGraph()
    for name, duration in days.items():
        graph.add_edge("begin", name, weight=0)
        graph.add_edge(name, "end", weight=duration)
        for before in follows[name]:
            graph.add_edge(before, name, weight=days[before])
    length = nx.dag_longest_path_length(graph)
    figures = {}
    for name, duration in days.items():
        start = nx.dag_longest_path_length(graph.subgraph({name} | nx.ancestors(graph, name)))
        behind = nx.dag_longest_path_length(graph.subgraph({name} | nx.descendants(graph, name)))
        late = length - behind
        figures[name] = Figures(start, start + duration, late, late + duration, late - start)
    return length, figures


def free_floats(follows: Mapping[str, Sequence[str]], figures: Mapping[str, Figures]) -> Any:
    """What an activity can slip before anything else must start later."""
    length = max(figure.early_finish for figure in figures.values())
    return {
        name: min(
            [figures[after].early_start for after, befores in follows.items() if name in befores],
            default=length,
        )
        - figure.early_finish
        for name, figure in figures.items()
    }


@each_network
def test_what_was_published_hangs_together(network: Network) -> None:
    length, figures = by_longest_paths(network.days, network.follows)
    assert network.length in (None, length)
    assert network.figures in (None, figures)
    assert {name: figure.total_float for name, figure in figures.items()} == network.total_float
    assert free_floats(network.follows, figures).items() >= network.free_float.items()


@each_dated
def test_published_dates_are_those_days(dated: Dated) -> None:
    days = working_days(dated)
    _, figures = by_longest_paths(dated.network.days, dated.network.follows)
    for name, (start, finish, late, late_finish, total_float) in figures.items():
        dates = (days[start], days[finish - 1], days[late], days[late_finish - 1], total_float)
        assert dates == dated.dates[name]


def working_days(dated: Dated) -> list[date]:
    names = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    days = (dated.starts_on + timedelta(days=number) for number in range(200))
    return [day for day in days if names[day.weekday()] in dated.works_on]


# --- as rows of a line, a day a minute -----------------------------------------------------------


def line_of_activities(days: Mapping[str, int], follows: Mapping[str, Sequence[str]]) -> Line:
    names = list(days)
    rows = [
        Row(work_e4=days[name] * 10_000, after=[names.index(before) for before in follows[name]])
        for name in names
    ]
    return line_of([Department([Crew(len(rows))])], rows)


def by_the_plan(days: Mapping[str, int], follows: Mapping[str, Sequence[str]]) -> Any:
    """The same by the plan and the backward pass; what nothing follows is due at the end."""
    line = line_of_activities(days, follows)
    plan = dispatch(line)
    length = int(plan.finish.max())
    followed = {before for befores in follows.values() for before in befores}
    late = latest(line, plan, np.array([NEVER if name in followed else length for name in days]))
    late_start = late - durations(line, plan)
    columns = (plan.start, plan.finish, late_start, late, late - plan.finish)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return length, {name: Figures(*row) for name, row in zip(days, rows, strict=True)}


@each_network
def test_dates_and_floats_are_those_published(network: Network) -> None:
    length, figures = by_the_plan(network.days, network.follows)
    assert network.length in (None, length)
    assert network.figures in (None, figures)
    assert {name: figure.total_float for name, figure in figures.items()} == network.total_float
    assert free_floats(network.follows, figures).items() >= network.free_float.items()


@pytest.mark.parametrize("seed", range(40))
def test_dates_and_floats_are_longest_paths(seed: int) -> None:
    random = Random(seed)
    names = [f"a{number}" for number in range(random.randint(2, 30))]
    days = {name: random.randint(1, random.choice([2, 30])) for name in names}
    follows = {
        name: random.sample(names[:place], min(place, random.randint(0, 3)))
        for place, name in enumerate(names)
    }
    assert by_the_plan(days, follows) == by_longest_paths(days, follows)


# --- told as a scene whose departments are the activities ----------------------------------------


def told(dated: Dated, opens: str, closes: str, minutes: int) -> Schedule:
    """The plan of one scene, an artist in each department, due when the last of them ends."""
    story = Story()
    network = dated.network
    last = list(network.days)[-1]
    story.now = f"{dated.starts_on - timedelta(days=9)}T00:00:00Z"
    story.tell("show.opened", "NET", {"title": "Network"})
    departments = [
        {
            "department": name,
            "grain": "scene",
            "unit": "scenes",
            "follows": [{"department": before, "strands": ["sound"]} for before in befores],
        }
        for name, befores in network.follows.items()
    ]
    gates = [{"gate": "delivery", "department": last}]
    story.tell("route.laid", "NET", {"departments": departments, "gates": gates})
    shift = {"days": list(dated.works_on), "opens": opens, "closes": closes}
    calendar = {"from_on": "2003-01-01", "zone": "UTC", "shifts": [shift]}
    story.tell("calendar.set", "studio", calendar)
    for name in network.days:
        crew = {"department": name, "artists": 1, "units_per_artist_day": 1}
        more = {"minutes_per_artist_day": minutes, "from_on": "2003-01-01"}
        story.tell("crew.set", "studio", crew | more)
    story.tell("episode.opened", "NET-1", {"title": "One"})
    due_on = dated.dates[last].early_finish.isoformat()
    story.tell("gate.set", "NET-1", {"gate": "delivery", "due_on": due_on})
    story.tell("scene.listed", "NET-1/1", {"frames": 16, "work": dict(network.days)})
    return schedule(make_board(story.state), minute(dated.starts_on, 0))


def minute(on: date, of_day: int) -> int:
    midnight = datetime(on.year, on.month, on.day, tzinfo=UTC)
    return int(midnight.timestamp()) // 60 + of_day


HOURS = {
    "office hours": ("09:00", "17:00", 480),
    "the clock round": ("00:00", "00:00", 1440),
}
each_hours = pytest.mark.parametrize("hours", HOURS.values(), ids=HOURS)


@each_dated
@each_hours
def test_told_as_a_scene_the_dates_are_those_published(
    dated: Dated, hours: tuple[str, str, int]
) -> None:
    plan = told(dated, *hours)
    opens_min = 60 * int(hours[0][:2])
    closes_min = opens_min + hours[2]
    days = working_days(dated)
    last = list(dated.dates)[-1]
    for name, dates in dated.dates.items():
        row = plan.board.frame.row_of["NET-1/1", name]
        assert plan.plan.start[row] == minute(dates.early_start, opens_min)
        assert plan.plan.finish[row] == minute(dates.early_finish, closes_min)
        assert date_of(plan, int(plan.plan.finish[row])) == dates.early_finish
        # the end of the last day or, where others wait for it, the hour at which the next opens
        next_on = days[days.index(dates.late_finish) + 1]
        late = int(plan.latest_of()[row])
        due = minute(dates.late_finish, 1440)
        assert late == (due if name == last else minute(next_on, opens_min))


@each_dated
@pytest.mark.parametrize(
    "hours",
    [
        pytest.param(HOURS["office hours"], id="office hours"),
        pytest.param(HOURS["the clock round"], id="the clock round"),
    ],
)
def test_told_as_a_scene_float_is_that_published_in_working_days(
    dated: Dated, hours: tuple[str, str, int]
) -> None:
    plan = told(dated, *hours)
    floats = {
        name: float_workdays(plan, plan.board.frame.row_of["NET-1/1", name]) for name in dated.dates
    }
    assert floats == dated.network.total_float


@each_dated
@each_hours
def test_told_as_a_scene_the_critical_chain_is_the_longest_path(
    dated: Dated, hours: tuple[str, str, int]
) -> None:
    plan = told(dated, *hours)
    links = critical_chain(plan, "NET-1")
    chain = [plan.board.frame.nodes[link.row][1] for link in links]
    assert {dated.dates[name].total_float for name in chain} == {0}
    length, _ = by_longest_paths(dated.network.days, dated.network.follows)
    assert sum(dated.network.days[name] for name in chain) == length
