"""Folders for embedded servers, and a studio whose log is written to."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import Engine

from service.log.embedded import stop
from service.log.studios import make_studio
from tests.log.embedding import make_open_folder
from tests.log.recording import START_US, STUDIO


@pytest.fixture
def parent() -> Iterator[Path]:
    """A folder for the data of servers, which are stopped at the end."""
    folder = make_open_folder()
    yield folder
    for data in folder.iterdir():
        stop(data)
    shutil.rmtree(folder)


@pytest.fixture
def studio(engine: Engine) -> Engine:
    """The engine of a database with one studio in it."""
    with engine.begin() as connection:
        make_studio(connection, STUDIO, "simulated", START_US)
    return engine
