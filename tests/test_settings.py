"""Settings: defaults, and errors that name the variable and the remedy."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy.engine import make_url

from service.proofs.checkpoints import Checkpoint
from service.proofs.notes import read_note
from service.settings import Settings, SettingsError


@pytest.fixture(autouse=True)
def _ordinary_user(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)


def test_defaults_mean_the_embedded_server_under_the_home_folder() -> None:
    settings = Settings.from_environment({"HOME": "/home/ann"})
    assert settings == Settings(None, None, Path("/home/ann/.local/share/retake-ledger"))


@pytest.mark.parametrize(
    ("variable", "read"),
    [
        ("REQUESTS_MAX", lambda settings: settings.requests_max),
        ("WRONG_TOKENS_MAX", lambda settings: settings.wrong_tokens_max),
        ("CONNECTIONS_MAX", lambda settings: settings.connections_max),
        ("STATEMENT_S", lambda settings: settings.statement_s),
        ("LOCK_S", lambda settings: settings.lock_s),
        ("IDLE_TRANSACTION_S", lambda settings: settings.idle_transaction_s),
    ],
)
def test_each_limit_has_its_variable(variable: str, read: Callable[[Settings], int]) -> None:
    environ = {"HOME": "/h", f"RETAKE_LEDGER_{variable}": "117"}
    assert read(Settings.from_environment(environ)) == 117
    with pytest.raises(SettingsError, match=f"{variable} is '0': set a whole number"):
        Settings.from_environment({**environ, f"RETAKE_LEDGER_{variable}": "0"})


def test_root_keeps_data_where_the_servers_account_can_pass(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert Settings.from_environment({"HOME": "/root"}).data == Path("/var/lib/retake-ledger")


def test_the_data_folder_follows_xdg_unless_it_is_relative() -> None:
    assert Settings.from_environment({"HOME": "/h", "XDG_DATA_HOME": "/x"}).data == Path(
        "/x/retake-ledger"
    )
    assert Settings.from_environment({"HOME": "/h", "XDG_DATA_HOME": "x"}).data == Path(
        "/h/.local/share/retake-ledger"
    )
    assert Settings.from_environment({"RETAKE_LEDGER_DATA": "/d e"}).data == Path("/d e")


def test_a_user_without_a_home_is_told_what_to_set(monkeypatch: pytest.MonkeyPatch) -> None:
    def homeless(*_: object) -> Path:
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", homeless)
    monkeypatch.setattr(Path, "expanduser", homeless)
    for environ in ({}, {"HOME": ""}):
        with pytest.raises(SettingsError, match=r"no home: set RETAKE_LEDGER_DATA to an absolute"):
            Settings.from_environment(environ)
    with pytest.raises(SettingsError, match=r"DATA is '~/d': set an absolute path"):
        Settings.from_environment({"RETAKE_LEDGER_DATA": "~/d"})


def test_any_spelling_of_the_scheme_becomes_the_driver_and_the_owner_defaults_to_it() -> None:
    for scheme in ("postgres", "postgresql", "postgresql+psycopg"):
        settings = Settings.from_environment(
            {"RETAKE_LEDGER_DATABASE_URL": f"{scheme}://ann:p%40ss@db:5433/ledger?sslmode=require"}
        )
        assert settings.database_url == (
            "postgresql+psycopg://ann:p%40ss@db:5433/ledger?sslmode=require"
        )
        assert settings.owner_database_url == settings.database_url


def test_the_owner_may_have_a_url_of_its_own() -> None:
    settings = Settings.from_environment(
        {
            "RETAKE_LEDGER_DATABASE_URL": "postgresql://service@db/ledger",
            "RETAKE_LEDGER_OWNER_DATABASE_URL": "postgresql://owner@db/ledger",
        }
    )
    assert settings.owner_database_url == "postgresql+psycopg://owner@db/ledger"


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("DATABASE_URL", "not a url", "is no URL: set postgresql://"),
        ("DATABASE_URL", "postgresql://u:hidden@h:port/d", "is no URL: set postgresql://"),
        ("DATABASE_URL", "mysql://u:hidden@h/d", "begins with 'mysql'"),
        ("DATABASE_URL", "postgresql+asyncpg://u:hidden@h/d", "begins with 'postgresql"),
        ("DATABASE_URL", "postgresql://u:hidden@h", "names no database"),
        ("OWNER_DATABASE_URL", "postgresql://u:hidden@h/d", "without RETAKE_LEDGER_DATABASE_URL"),
        ("DATA", "data", "'data': set an absolute path"),
        ("BODY_BYTES_MAX", "8MB", "'8MB': set a whole number of at least 1024"),
        ("BATCH_EVENTS_MAX", "0", "'0': set a whole number of at least 1"),
        ("NESTING_MAX", "500", "'500': set a whole number from 8 to 200"),
        ("POOL_OVERFLOW", "-1", "'-1': set a whole number of at least 0"),
        ("POOL_SIZE", "1.5", "'1.5': set a whole number"),
    ],
)
def test_a_bad_value_is_refused_by_name_and_no_password_shows(
    name: str, value: str, message: str
) -> None:
    with pytest.raises(SettingsError, match=f"RETAKE_LEDGER_{name} ") as refused:
        Settings.from_environment({f"RETAKE_LEDGER_{name}": value})
    assert message in str(refused.value)
    assert "hidden" not in str(refused.value)


def test_an_empty_variable_counts_as_unset() -> None:
    settings = Settings.from_environment(
        {"RETAKE_LEDGER_POOL_SIZE": " ", "RETAKE_LEDGER_DATABASE_URL": "", "HOME": "/h"}
    )
    assert settings.pool_size is None
    assert settings.database_url is None


def test_a_password_may_stand_beside_its_url_as_it_is() -> None:
    raw = " p@ss%41/:"
    settings = Settings.from_environment(
        {
            "RETAKE_LEDGER_DATABASE_URL": "postgresql://service@db/ledger",
            "RETAKE_LEDGER_DATABASE_PASSWORD": raw,
            "RETAKE_LEDGER_OWNER_DATABASE_URL": "postgresql://owner:old@db/ledger",
            "RETAKE_LEDGER_OWNER_DATABASE_PASSWORD": "a+b",
        }
    )
    assert make_url(str(settings.database_url)).password == raw
    owner = make_url(str(settings.owner_database_url))
    assert (owner.username, owner.password, owner.host) == ("owner", "a+b", "db")


def test_a_password_without_its_url_is_refused() -> None:
    with pytest.raises(
        SettingsError, match=r"DATABASE_PASSWORD is set without .*DATABASE_URL"
    ) as no:
        Settings.from_environment({"HOME": "/h", "RETAKE_LEDGER_DATABASE_PASSWORD": "hidden"})
    assert "hidden" not in str(no.value)


def test_a_log_of_a_studio_from_before_names_were_checked_has_a_name_that_can_be_signed() -> None:
    settings = Settings.from_environment({"HOME": "/h", "RETAKE_LEDGER_ORIGIN": "ledger.example"})
    assert settings.origin_of("paper-lantern") == "ledger.example/paper-lantern"
    secret = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    for studio in ("Paper Lantern", "a+b", "a\u2003b"):
        note = Checkpoint(settings.origin_of(studio), 0, bytes(32)).signed(secret)
        assert read_note(str(note)) == note
