"""Early and late dates and floats: worked networks of textbooks, and random ones by networkx.

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

from service.planning.board.board import make_board
from service.planning.kernel.backward import latest
from service.planning.kernel.dispatch import dispatch
from service.planning.kernel.line import Line
from service.planning.plan.chain import critical_chain
from service.planning.plan.schedule import Schedule, date_of, float_workdays, schedule
from service.vocabulary.calendar import NEVER
from tests.outside.networks import NETWORKS, Figures, Network
from tests.planning.lines import Crew, Department, Row, durations, line_of
from tests.telling import Story

each_network = pytest.mark.parametrize("network", NETWORKS.values(), ids=NETWORKS)


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


def assert_is_printed(network: Network, length: int, figures: Mapping[str, Figures]) -> None:
    """What was computed is what the source prints."""
    assert length == network.length
    assert figures.items() >= network.figures.items()
    assert {name: figure.total_float for name, figure in figures.items()} == network.total_float
    assert [name for name, figure in figures.items() if figure.total_float == 0] == [
        *network.critical
    ]
    assert free_floats(network.follows, figures).items() >= network.free_float.items()


@each_network
def test_what_was_printed_hangs_together(network: Network) -> None:
    assert_is_printed(network, *by_longest_paths(network.durations, network.follows))


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
def test_dates_and_floats_are_those_printed(network: Network) -> None:
    assert_is_printed(network, *by_the_plan(network.durations, network.follows))


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


# --- recorded as a scene: its departments are the activities, a unit of time a working day -------

STARTS_ON = date(2031, 3, 3)  # a Monday
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday")
DAYS_OFF = (date(2031, 3, 19), date(2031, 4, 14))
END = "handed-over"
"""A day's work behind all that nothing follows, so that one delivery stands behind them all."""

HOURS = {
    "office hours": ("09:00", "17:00", 480),
    "the clock round": ("00:00", "00:00", 1440),
}
each_hours = pytest.mark.parametrize("hours", HOURS.values(), ids=HOURS)


def plan_of(network: Network, opens: str, closes: str, minutes: int) -> Schedule:
    """The plan of one scene, an artist in each department, due when the last of them ends."""
    followed = {before for befores in network.follows.values() for before in befores}
    follows = {**network.follows, END: [n for n in network.durations if n not in followed]}
    story = Story()
    story.now = f"{STARTS_ON - timedelta(days=9)}T00:00:00Z"
    story.tell("show.opened", "NET", {"title": "Network"})
    departments = [
        {
            "department": name,
            "grain": "scene",
            "unit": "scenes",
            "follows": [{"department": before, "strands": ["sound"]} for before in befores],
        }
        for name, befores in follows.items()
    ]
    gates = [{"gate": "delivery", "department": END}]
    story.tell("route.laid", "NET", {"departments": departments, "gates": gates})
    shift = {"days": [*WEEKDAYS], "opens": opens, "closes": closes}
    calendar = {"from_on": "2031-01-01", "zone": "UTC", "shifts": [shift]}
    story.tell("calendar.set", "studio", calendar | {"days_off": [str(on) for on in DAYS_OFF]})
    for name in follows:
        crew = {"department": name, "artists": 1, "units_per_artist_day": 1}
        more = {"minutes_per_artist_day": minutes, "from_on": "2031-01-01"}
        story.tell("crew.set", "studio", crew | more)
    story.tell("episode.opened", "NET-1", {"title": "One"})
    due_on = str(day(network.length))
    story.tell("gate.set", "NET-1", {"gate": "delivery", "due_on": due_on})
    work = {**network.durations, END: 1}
    story.tell("scene.listed", "NET-1/1", {"frames": 16, "work": work})
    return schedule(make_board(story.state), minute(STARTS_ON, 0))


def day(number: int) -> date:
    """The working day of that number, counted from 0, by numpy."""
    calendar = np.busdaycalendar("1111100", [np.datetime64(on) for on in DAYS_OFF])
    return date.fromisoformat(str(np.busday_offset(STARTS_ON, number, busdaycal=calendar)))


def minute(on: date, of_day: int) -> int:
    midnight = datetime(on.year, on.month, on.day, tzinfo=UTC)
    return int(midnight.timestamp()) // 60 + of_day


@each_network
@each_hours
def test_as_a_scene_the_dates_are_those_of_the_network(
    network: Network, hours: tuple[str, str, int]
) -> None:
    """Those printed; where the source prints none, those by longest paths."""
    plan = plan_of(network, *hours)
    opens_min = 60 * int(hours[0][:2])
    figures = network.figures or by_longest_paths(network.durations, network.follows)[1]
    for name, figure in figures.items():
        row = plan.board.frame.row_of["NET-1/1", name]
        assert plan.plan.start[row] == minute(day(figure.early_start), opens_min)
        last_on = day(figure.early_finish - 1)
        assert plan.plan.finish[row] == minute(last_on, opens_min + hours[2])
        assert date_of(plan, int(plan.plan.finish[row])) == last_on
        # others wait for it: it may end at the hour at which the next day opens
        assert plan.latest_of()[row] == minute(day(figure.late_finish), opens_min)


@each_network
@each_hours
def test_as_a_scene_float_is_that_printed_in_working_days(
    network: Network, hours: tuple[str, str, int]
) -> None:
    plan = plan_of(network, *hours)
    floats = {
        name: float_workdays(plan, plan.board.frame.row_of["NET-1/1", name])
        for name in network.durations
    }
    assert floats == network.total_float


@each_network
@each_hours
def test_as_a_scene_the_critical_chain_is_the_critical_path(
    network: Network, hours: tuple[str, str, int]
) -> None:
    plan = plan_of(network, *hours)
    links = critical_chain(plan, "NET-1")
    chain = [plan.board.frame.nodes[link.row][1] for link in links]
    assert sorted(chain) == sorted([*network.critical, END])
