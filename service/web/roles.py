"""Who may do what, as tables for the README: `python -m service.web.roles [FILE]` writes them.

Made of the facts' roles and of what routes require, so that they say what the code does.
"""

import sys
from collections.abc import Iterator
from pathlib import Path

from flask import Flask

from service.vocabulary.facts import CATALOGUE, Role
from service.web.access import roles_of
from service.web.app import bare_app
from service.web.document import methods_of, path_of, routes

FILE = Path("README.md")
BEGIN = "<!-- written by `python -m service.web.roles` -->\n"
END = "<!-- end of what it writes -->\n"


def recorded_by(role: Role) -> str:
    """What a role records: each noun with what is said of it, in the order of the catalogue."""
    verbs: dict[str, list[str]] = {}
    for type_, fact in CATALOGUE.items():
        if role in fact.ROLES:
            noun, _, verb = type_.partition(".")
            verbs.setdefault(noun, []).append(verb)
    if not verbs:
        return "nothing"
    words = "; ".join(f"{noun} {', '.join(found)}" for noun, found in verbs.items())
    return f"for its own departments: {words}" if role is Role.DESK else words


def kept_for_roles(app: Flask) -> dict[tuple[Role, ...], list[str]]:
    """By the roles that they want, the fewest first: the routes that not every token may ask."""
    found: dict[tuple[Role, ...], list[str]] = {}
    for rule, route, _ in routes(app):
        wanted = roles_of(route) or ()
        if wanted:
            shown = [f"{method} {path_of(rule)}" for method in methods_of(rule)]
            found.setdefault(tuple(role for role in Role if role in wanted), []).extend(shown)
    return dict(sorted(found.items(), key=lambda one: len(one[0])))


def text() -> str:
    """Both tables, as the README has them."""
    return "".join(f"{line}\n" for line in _lines())


def _lines() -> Iterator[str]:
    yield from ("| role | records |", "| --- | --- |")
    for role in Role:
        yield f"| {role} | {recorded_by(role)} |"
    yield ""
    yield from ("| for these alone | address |", "| --- | --- |")
    for roles, shown in kept_for_roles(bare_app()).items():
        yield f"| {', '.join(roles)} | {', '.join(f'`{route}`' for route in shown)} |"


def write(file: Path = FILE) -> None:
    """Put the tables into a file, between the lines that say where they stand.

    Raises ValueError where it does not say where.
    """
    before, _, rest = file.read_text(encoding="utf-8").partition(BEGIN)
    _, end, after = rest.partition(END)
    if not end:
        raise ValueError(f"{file} does not say where the tables stand: write {BEGIN}{END}")
    file.write_text(f"{before}{BEGIN}{text()}{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    write(*map(Path, sys.argv[1:2]))
