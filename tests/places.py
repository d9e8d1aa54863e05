"""Where the repository's own files lie."""

from pathlib import Path

TOP = Path(__file__).parents[1]
README = TOP / "README.md"
