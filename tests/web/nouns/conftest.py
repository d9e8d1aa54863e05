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


@pytest.fixture
def short(paper: Paper) -> Paper:
    """One episode of one scene, animated by Tuesday at one; one artist in each department.

    By hand, in a day from nine to five: layout Monday 9 to 13; animation, 5 feet at 5 a day,
    Monday 13 to Tuesday 13; background, 1 painting at 1 a day, the same.
    """
    paper.open(1, ("KESTREL-1",))
    paper.move_clock("2031-03-04T13:00:00Z")
    scene = "KESTREL-1/1"
    paper.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    for department in ("background", "animation"):
        paper.desk(scene, department, start="2031-03-03T13:00:00Z", end="2031-03-04T13:00:00Z")
    return paper
