"""Run attacks by name and print what came of them as one table each."""

import argparse
import importlib
import pkgutil
import signal
import sys
from types import FrameType

from rich.console import Console
from rich.table import Table

import tests.attacks


def names() -> list[str]:
    """All attacks: the modules of this folder, each of which has `attack`."""
    found = (module.name for module in pkgutil.iter_modules(tests.attacks.__path__))
    return sorted(name for name in found if name != "__main__")


def end(number: int, _frame: FrameType | None) -> None:
    """Leave as by an error, so that what was started is ended and removed."""
    sys.exit(128 + number)


def main() -> None:
    """Run what the command line names, or everything."""
    signal.signal(signal.SIGTERM, end)
    parser = argparse.ArgumentParser(prog="python -m tests.attacks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(names())}")
    parser.add_argument("--part", type=float, default=1.0, help="a part of the full size")
    options = parser.parse_args()
    console = Console()
    for name in options.names or names():
        table = Table("what", "came of it", title=name, title_justify="left")
        try:
            for what, outcome in importlib.import_module(f"tests.attacks.{name}").attack(
                options.part
            ):
                table.add_row(what, outcome)
        finally:  # one that fails has said why in its rows
            console.print(table)


if __name__ == "__main__":
    main()
