"""What tells a release of the service from all others: its own source text."""

from collections.abc import Iterable
from functools import cache
from hashlib import sha256
from pathlib import Path

SERVICE = Path(__file__).parent


def sources_digest(package: Path, folders: Iterable[str], *also: str) -> str:
    """A digest of the Python files in folders of a package, wherever it lies, and of `also`."""
    digest = sha256(" ".join(also).encode())
    for folder in folders:
        for path in sorted((package / folder).rglob("*.py")):
            digest.update(path.relative_to(package).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


@cache
def this_release() -> str:
    """The digest of the whole service, as it runs here."""
    return sources_digest(SERVICE, [""])
