"""The shape of the code, as rules: who may import whom, what is pure, and how long things get."""

import ast
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from service.planning.kernel import compiled
from service.production.nouns import RULES
from service.vocabulary.facts import CATALOGUE
from tests.places import TOP

SERVICE = TOP / "service"

# a module imports only from places above its own, so that no circle can exist
ORDER = (
    "cached",
    "vocabulary",
    "production",
    "planning",
    "proofs",
    "settings",
    "release",
    "tls",
    "keys",
    "signals",
    "log",
    "kept",
    "history",
    "plans",
    "studio",
    "record",
    "projections",
    "checking",
    "feeds",
    "web",
    "client",
    "intake",
    "installation",
    "demo",
    "inspector",
    "auditor",
    "owner",
    "keeper",
    "serve",
    "cli",
)
# so within the core's largest place
PLANNING_ORDER = ("kernel", "board", "plan", "compare")
PURE = ("cached", "vocabulary", "production", "planning", "proofs")

FILE_LINES_MOST = 360  # about 300 is aimed at
FUNCTION_LINES_MOST = 60  # about 40 is aimed at

# packages through which time, chance or the outside world come in
IMPURE = {
    *("time", "random", "secrets", "uuid", "os", "io", "socket", "ssl", "http", "urllib"),
    *("subprocess", "multiprocessing", "threading", "asyncio", "concurrent", "tempfile", "shutil"),
    *("pathlib", "glob", "sqlite3", "logging", "signal", "getpass", "platform", "sys"),
    *("sqlalchemy", "psycopg", "alembic", "flask", "httpx", "gunicorn", "click", "rich"),
    *("marshmallow", "apispec", "prometheus_client"),
}
IMPURE_CALLS = {
    *("open", "input", "print", "exec", "eval", "__import__"),
    *("datetime.now", "datetime.utcnow", "datetime.today", "date.today"),
}

# nothing of the place where the code is written belongs in the repository: a path of one machine
FORBIDDEN = re.compile(r"(?<![\w.])/(?:root|work|Users)/[a-z]\w", re.IGNORECASE)

# a path that climbs, as in "../data"; a lone ".." leads from a folder of the repository to its top
CLIMBING = re.compile(r"(?<![\w./])(?:\.\./)+[\w.-]*\w")
# what a hostile backup names, to be refused
CLIMBING_ALLOWED = {("tests/intake/test_restoring.py", "../x")}

# tests are skipped for what a machine cannot do, never for a file that is not there
SKIPPING_ALLOWED = {
    "tests/test_memory.py",  # the figures are those of the kernel of Linux
    "tests/web/serving/test_arenas.py",  # it is the C library of most of Linux that has them
    "tests/engine.py",  # no container engine answers
    "tests/log/test_embedded_users.py",  # only root can become another user
    "tests/test_architecture.py",  # it has to name what it looks for
}

SOURCES = sorted(SERVICE.rglob("*.py"))


def name_of(path: Path) -> str:
    """A path as a message shows it."""
    return str(path.relative_to(TOP))


@cache
def tree_of(path: Path) -> ast.Module:
    """A module's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def place_of(path: Path) -> str:
    """The entry of ORDER that a module belongs to, "" for the package itself."""
    first = path.relative_to(SERVICE).parts[0].removesuffix(".py")
    return "" if first == "__init__" else first


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Dotted names that a module imports, with their lines; relative ones are not allowed."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{name_of(path)}:{node.lineno} imports by a relative path"
            for alias in node.names:
                yield node.lineno, f"{node.module}.{alias.name}"


def called(path: Path) -> Iterator[tuple[int, str]]:
    """Names of what a module calls, as written, with their lines."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call):
            yield node.lineno, ast.unparse(node.func)


def definitions(path: Path) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    """All functions and classes of a module, nested ones too."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield node


def sources(place: str) -> list[Path]:
    """The modules of a place, as in "keys" or "production/nouns"."""
    module = SERVICE / f"{place}.py"
    found = [path for path in SOURCES if path == module or path.is_relative_to(SERVICE / place)]
    assert found, f"there is no {place}"
    return found


def tracked() -> list[Path]:
    """Files under version control that are there."""
    # a clone may be another user's than the one who runs the tests: git would refuse to read it
    command = ["git", "-c", "safe.directory=*", "ls-files", "-z"]
    listed = subprocess.run(command, cwd=TOP, capture_output=True, text=True, check=True)
    paths = (TOP / name for name in listed.stdout.split("\0") if name)
    return [path for path in paths if path.is_file()]


def test_no_property_is_worked_out_under_a_lock_of_all_instances() -> None:
    """`service.cached` says why."""
    locking = {
        name_of(path)
        for path in SOURCES
        for _, name in imported(path)
        if name == "functools.cached_property"
    }
    assert locking == set()


def test_there_is_something_to_look_at() -> None:
    assert len(SOURCES) > 30
    assert {place_of(path) for path in SOURCES} <= {*ORDER, ""}


def test_a_module_imports_only_from_above() -> None:
    wrong = []
    for path in SOURCES:
        place = place_of(path)
        allowed = ORDER[: ORDER.index(place) + 1] if place else ()  # the package holds nothing
        wrong += [
            f"{name_of(path)}:{line} imports {name}"
            for line, name in imported(path)
            if not place or (name.split(".")[0] == "service" and name.split(".")[1] not in allowed)
        ]
    assert wrong == []


def test_nouns_know_neither_the_fold_nor_what_decides() -> None:
    above = ("service.production.folding", "service.production.decide")
    wrong = [
        f"{name_of(path)}:{line} imports {name}"
        for path in sources("production/nouns")
        for line, name in imported(path)
        if name.startswith(above)
    ]
    assert wrong == []


def test_the_rooms_of_planning_stand_in_order() -> None:
    wrong = [
        f"{name_of(path)}:{line} imports {name}"
        for place, room in enumerate(PLANNING_ORDER)
        for path in sources(f"planning/{room}")
        for line, name in imported(path)
        if name.startswith("service.planning.")
        and name.split(".")[2] not in PLANNING_ORDER[: place + 1]
    ]
    assert wrong == []
    rooms = {path.relative_to(SERVICE / "planning").parts[0] for path in sources("planning")}
    assert rooms == {"__init__.py", *PLANNING_ORDER}


def test_compiled_code_is_kept_by_all_the_sources_it_is_made_of() -> None:
    """What kernels import from elsewhere counts in the name of the folder too."""
    elsewhere = {
        name.rpartition(".")[0]
        for path in sources("planning/kernel")
        for _, name in imported(path)
        if name.startswith("service.") and not name.startswith("service.planning.")
    }
    assert elsewhere == {f"{package}.{name}" for package, name in compiled.IMPORTED}


def test_the_service_imports_nothing_from_tests_or_seed() -> None:
    wrong = [
        f"{name_of(path)}:{line} imports {name}"
        for path in SOURCES
        for line, name in imported(path)
        # the demo is what plays the seed, nothing else may need it
        if name.split(".")[0] in ({"tests"} if place_of(path) == "demo" else {"tests", "seed"})
    ]
    assert wrong == []


def test_the_core_is_pure() -> None:
    core = [path for place in PURE for path in sources(place)]
    wrong = [
        f"{name_of(path)}:{line} imports {name}"
        for path in core
        for line, name in imported(path)
        if name.split(".")[0] in IMPURE or name.startswith("numpy.random")
    ]
    wrong += [
        f"{name_of(path)}:{line} calls {name}"
        for path in core
        for line, name in called(path)
        if name in IMPURE_CALLS
        or name.endswith((".now", ".utcnow", ".today"))
        or ".random." in f".{name}."
    ]
    assert wrong == []


def test_files_and_functions_stay_short() -> None:
    lines = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in SOURCES}
    long = [
        f"{name_of(path)} has {count} lines; split it"
        for path, count in lines.items()
        if count > FILE_LINES_MOST
    ]
    long += [
        f"{name_of(path)}:{node.lineno} {node.name} has over {FUNCTION_LINES_MOST} lines"
        for path in SOURCES
        for node in definitions(path)
        if not isinstance(node, ast.ClassDef)
        and (node.end_lineno or 0) - node.lineno + 1 > FUNCTION_LINES_MOST
    ]
    assert long == []


def test_names_say_what_is_inside() -> None:
    vague = {"utils", "util", "helpers", "helper", "manager", "managers"}
    named = [name_of(path) for path in SOURCES]
    assert [name for name in named if vague & set(name.removesuffix(".py").split("/"))] == []


def test_what_is_public_is_documented() -> None:
    undocumented = [
        f"{name_of(path)}:{node.lineno} {node.name}"
        for path in SOURCES
        for node in _public(tree_of(path))
        if ast.get_docstring(node) is None
    ]
    undocumented += [
        f"{name_of(path)} does not say what it is for"
        for path in SOURCES
        if (path.name != "__init__.py" or tree_of(path).body)
        and not ast.get_docstring(tree_of(path))
    ]
    assert undocumented == []


def _public(
    node: ast.Module | ast.ClassDef,
) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    for inner in node.body:
        if isinstance(inner, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            overload = any(ast.unparse(one) == "overload" for one in inner.decorator_list)
            if inner.name.startswith("_") or overload:
                continue
            yield inner
            if isinstance(inner, ast.ClassDef):
                yield from _public(inner)


def test_every_fact_has_a_rule() -> None:
    assert set(RULES) == set(CATALOGUE)


def texts() -> Iterator[tuple[Path, str]]:
    """Text files under version control and what is in them, but for this one."""
    for path in tracked():
        if path == Path(__file__):
            continue  # it has to name what it looks for
        try:
            yield path, path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue


def test_nothing_in_the_repository_names_the_place_it_was_written() -> None:
    wrong = [
        f"{name_of(path)}:{number}: {line.strip()[:100]}"
        for path, text in texts()
        for number, line in enumerate(text.splitlines(), 1)
        if FORBIDDEN.search(line)
    ]
    assert not wrong


def test_no_path_leads_out_of_the_repository() -> None:
    """A clone has nothing beside it that the project may count on."""
    climbing = {
        (name_of(path), found.group())
        for path, text in texts()
        for found in CLIMBING.finditer(text)
    }
    assert climbing == CLIMBING_ALLOWED
    wrong = [
        f"{name_of(path)}:{node.lineno} {ast.unparse(node)}"
        for path, text in texts()
        if path.suffix == ".py" and "__file__" in text
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.expr) and climbs(node) > len(path.relative_to(TOP).parts)
    ]
    assert not wrong
    assert not [name_of(path) for path in tracked() if path.is_symlink()]


def climbs(node: ast.expr) -> int:
    """How many folders an expression goes up from `__file__`, by `parent` and `parents[n]`."""
    if isinstance(node, ast.Attribute) and node.attr == "parent":
        return 1 + climbs(node.value) if "__file__" in ast.unparse(node) else 0
    if (
        isinstance(node, ast.Subscript)
        and isinstance(node.value, ast.Attribute)
        and node.value.attr == "parents"
        and isinstance(node.slice, ast.Constant)
        and isinstance(node.slice.value, int)
        and "__file__" in ast.unparse(node)
    ):
        return 1 + node.slice.value + climbs(node.value.value)
    return 0


@pytest.mark.parametrize(
    ("text", "folders"),
    [
        ("Path(__file__)", 0),
        ("Path(__file__).parent.parent", 2),
        ("Path(__file__).resolve().parents[2]", 3),
        ("Path(__file__).parents[2].parent", 4),
        ("Path(found.origin).parents[1]", 0),
    ],
)
def test_how_far_an_expression_climbs(text: str, folders: int) -> None:
    assert climbs(ast.parse(text, mode="eval").body) == folders


def test_what_a_checker_is_told_to_leave_has_a_reason_beside_it() -> None:
    silenced = re.compile(r"# (noqa|type: ignore)\b")
    reason = re.compile(r"# (?:noqa: [A-Z\d, ]+|type: ignore\[[a-z, -]+\])\s+[#-] ?\w")
    bare = [
        f"{path.relative_to(TOP)}: {line.strip()}"
        for folder in ("service", "tests", "seed")
        for path in sorted((TOP / folder).rglob("*.py"))
        for line in path.read_text().splitlines()
        if silenced.search(line) and not reason.search(line) and "re.compile" not in line
    ]
    assert bare == []


def test_tests_are_skipped_for_what_a_machine_cannot_do_alone() -> None:
    skips = re.compile(r"pytest\.(skip|importorskip|xfail)\b|pytest\.mark\.(skip|skipif|xfail)\b")
    skipping = {
        name_of(path)
        for path in tracked()
        if path.suffix == ".py"
        if skips.search(path.read_text())
    }
    assert skipping <= SKIPPING_ALLOWED
