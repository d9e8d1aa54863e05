"""Commands that tests call do what users have, whatever the caller's environment says."""

from pathlib import Path

import pytest

from tests.serving import command, data_folder, memory_disk


def test_a_command_never_meets_the_callers_own_installation(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    nowhere = "postgresql+psycopg://nobody@127.0.0.1:9/nothing"
    monkeypatch.setenv("RETAKE_LEDGER_DATABASE_URL", nowhere)
    monkeypatch.setenv("RETAKE_LEDGER_KEYS", str(tmp_path / "theirs"))
    with data_folder(memory_disk()) as data:
        command(data, "migrate")
        assert command(data, "studio", "list") == ""
    assert not (tmp_path / "theirs").exists()
