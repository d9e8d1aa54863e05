"""Whatever is accepted, at the ends of what may be said too, every address answers every role."""

from pathlib import Path

from sqlalchemy import Engine

from service.keys import ensure_keys
from service.vocabulary.facts import CATALOGUE
from tests.web.extreme_stories import Outcome, run_story
from tests.web.paper import another_worker

STORIES = range(20)
"""Seeds of the stories told here; `python -m tests.attacks extremes` tells thousands."""


def test_no_accepted_post_breaks_a_read(engine: Engine, tmp_path: Path) -> None:
    ensure_keys(tmp_path / "keys")
    app = another_worker(engine, tmp_path / "keys")
    outcome = Outcome()
    for seed in STORIES:
        outcome.add(run_story(engine, seed, app))
    assert outcome.faults == []
    # what was refused says nothing of reads: enough of each sort must have been taken
    assert outcome.posts[201] > outcome.posts.total() / 3
    assert len(outcome.recorded) > len(CATALOGUE) / 2
    assert outcome.gets[200] > outcome.gets.total() / 2
