"""A clock of a service's processes that can be set back, by the library libfaketime."""

import re
from contextlib import suppress
from pathlib import Path

from libfaketime import (  # type: ignore[import-untyped]  # it ships no types
    get_reload_information,
)

from service.log.server_programs import is_alive

_SHARED = Path("/dev/shm")  # noqa: S108  # where the library has them on Linux
_OF_PROCESS = re.compile(r"(?:sem\.faketime_sem|faketime_shm)_(\d+)")


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

    def remove_leftovers(self, shared: Path = _SHARED) -> None:
        """Remove what processes that were killed have left in shared memory.

        A process that gets the number of one of them, and runs as another user, would end at once.
        """
        for file in shared.glob("*faketime_s*"):
            found = _OF_PROCESS.fullmatch(file.name)
            if found is not None and not is_alive(int(found[1])):
                with suppress(FileNotFoundError, PermissionError):  # another user's may stay
                    file.unlink()
