"""The figures that documents refer to: one file, a section for each benchmark, with its commit."""

import os
import platform
import re
import subprocess
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path

from tests.benchmarks.figures import Figure
from tests.places import TOP

FILE = Path(__file__).with_name("figures.md")
INTRODUCTION = """\
# Figures

Written by `python -m tests.benchmarks --write`, each section on the commit and machine that it
names. Machines differ: compare ratios, which are to something in the same run, before figures.
"""
_SECTION = re.compile(r"^## ", re.MULTILINE)


def machine() -> str:
    """What the figures of this run are measured on."""
    return f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}"


def commit(top: Path = TOP) -> str:
    """The commit that is checked out. Raises RuntimeError where files differ from it."""
    if _git(top, "status", "--porcelain"):
        raise RuntimeError("figures are written of a commit: commit first what was changed")
    return _git(top, "rev-parse", "--short=7", "HEAD")


def _git(top: Path, *words: str) -> str:
    done = subprocess.run(["git", *words], cwd=top, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def cells(figure: Figure) -> tuple[str, ...]:
    """A figure as the cells of a row: what, figure, unit, ratio, beside."""
    value = f"{figure.value:,.4g}" if figure.value < 1000 else f"{figure.value:,.0f}"
    ratio = "" if figure.ratio is None else f"{figure.ratio:.2f}"
    return figure.what, value, figure.unit, ratio, figure.beside


def section(name: str, measured_on: str, figures: Sequence[Figure]) -> str:
    """One benchmark's figures as a section in Markdown."""
    rows = ["| what | figure | unit | ratio | beside |", "| --- | ---: | --- | ---: | --- |"]
    rows += [f"| {' | '.join(cells(figure))} |" for figure in figures]
    return "\n".join([f"## {name}", "", measured_on, "", *rows, ""])


def with_section(text: str, name: str, new: str) -> str:
    """The file's text with one section put in or written anew, sections in alphabetic order."""
    _, *others = _SECTION.split(text)
    sections = {one.split("\n", 1)[0]: f"## {one.rstrip()}\n" for one in others}
    sections[name] = new
    return "\n".join([INTRODUCTION, *(sections[name] for name in sorted(sections))])


def write(measured: Mapping[str, Sequence[Figure]], of_commit: str, file: Path = FILE) -> None:
    """Put what was measured today of a commit into the file, by benchmark."""
    measured_on = f"Commit {of_commit}, {datetime.now(UTC).date()}; {machine()}."
    text = file.read_text(encoding="utf-8") if file.exists() else INTRODUCTION
    for name, figures in measured.items():
        text = with_section(text, name, section(name, measured_on, figures))
    file.write_text(text, encoding="utf-8")
