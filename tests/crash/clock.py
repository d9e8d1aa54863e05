"""A clock of a service's processes that can be set back, by the library libfaketime."""

from pathlib import Path

from libfaketime import (  # type: ignore[import-untyped]  # it ships no types
    get_reload_information,
)


class Clock:
    """The clock of a service's processes, as the library libfaketime has them read it.

    `environ` is what the processes need in their environment. Clocks that only ever go forward
    are left alone: the loops of a service wait by those.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        _, found = get_reload_information()
        self.environ = {**found, "FAKETIME_TIMESTAMP_FILE": str(file)}
        self.set_back(0)

    def set_back(self, by_s: float) -> None:
        """Have it show so many seconds less than the machine's."""
        written = self._file.with_suffix(".new")
        written.write_text(f"-{by_s:.6f}")
        written.replace(self._file)
