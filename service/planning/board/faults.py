"""What keeps a plan from being made: a fault of ours, told by the item that it was met at.

Whatever is raised while a board, a line or a plan is made becomes a `PlanError` that names the
item. Routes that need the plan answer with the problem `no-plan`; events, proofs, notes and reports
do not need one. `/ready` and the metric `retake_ledger_studios_without_plan` tell.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from service.planning.kernel.line import BrokenLineError


class PlanError(Exception):
    """No plan can be made of a state.

    `item` is the scene, element or episode at which the fault was met, None where it is no single
    one's; the fault itself is the cause.
    """

    def __init__(self, item: str | None) -> None:
        where = "" if item is None else f" at {item}"
        super().__init__(f"no plan can be made: a fault was met{where}")
        self.item = item


@contextmanager
def planning(item_at: Callable[[int], str] | None = None) -> Iterator[None]:
    """Make a PlanError of any fault that is met within, so that callers need to expect no other.

    `item_at` gives the item of a row, for faults that name the row of a line.
    """
    try:
        yield
    except PlanError:
        raise
    except Exception as fault:
        row = fault.row if isinstance(fault, BrokenLineError) else None
        raise PlanError(None if row is None or item_at is None else item_at(row)) from fault
