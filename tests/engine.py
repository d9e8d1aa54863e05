"""Whether a container engine answers."""

import os

import pytest
from docker import from_env
from docker.errors import DockerException


def require_engine() -> None:
    """Skip where no engine answers, and fail there if the run says that one must."""
    try:
        client = from_env()
        try:
            client.ping()
        finally:
            client.close()
    except DockerException as error:
        reason = f"no container engine answers: {error}"
        if os.environ.get("RETAKE_LEDGER_TESTS_NEED_ENGINE"):
            pytest.fail(reason)
        pytest.skip(reason)
