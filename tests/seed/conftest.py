"""The demo studio's log as a fixture: generated once a session."""

import pytest

from seed.journal import Day
from tests.seed.generated import generated


@pytest.fixture(scope="session")
def seed_log() -> list[Day]:
    return list(generated())
