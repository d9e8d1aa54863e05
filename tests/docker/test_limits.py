"""What the compose file allows its containers, and what the README says of it."""

import re

import pytest

from service.serve import gunicorn_config
from service.web.serving.limits import Limits
from tests import places

COMPOSE = (places.README.parent / "docker/compose.yaml").read_text("utf-8")
SERVICES = dict(
    re.findall(
        r"^  ([a-z]+):\n((?:(?:    .*| *#.*)?\n)+)",
        COMPOSE[COMPOSE.index("services:") : COMPOSE.index("\nvolumes:")],
        re.MULTILINE,
    )
)
README = " ".join(places.README.read_text("utf-8").split())
CLAIM = README[README.index("docker compose -f") : README.index("The signing keys lie in")]


def setting(service: str, name: str) -> str:
    found = re.search(rf"^    {name}: (.+)$", SERVICES[service], re.MULTILINE)
    return found[1] if found else ""


def test_the_services_are_those_that_the_readme_speaks_of() -> None:
    assert set(SERVICES) == {"database", "migrate", "ledger"}


@pytest.mark.parametrize("service", SERVICES)
def test_memory_is_bounded_and_no_capability_is_gained(service: str) -> None:
    assert setting(service, "mem_limit")
    assert setting(service, "cap_drop") == "[ALL]"
    assert setting(service, "security_opt") == '["no-new-privileges:true"]'


def test_the_readme_names_the_capabilities_that_are_kept() -> None:
    kept = {service: setting(service, "cap_add").strip("[]") for service in SERVICES}
    assert kept["migrate"] == kept["ledger"] == ""
    assert kept["database"]
    assert kept["database"] in CLAIM


def test_the_engine_waits_for_longer_than_the_service_takes_to_stop() -> None:
    stop_s = gunicorn_config("::", 1, 1, Limits(1, 1, 1, 1))["graceful_timeout"]
    assert int(setting("ledger", "stop_grace_period").rstrip("s") or 10) > stop_s


def test_no_password_stands_in_a_url() -> None:
    """What stands there raw would have to be percent-encoded."""
    assert "://" in COMPOSE
    assert not re.search(r"://\S*PASSWORD", COMPOSE)
