"""A year's trail of one studio built from its log, beside a cold replay of the same log.

One step for every minute in which something was recorded: a made-up log's facts lie scattered
through day and night, so that it has more of them than a real one of its size.
"""

import io

from rich.console import Console

from service.planning.kernel.dispatch import warm
from service.projections.rebuilding import cores, rebuild
from service.settings import Settings
from service.studio import Studio
from tests.benchmarks import year
from tests.benchmarks.figures import Figure, Size, no_collector, took_s
from tests.benchmarks.replay import NAME, database, fill

WEEKS = 52
SETTINGS = Settings.from_environment({"HOME": "/"})


def measure(size: Size) -> list[Figure]:
    """Seconds of a rebuild, and how many minutes, events and rows it passes in one."""
    warm()
    bodies = list(year.bodies_of_part(size, WEEKS))
    minutes = len({body["recordedat"][:16] for body in bodies})
    with database() as (engine, _):
        fill(engine, bodies)
        with no_collector():
            cold_s = took_s(Studio(NAME, engine, lambda: 0).view)
            rebuilt = rebuild(engine, NAME, SETTINGS, Console(file=io.StringIO()))
    return [
        Figure("weeks of the log", size.of(WEEKS), "weeks"),
        Figure("events of the log", rebuilt.head, "events"),
        Figure("minutes of recording", minutes, "minutes"),
        Figure("rows of the trail", rebuilt.rows, "rows"),
        Figure("processes", cores(), "processes"),
        Figure("rebuild", rebuilt.took_s, "s", rebuilt.took_s / cold_s, "cold replay"),
        Figure("the same", rebuilt.position / rebuilt.took_s, "events/s"),
        Figure("the same", minutes / rebuilt.took_s, "minutes of recording/s"),
    ]
