"""Folders for embedded servers."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from service.log.embedded import stop
from tests.log.embedding import make_open_folder


@pytest.fixture
def parent() -> Iterator[Path]:
    """A folder for the data of servers, which are stopped at the end."""
    folder = make_open_folder()
    yield folder
    for data in folder.iterdir():
        stop(data)
    shutil.rmtree(folder)
