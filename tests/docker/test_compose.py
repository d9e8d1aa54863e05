"""The image and the compose file, built and started by a real engine, and what they answer."""

import json
import os
import re
import secrets
import shutil
import subprocess
import time
from collections.abc import Iterator

import httpx
import pytest

from service.client import Client, event
from tests.engine import cannot_run, require_engine
from tests.places import TOP
from tests.serving import free_port
from tests.telling import office_facts

COMPOSE = ["docker", "compose"]
UP_S = 240


def _compose_command() -> list[str]:
    """The plug-in where it is installed, else the older command."""
    plugin = subprocess.run([*COMPOSE, "version"], capture_output=True, check=False)
    if plugin.returncode == 0:
        return COMPOSE
    if not shutil.which("docker-compose"):
        cannot_run("neither docker compose nor docker-compose is installed")
    return ["docker-compose"]


class _Stack:
    def __init__(self, port: int) -> None:
        self.environ = {
            **os.environ,
            # what would have to be encoded in a URL
            "OWNER_PASSWORD": f"@:/{secrets.token_hex(8)}%41",
            "SERVICE_PASSWORD": f"@:/{secrets.token_hex(8)}%41",
            "RETAKE_LEDGER_IMAGE": "retake-ledger:tests",
            "RETAKE_LEDGER_PORT": str(port),
        }
        self.port = port
        self.command = [
            *_compose_command(), "-p", f"rltests{os.getpid()}",
            "-f", str(TOP / "docker/compose.yaml"),
        ]  # fmt: skip

    def run(self, *words: str) -> str:
        done = subprocess.run(
            [*self.command, *words],
            env=self.environ,
            cwd=TOP,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout


@pytest.fixture(scope="module")
def stack() -> Iterator[_Stack]:
    require_engine()
    built = subprocess.run(
        ["docker", "build", "--network", "host", "-t", "retake-ledger:tests",
         "-f", "docker/Dockerfile", "."],
        cwd=TOP, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert built.returncode == 0, built.stdout[-3000:] + built.stderr[-3000:]
    stack = _Stack(free_port())
    try:
        stack.run("up", "-d", "--no-build")
        _wait_until_ready(stack)
        yield stack
    finally:
        stack.run("down", "-v")


def _wait_until_ready(stack: _Stack) -> None:
    deadline = time.monotonic() + UP_S
    while True:
        try:
            if httpx.get(f"http://127.0.0.1:{stack.port}/ready").is_success:
                return
        except httpx.TransportError:
            pass
        assert time.monotonic() < deadline, stack.run("logs")
        time.sleep(0.5)


def _token(stack: _Stack, role: str) -> str:
    output = stack.run(
        "exec", "-T", "ledger", "retake-ledger", "token", "issue",
        "--studio", "paper", "--role", role, "--name", role, "--source", "/tests",
    )  # fmt: skip
    return output.split()[-1]


def test_a_composed_service_answers_an_impact(stack: _Stack) -> None:
    stack.run("exec", "-T", "ledger", "retake-ledger", "studio", "make", "paper")
    url = f"http://127.0.0.1:{stack.port}"
    scene = "KESTREL-1/1"
    with Client(url, _token(stack, "office")) as office:
        now = office.get("/clock")["now"]
        facts = office_facts(scenes=3, at=now)
        office.post([{**fact, "source": "/tests"} for fact in facts])
    with Client(url, _token(stack, "supervisor")) as supervisor:
        supervisor.post(
            [
                event("/tests", type_, scene, {"department": "layout"}, time=now, id=f"s-{type_}")
                for type_ in ("work.started", "hand-off.made")
            ]
        )
        call = event(
            "/tests",
            "retake.called",
            scene,
            {
                "retake": "R1",
                "kind": "retake",
                "urgency": "must-fix",
                "back_to": "layout",
                "strands": ["background", "character"],
                "share": 0.5,
            },
            time=now,
            id="r1",
        )
        assumed = supervisor.what_if([call])
        supervisor.post([call])
        impact = supervisor.get("/retakes/R1/impact")
    for answer in (assumed, impact):
        assert [(v["item"], v["department"], v["take"]) for v in answer["reopened"]] == [
            (scene, "layout", 2)
        ]
        assert answer["departments"][0]["added_work"] == 0.5


def test_the_image_does_not_run_as_root(stack: _Stack) -> None:
    assert stack.run("exec", "-T", "ledger", "id", "-u").strip() == "10001"


def test_it_has_no_capabilities_and_can_win_none(stack: _Stack) -> None:
    status = stack.run("exec", "-T", "ledger", "cat", "/proc/1/status")
    fields = dict(line.split(":\t", 1) for line in status.splitlines() if ":\t" in line)
    assert int(fields["CapBnd"], 16) == int(fields["CapEff"], 16) == 0
    assert fields["NoNewPrivs"].strip() == "1"


def test_metrics_have_a_port_that_is_not_published(stack: _Stack) -> None:
    assert httpx.get(f"http://127.0.0.1:{stack.port}/metrics").status_code == 404
    script = "import urllib.request as r; print(r.urlopen('http://127.0.0.1:9765/metrics').status)"
    assert stack.run("exec", "-T", "ledger", "python3", "-c", script).strip() == "200"


def test_the_image_lists_what_is_in_it(stack: _Stack) -> None:
    # CycloneDX, ECMA-424
    output = stack.run("exec", "-T", "ledger", "cat", "/opt/retake-ledger/sbom.json")
    bom = json.loads(output)
    assert bom["bomFormat"] == "CycloneDX"
    listed = {part["name"].lower(): part["version"] for part in bom["components"]}
    lock = (TOP / "docker/requirements.lock").read_text()
    locked = dict(re.findall(r"^([a-z0-9.-]+)==([^ ;]+)", lock, re.MULTILINE))
    assert locked.items() <= {name.replace("_", "-"): v for name, v in listed.items()}.items()


def test_the_keys_outlive_the_containers(stack: _Stack) -> None:
    def key() -> str:
        return stack.run(
            "exec", "-T", "ledger", "sh", "-c", "cat /var/lib/retake-ledger/keys/*.pem"
        )

    before = key()
    stack.run("down")
    stack.run("up", "-d", "--no-build")
    _wait_until_ready(stack)
    assert key() == before


def test_the_services_login_may_not_alter_the_log(stack: _Stack) -> None:
    statement = "SET ROLE ledger; DELETE FROM event"
    denied = subprocess.run(
        [*stack.command, "exec", "-T", "database", "psql", "-U", "ledger_owner", "-d", "ledger",
         "-v", "ON_ERROR_STOP=1", "-c", statement],
        env=stack.environ, cwd=TOP, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert denied.returncode != 0
    assert "permission denied" in denied.stderr
