"""Benchmarks still run; what they measure is read by people, on a quiet machine."""

import pytest

from tests.benchmarks.__main__ import measure, names
from tests.benchmarks.figures import Size


@pytest.mark.parametrize("name", names())
def test_runs(name: str) -> None:
    figures = measure(name, Size(0.01))
    assert figures
    assert all(figure.value > 0 for figure in figures)
    assert any(figure.ratio is not None for figure in figures)
