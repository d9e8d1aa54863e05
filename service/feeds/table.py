"""Tables as CSV (RFC 4180), safe to open in a spreadsheet."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

MEDIA_TYPE = "text/csv"
CONTENT_TYPE = "text/csv; charset=utf-8; header=present"

Cell = str | int | float | None

_NUMBER = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
# what makes a spreadsheet take a cell for a formula, or cut it where it begins
_RISKY = ("=", "+", "-", "@", "\t", "\r")


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """A table in UTF-8: a header, lines that end in CRLF, cells quoted where they need it.

    None is an empty cell. A text that a spreadsheet would run as a formula begins with an
    apostrophe instead.
    """
    written = io.StringIO(newline="")
    writer = csv.writer(written, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([_cell(cell) for cell in row] for row in rows)
    return written.getvalue().encode("utf-8")


def _cell(cell: Cell) -> Cell:
    if isinstance(cell, str) and cell.startswith(_RISKY) and _NUMBER.fullmatch(cell) is None:
        return f"'{cell}"
    return cell
