"""A studio at work."""

import pytest
from sqlalchemy import Engine

from ..paper import Paper


@pytest.fixture
def paper(engine: Engine) -> Paper:
    """A studio with nothing in its log."""
    return Paper(engine)


@pytest.fixture
def opened(paper: Paper) -> Paper:
    """Two episodes of three scenes, boards handed off, on Monday at eight."""
    paper.open()
    return paper
