"""No code of the service is unused; what only tests call counts as unused."""

from pathlib import Path

from vulture import Vulture

from tests.places import TOP

CALLED_BY_DECORATOR = (
    *("@*.command", "@*.get", "@*.post", "@*.put"),  # commands and routes
    *("@*.before_request", "@*.listens_for"),  # what Flask and SQLAlchemy call
)
CALLED_BY_LIBRARIES = (
    *("load_config", "load_wsgi", "init_signals", "default_headers"),  # gunicorn
    *("send_400_response", "timeout_keep_alive_handler", "disconnected"),  # uvicorn
    *("footer", "c_margin"),  # fpdf2
    *("sort_keys", "strict_slashes", "merge_slashes"),  # Flask
    *("revision", "down_revision", "upgrade"),  # Alembic
    "__call__",  # the signature of a protocol
    *("STORAGE_SCHEME", "base_exceptions", "check", "reset", "clear"),  # limits
    *("incr", "get_expiry"),
    *("Meta", "error_messages", "attr", "_deserialize", "_serialize", "_jsonschema_type_mapping"),
)
# read by their names: the members of shapes, of kinds of value and of rows that are unpacked
READ_BY_NAME = (
    *("service/web/schemas/", "service/web/answers.py", "service/web/problems.py"),
    *("service/web/nouns/clock/routes.py", "service/web/nouns/health/routes.py"),
    "service/web/nouns/visits.py",
    *("service/vocabulary/kinds.py", "service/vocabulary/facts/"),
    "service/web/nouns/events/routes.py",  # the arguments of a list
    "service/web/serving/lanes.py",  # a row for each lane
    "service/feeds/backups.py",  # what is shown of progress
)


def test_nothing_is_dead() -> None:
    vulture = Vulture(
        ignore_names=list(CALLED_BY_LIBRARIES), ignore_decorators=list(CALLED_BY_DECORATOR)
    )
    vulture.scavenge([str(TOP / "service"), str(TOP / "seed")])
    dead = []
    for item in vulture.get_unused_code(min_confidence=60):
        name = str(Path(item.filename).relative_to(TOP))
        by_name = name.startswith(READ_BY_NAME) or name.endswith(("answers.py", "arguments.py"))
        if item.typ != "variable" or not by_name:
            dead.append(f"{name}:{item.first_lineno} {item.typ} {item.name}")
    assert dead == []


def test_what_is_dead_is_found(tmp_path: Path) -> None:
    (tmp_path / "one.py").write_text("def called():\n    return 1\n\n\ndef dead():\n    called()\n")
    vulture = Vulture()
    vulture.scavenge([str(tmp_path)])
    assert [item.name for item in vulture.get_unused_code()] == ["dead"]
