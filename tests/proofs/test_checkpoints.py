"""The text of a checkpoint."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.proofs.checkpoints import Checkpoint, read_checkpoint
from service.proofs.notes import NoteError

ROOT = bytes(range(32))


def test_three_lines() -> None:
    assert str(Checkpoint("kestrel.example/log", 7, ROOT)) == (
        "kestrel.example/log\n7\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n"
    )


@given(st.integers(0, 10**18 - 1), st.binary(min_size=32, max_size=32))
def test_what_is_written_is_read(size: int, root: bytes) -> None:
    checkpoint = Checkpoint("kestrel.example/log", size, root)
    assert read_checkpoint(str(checkpoint)) == checkpoint
    assert read_checkpoint(f"{checkpoint}more that we do not know\n") == checkpoint


@pytest.mark.parametrize(
    "text",
    [
        "",
        "origin\n7\n",
        "origin\n7\nAAEC\n",
        "origin\n07\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n",
        "origin\n-7\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n",
        "origin\n7\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8\n",
        "origin\n7\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=",
        "\n7\nAAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8=\n",
    ],
)
def test_what_is_not_a_checkpoint(text: str) -> None:
    with pytest.raises(NoteError):
        read_checkpoint(text)
