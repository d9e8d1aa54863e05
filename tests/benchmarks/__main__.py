"""Run benchmarks by name and print their figures as one table."""

import argparse
import importlib
import os
import pkgutil
import platform

from rich.console import Console
from rich.table import Table

import tests.benchmarks
from tests.benchmarks.figures import Figure, Size

BESIDE = {"__main__", "figures", "year", "test_benchmarks"}
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
    asked = parser.parse_args()
    console = Console()
    console.print(
        f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"
    )
    for name in asked.names or names():
        table = Table(title=name, title_justify="left")
        for column in ("what", "figure", "unit", "ratio", "beside"):
            table.add_column(column, justify="right" if column in ("figure", "ratio") else "left")
        for figure in measure(name, Size(asked.part)):
            ratio = "" if figure.ratio is None else f"{figure.ratio:.2f}"
            row = (
                figure.what,
                f"{figure.value:,.4g}" if figure.value < 1000 else f"{figure.value:,.0f}",
            )
            table.add_row(*row, figure.unit, ratio, figure.beside)
        console.print(table)


if __name__ == "__main__":
    main()
