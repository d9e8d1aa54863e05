"""One running service for all outside checks; each makes a studio of its own in it."""

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from .small_studio import Answering, answering


@pytest.fixture(scope="session")
def running() -> Iterator[Answering]:
    folder = Path(tempfile.mkdtemp(prefix="rl-"))
    folder.chmod(0o711)  # so that the account which root runs the server as can pass
    try:
        with answering(folder) as found:
            yield found
    finally:
        shutil.rmtree(folder)
