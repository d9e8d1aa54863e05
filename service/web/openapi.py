"""Write the OpenAPI document to a file: `python -m service.web.openapi [FILE]`."""

import sys
from pathlib import Path

from service.web.app import bare_app
from service.web.document import document, render

FILE = Path("openapi/openapi.json")


def text() -> str:
    """The document of this release's routes."""
    return render(document(bare_app()))


def write(file: Path = FILE) -> None:
    """Write the document; the same routes give the same bytes."""
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text(), encoding="utf-8")


if __name__ == "__main__":
    write(*map(Path, sys.argv[1:2]))
