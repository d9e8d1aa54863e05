"""The lock file of the image has what pyproject.toml asks for."""

import re
import tomllib

from packaging.requirements import Requirement

from tests.places import TOP


def test_every_dependency_is_locked_within_its_range_and_with_hashes() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
    lock = (TOP / "docker/requirements.lock").read_text()
    locked = dict(re.findall(r"^([a-z0-9.-]+)==(\S+) \\\n    --hash=sha256:", lock, re.MULTILINE))
    assert len(locked) == len(re.findall(r"^[a-z]", lock, re.MULTILINE))
    for written in project["dependencies"]:
        wanted = Requirement(written)
        assert wanted.specifier.contains(locked[wanted.name]), written
