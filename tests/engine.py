"""Whether a container engine answers."""

import os
import subprocess
import sys
from functools import cache
from typing import NoReturn

import pytest


@cache
def _trouble() -> str | None:
    # In a process of its own: a client that finds no engine leaves its socket open.
    asking = [sys.executable, "-c", "import docker; docker.from_env().ping()"]
    ping = subprocess.run(asking, cwd="/", capture_output=True, text=True, check=False)
    return None if ping.returncode == 0 else ping.stderr.strip().splitlines()[-1]


def require_engine() -> None:
    """Skip where no engine answers, and fail there if the run says that one must."""
    trouble = _trouble()
    if trouble is not None:
        cannot_run(f"no container engine answers: {trouble}")


def cannot_run(reason: str) -> NoReturn:
    """Skip a test that needs containers, or fail it if the run says that they must be there."""
    if os.environ.get("RETAKE_LEDGER_TESTS_NEED_ENGINE"):
        pytest.fail(reason)
    pytest.skip(reason)
