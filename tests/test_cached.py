"""Properties that are worked out once, by threads that do not wait for each other."""

import threading

from service.cached import cached_property

WAITED_S = 10.0


class Slow:
    """Its property is worked out once it may go on."""

    def __init__(self) -> None:
        self.began, self.may_go_on = threading.Event(), threading.Event()
        self.times = 0

    @cached_property
    def worked_out(self) -> int:
        """How often it was."""
        self.began.set()
        assert self.may_go_on.wait(WAITED_S)
        self.times += 1
        return self.times


def test_it_is_worked_out_once_for_each_instance() -> None:
    one, other = Slow(), Slow()
    for slow in (one, other, one):
        slow.may_go_on.set()
        assert slow.worked_out == 1
    assert Slow.worked_out.__doc__ == "How often it was."


def test_one_instance_does_not_wait_for_another() -> None:
    slow, quick = Slow(), Slow()
    quick.may_go_on.set()
    found: list[int] = []
    threads = [
        threading.Thread(target=lambda: found.append(slow.worked_out)),
        threading.Thread(target=lambda: found.append(quick.worked_out)),
    ]
    threads[0].start()
    assert slow.began.wait(WAITED_S)
    threads[1].start()
    threads[1].join(WAITED_S / 2)
    assert found == [1], "it waits for another instance"
    slow.may_go_on.set()
    threads[0].join(WAITED_S)
    assert found == [1, 1]
