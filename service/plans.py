"""The plans that a worker makes of one studio's states, and keeps for who asks next."""

import threading
from collections import OrderedDict

from service.planning.board.board import Board, advance, frame_differs, make_board
from service.planning.board.faults import PlanError
from service.planning.plan.schedule import Schedule, schedule
from service.production.state import State

KEPT_PLANS = 8


class Plans:
    """The plans of one studio; safe to use from several threads.

    `fault` is why no plan could be made when one was last asked for, None where one was.
    """

    def __init__(self) -> None:
        self.fault: PlanError | None = None
        self._lock = threading.Lock()
        self._board: Board | None = None
        self._past_board: Board | None = None
        self._made: OrderedDict[tuple[int, int], Schedule] = OrderedDict()

    def at_head(self, state: State, position: int, now_min: int) -> Schedule:
        """The plan of the log's state at a moment; the last few are kept.

        Raises PlanError, which `fault` has until a plan is made again.
        """
        key = (position, now_min)
        with self._lock:
            made = self._made.get(key)
            if made is not None:
                self._made.move_to_end(key)
                return made
            try:
                board = self._board
                board = make_board(state) if board is None else advance(board, state)
                made = schedule(board, now_min).completed()
            except PlanError as fault:
                self.fault = fault
                raise
            self.fault = None
            self._board = board
            self._made[key] = made
            while len(self._made) > KEPT_PLANS:
                self._made.popitem(last=False)
            return made

    def of(self, state: State, now_min: int) -> Schedule:
        """The plan of a state behind the head at a moment.

        It is not kept, but its board is, apart from the head's: who looks at one past moment will
        look at its neighbours.
        """
        past, head = self._past_board, self._board
        boards = [board for board in (past, head) if board is not None]
        near = next((board for board in boards if not frame_differs(board, state)), past or head)
        board = make_board(state) if near is None else advance(near, state)
        if head is None or near is not head or board.frame is not head.frame:
            self._past_board = board
        return schedule(board, now_min)
