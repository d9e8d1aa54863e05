"""Embedded servers for tests of the server itself."""

import tempfile
from pathlib import Path

import psycopg
from sqlalchemy.engine import make_url


def make_open_folder() -> Path:
    """A short path that the account which root runs the server as may pass."""
    folder = Path(tempfile.mkdtemp(prefix="rl-"))
    folder.chmod(0o711)
    return folder


def ask(url: str, statement: str) -> object:
    parts = make_url(url)
    with psycopg.connect(
        host=str(parts.query["host"]), user=parts.username, dbname=parts.database, autocommit=True
    ) as connection:
        cursor = connection.execute(statement.encode())
        row = cursor.fetchone() if cursor.description else None
        return row and row[0]
