"""A worker's start in a process of its own: how long it takes, and the memory it comes to.

    python -m tests.benchmarks.warm_start URL STUDIO SEAL_KEY

Prints the seconds from a connection to the studio's state, and the megabytes that the process has
in memory before it and when it has made a plan too. The seal key is in hexadecimal.
"""

import gc
import os
import sys
import time
from pathlib import Path

from service.log.engine import service_engine
from service.settings import Settings
from service.studio import Studio


def main(url: str, name: str, seal_key: str) -> None:
    """Start, and print the three figures."""
    gc.set_threshold(50_000, 50, 100)
    engine = service_engine(url, Settings.from_environment({"HOME": "/"}))
    engine.connect().close()
    before_mb = resident_mb()
    began_s = time.perf_counter()
    studio = Studio(name, engine, lambda: 0, bytes.fromhex(seal_key))
    view = studio.view()
    took_s = time.perf_counter() - began_s
    studio.planned(view)
    print(took_s, before_mb, resident_mb())


def resident_mb() -> float:
    """What this process has in memory (proc(5), `statm`)."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


if __name__ == "__main__":
    main(*sys.argv[1:])
