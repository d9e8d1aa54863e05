"""Figures are written with their commit, a section for each benchmark."""

import subprocess
from pathlib import Path

import pytest

from tests.benchmarks import report
from tests.benchmarks.figures import Figure

FOLD = [Figure("the fold", 111_000, "events/s", 0.325, "orjson"), Figure("it took", 5.25, "s")]


def test_a_section_is_put_in_and_written_anew(tmp_path: Path) -> None:
    file = tmp_path / "figures.md"
    report.write({"plan": FOLD, "fold": FOLD[:1]}, "abc1234", file)
    report.write({"plan": FOLD[1:]}, "def5678", file)
    introduction, fold, plan = file.read_text().split("\n## ")
    assert introduction == report.INTRODUCTION.rstrip("\n") + "\n"
    assert "| the fold | 111,000 | events/s | 0.33 | orjson |" in fold
    assert fold.startswith("fold\n\nCommit abc1234, 20")
    assert report.machine() in fold
    assert plan.splitlines()[-1] == "| it took | 5.25 | s |  |  |"
    assert "Commit def5678, " in plan
    assert "111,000" not in plan


def test_what_is_not_committed_has_no_figures(tmp_path: Path) -> None:
    somebody = ["-c", "user.email=a@kestrel.example", "-c", "user.name=a"]
    for words in (["init", "-q"], [*somebody, "commit", "-q", "--allow-empty", "-m", "first"]):
        subprocess.run(["git", *words], cwd=tmp_path, check=True)
    assert len(report.commit(tmp_path)) == 7
    (tmp_path / "new").write_text("")
    with pytest.raises(RuntimeError, match="commit first"):
        report.commit(tmp_path)
