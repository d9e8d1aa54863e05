"""Who may wait for a position, and who is told at once to ask again."""

from contextlib import ExitStack
from dataclasses import dataclass, field
from typing import cast

import pytest

from service.studio import WAIT_S_MAX, NotYetError, View
from service.web.position_waits import FAR, WAITING_MAX, Waiting, view_of

HEAD = 10


@dataclass
class Studio:
    """A studio whose log has ten events; `waits_s` are the seconds that it was asked to wait."""

    waits_s: list[float] = field(default_factory=list)

    def view(self, min_position: int = 0, wait_s: float = 0) -> View:
        self.waits_s.append(wait_s)
        if min_position > HEAD:
            raise NotYetError(min_position, HEAD)
        return cast(View, "a view")


@pytest.mark.parametrize(
    ("position", "waits_s"),
    [(0, [0]), (HEAD, [0]), (HEAD + 1, [0, WAIT_S_MAX]), (HEAD + FAR + 1, [0])],
)
def test_only_what_may_come_soon_is_waited_for(position: int, waits_s: list[float]) -> None:
    studio = Studio()
    if position <= HEAD:
        view_of(studio, position, Waiting(), "t1")
    else:
        with pytest.raises(NotYetError):
            view_of(studio, position, Waiting(), "t1")
    assert studio.waits_s == waits_s


def test_places_to_wait_are_few_and_a_token_has_one() -> None:
    waiting, studio = Waiting(), Studio()
    with ExitStack() as stack:
        for number in range(WAITING_MAX):
            assert stack.enter_context(waiting.place(f"t{number}"))
            with pytest.raises(NotYetError):
                view_of(studio, HEAD + 1, waiting, f"t{number}")
        with pytest.raises(NotYetError):
            view_of(studio, HEAD + 1, waiting, "another")
        assert set(studio.waits_s) == {0}
    with pytest.raises(NotYetError):
        view_of(studio, HEAD + 1, waiting, "t0")
    assert studio.waits_s[-2:] == [0, WAIT_S_MAX]
