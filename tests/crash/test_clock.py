"""What the library of the clock leaves behind."""

import os
import subprocess
import sys
from pathlib import Path

from tests.crash.clock import Clock


def test_what_processes_that_are_gone_have_left_is_removed(tmp_path: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", ""]) as gone:
        gone.wait()
    names = [f"sem.faketime_sem_{gone.pid}", f"faketime_shm_{gone.pid}"]
    kept = [f"sem.faketime_sem_{os.getpid()}", f"faketime_shm_{os.getpid()}", "faketime_s_else"]
    for name in (*names, *kept):
        (tmp_path / name).touch()
    Clock(tmp_path / "clock").remove_leftovers(tmp_path)
    assert {file.name for file in tmp_path.glob("*faketime*")} == set(kept)
