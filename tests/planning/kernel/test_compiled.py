"""Compiled code is kept by the sources it was made of, and found again by them."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

from service.planning import kernel
from service.planning.kernel.compiled import CACHE_FOLDER, FOLDERS
from service.web.serving import discard_old_kernels
from tests.places import TOP

SHOW = "from service.planning.kernel.compiled import CACHE_FOLDER; print(CACHE_FOLDER)"


def folder_of(root: Path, **environ: str) -> str:
    """Where a process beneath a copy of the service keeps compiled code."""
    command = [sys.executable, "-c", SHOW]
    kept = {name: value for name, value in os.environ.items() if not name.startswith("NUMBA_")}
    env = {**kept, "PYTHONPATH": str(root), **environ}
    done = subprocess.run(command, cwd=root, env=env, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_a_change_of_any_source_has_all_compiled_anew(tmp_path: Path) -> None:
    for name in ("planning", "vocabulary"):
        shutil.copytree(
            TOP / "service" / name, tmp_path / "service" / name,
            ignore=shutil.ignore_patterns("__pycache__"),
        )  # fmt: skip
    (tmp_path / "service" / "__init__.py").touch()
    before = folder_of(tmp_path)
    assert before.startswith(str(tmp_path))
    assert folder_of(tmp_path) == before
    found = {Path(before).name}
    for module in ("planning/kernel/wheel.py", "planning/kernel/line.py", "vocabulary/calendar.py"):
        with (tmp_path / "service" / module).open("a") as source:
            source.write("# changed\n")
        found.add(Path(folder_of(tmp_path)).name)
    assert len(found) == 4
    with (tmp_path / "service/planning/plan/schedule.py").open("a") as source:
        source.write("# no kernel\n")
    assert Path(folder_of(tmp_path)).name in found


def test_code_that_checks_its_bounds_is_kept_apart(tmp_path: Path) -> None:
    here = folder_of(TOP)
    assert here.startswith(kernel.__path__[0])
    checked = folder_of(TOP, NUMBA_BOUNDSCHECK="1")
    assert Path(checked).parent == Path(here).parent
    assert checked != here
    elsewhere = folder_of(TOP, NUMBA_CACHE_DIR=str(tmp_path))
    assert elsewhere == str(tmp_path / Path(here).name)


def test_old_folders_of_other_sources_are_discarded(tmp_path: Path) -> None:
    used, old, young = (tmp_path / f"{FOLDERS}{name}" for name in ("used", "old", "young"))
    for folder in (used, old, young, tmp_path / "something-else"):
        (folder / "kernel").mkdir(parents=True)
        os.utime(folder, (1000, 1000))
    os.utime(young, (3000, 3000))
    discard_old_kernels(used, before_s=2000)
    assert {path.name for path in tmp_path.iterdir()} == {used.name, young.name, "something-else"}


def test_this_process_keeps_it_there() -> None:
    assert Path(CACHE_FOLDER).name.startswith(FOLDERS)
