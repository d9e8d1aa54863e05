"""What tests that kill something begin with."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.serving import data_folder, memory_disk


@pytest.fixture
def data() -> Iterator[Path]:
    """A folder for an installation's data."""
    with data_folder(memory_disk()) as folder:
        yield folder
