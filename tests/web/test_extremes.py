"""Whatever was accepted, extreme values too, every address answers every role without a fault."""

from pathlib import Path

from sqlalchemy import Engine

from service.keys import ensure_keys
from service.vocabulary.facts import CATALOGUE
from tests.web.extreme_stories import Outcome, run_story
from tests.web.paper import another_worker

STORIES = range(8)
"""Seeds of the stories that run here; `python -m tests.attacks extremes` runs thousands."""


def test_no_accepted_post_breaks_a_read(engine: Engine, tmp_path: Path) -> None:
    ensure_keys(tmp_path / "keys")
    app = another_worker(engine, tmp_path / "keys")
    outcome = Outcome()
    for seed in STORIES:
        outcome.add(run_story(engine, seed, app))
    assert outcome.faults == []
    # reads after posts that were refused prove little: enough must have been accepted
    assert outcome.posts[201] > outcome.posts.total() / 3
    assert len(outcome.recorded) > len(CATALOGUE) / 2
    assert outcome.gets[200] > outcome.gets.total() / 2
