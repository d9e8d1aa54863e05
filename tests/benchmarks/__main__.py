"""Run benchmarks by name and print their figures as one table each."""

import argparse
import importlib
import pkgutil

from rich.console import Console
from rich.table import Table

import tests.benchmarks
from tests.benchmarks import report
from tests.benchmarks.figures import Figure, Size

BESIDE = {"__main__", "figures", "report", "warm_start", "year", "test_benchmarks", "test_report"}
"""Modules of this folder that measure nothing themselves."""


def names() -> list[str]:
    """All benchmarks."""
    found = (module.name for module in pkgutil.iter_modules(tests.benchmarks.__path__))
    return sorted(name for name in found if name not in BESIDE)


def measure(name: str, size: Size) -> list[Figure]:
    """The figures of one benchmark."""
    module = importlib.import_module(f"tests.benchmarks.{name}")
    figures: list[Figure] = module.measure(size)
    return figures


def main() -> None:
    """Run what the command line names, or everything."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(names())}")
    parser.add_argument("--part", type=float, default=1.0, help="a part of the full size")
    parser.add_argument(
        "--write", action="store_true", help=f"also put them into {report.FILE.name}"
    )
    options = parser.parse_args()
    if options.write and options.part != 1.0:
        parser.error("--write: figures are written of the full size, without --part")
    of_commit = report.commit() if options.write else ""
    console = Console()
    console.print(report.machine())
    measured = {}
    for name in options.names or names():
        table = Table(title=name, title_justify="left")
        for column in ("what", "figure", "unit", "ratio", "beside"):
            table.add_column(column, justify="right" if column in ("figure", "ratio") else "left")
        measured[name] = measure(name, Size(options.part))
        for figure in measured[name]:
            table.add_row(*report.cells(figure))
        console.print(table)
    if options.write:
        report.write(measured, of_commit)


if __name__ == "__main__":
    main()
