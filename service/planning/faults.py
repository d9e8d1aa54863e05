"""What keeps a plan from being made: a fault of ours, told by the item that it was met at."""


class PlanError(Exception):
    """No plan can be made of a state.

    `item` is the scene, element or episode at which the fault was met, None where it is no single
    one's; the fault itself is the cause.
    """

    def __init__(self, item: str | None) -> None:
        where = "" if item is None else f" at {item}"
        super().__init__(f"no plan can be made: a fault was met{where}")
        self.item = item
