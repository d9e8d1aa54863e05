"""The takes of one visit: the table of moves, the work of every take, and facts told late."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.production.takes import Phase, Take, Terms, take_work_e4
from service.production.visits import (
    AFTER_CALL_RANK,
    CALL_RANK,
    DESK_MOVES,
    DESK_RANK,
    MOVES,
    UNVISITED,
    Entry,
    Illegal,
    Move,
    Visit,
    enter,
    replay,
)

# 40 drawings; a redo costs at least 1
PART = Terms(base_e4=400_000, least_e4=10_000, whole=False)
WHOLE = Terms(base_e4=10_000, least_e4=0, whole=True)


def left_of(take: Take, terms: Terms, at_us: int) -> int:
    """A desk that does 10,000 ten-thousandths, one drawing, each unit of time."""
    work = take_work_e4(take, terms)
    return max(min(1, work), work - (at_us - take.started_us) * 10_000)


class VisitStory:
    """A visit made move by move, which keeps the visit as it stands after the last."""

    def __init__(self, terms: Terms = PART) -> None:
        self.visit: Visit = UNVISITED
        self.terms = terms
        self.positions = itertools.count(1)

    def try_(
        self,
        move: Move,
        at_us: int,
        *,
        take: int | None = None,
        artist: str | None = None,
        retake: str | None = None,
        share_e4: int = 10_000,
    ) -> Visit | Illegal:
        rank = DESK_RANK if move in DESK_MOVES else CALL_RANK
        entry = Entry(at_us, rank, next(self.positions), move, take, artist, retake, share_e4)
        return enter(self.visit, entry, lambda at_us: self.terms, left_of)

    def tell(
        self,
        move: Move,
        at_us: int,
        *,
        take: int | None = None,
        artist: str | None = None,
        retake: str | None = None,
        share_e4: int = 10_000,
    ) -> "VisitStory":
        entered = self.try_(move, at_us, take=take, artist=artist, retake=retake, share_e4=share_e4)
        assert isinstance(entered, Visit), entered
        self.visit = entered
        return self

    def start(self, at_us: int, take: int | None = None) -> "VisitStory":
        return self.tell(Move.START, at_us, take=take)

    def hand_off(self, at_us: int, take: int | None = None) -> "VisitStory":
        return self.tell(Move.HAND_OFF, at_us, take=take)

    def call(self, at_us: int, retake: str, share_e4: int) -> "VisitStory":
        return self.tell(Move.CALL, at_us, retake=retake, share_e4=share_e4)

    def uncall(self, at_us: int, retake: str) -> "VisitStory":
        return self.tell(Move.UNCALL, at_us, retake=retake)

    @property
    def work_e4(self) -> int:
        return take_work_e4(self.visit.current, self.terms)

    @property
    def phases(self) -> list[Phase]:
        return [take.phase for take in self.visit.takes]


WAITING, ON_DESK, HANDED_OFF, TAKEN_BACK = Phase

# what the trade would say of each pair, written down apart from the table
REFUSED = {
    (WAITING, Move.REFUSE): "nothing was handed off",
    (ON_DESK, Move.WITHDRAW): "it is started",
    (ON_DESK, Move.START): "it is started",
    (ON_DESK, Move.REFUSE): "nothing was handed off",
    (HANDED_OFF, Move.HAND_OUT): "it has left the department",
    (HANDED_OFF, Move.WITHDRAW): "it has left the department",
    (HANDED_OFF, Move.START): "it has left the department",
    (HANDED_OFF, Move.HAND_OFF): "it has left the department",
}


def standing(phase: Phase) -> VisitStory:
    story = VisitStory()
    if phase is not WAITING:
        story.start(10)
    if phase is HANDED_OFF:
        story.hand_off(20)
    assert story.visit.current.phase is phase
    return story


@pytest.mark.parametrize("move", list(Move))
@pytest.mark.parametrize("phase", [WAITING, ON_DESK, HANDED_OFF])
def test_every_move_in_every_phase_is_either_legal_or_refused(phase: Phase, move: Move) -> None:
    story = standing(phase)
    entered = story.try_(move, 30, retake="R1")
    if (phase, move) in REFUSED:
        assert isinstance(entered, Illegal)
        assert entered.take == story.visit.current
        assert entered.entry.move is move
        assert (phase, move) not in MOVES
    else:
        assert isinstance(entered, Visit)
        assert entered.takes[len(story.visit.takes) - 1].phase is MOVES[phase, move]


def test_a_take_that_was_taken_back_is_never_the_newest() -> None:
    assert not [phase for phase, _ in MOVES if phase is TAKEN_BACK]
    assert standing(ON_DESK).call(30, "R1", 5_000).phases == [TAKEN_BACK, WAITING]


@pytest.mark.parametrize("phase", [WAITING, ON_DESK, HANDED_OFF])
def test_a_move_that_names_another_take_is_refused(phase: Phase) -> None:
    story = standing(phase)
    for move in DESK_MOVES:
        entered = story.try_(move, 30, take=2)
        assert isinstance(entered, Illegal)
        assert entered.take.number == 1


# the work of takes


def test_a_first_take_is_the_base_work() -> None:
    assert VisitStory().work_e4 == 400_000


def test_a_retake_is_the_share_of_the_base_work() -> None:
    story = VisitStory().start(1).hand_off(2).call(3, "R1", 2_500)
    assert story.phases == [HANDED_OFF, WAITING]
    assert story.work_e4 == 100_000  # 40 drawings x 0.25 = 10


def test_a_retake_costs_no_less_than_the_departments_least() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 100)
    assert story.work_e4 == 10_000  # 40 x 0.01 = 0.4, but at least 1


def test_checks_and_camera_do_it_whole_again() -> None:
    story = VisitStory(WHOLE).hand_off(2).call(3, "R1", 100)
    assert story.work_e4 == 10_000


def test_work_is_rounded_up_to_a_ten_thousandth() -> None:
    story = VisitStory(Terms(3, 0, whole=False)).hand_off(2).call(3, "R1", 3_334)
    assert story.work_e4 == 2  # 3 x 0.3334 = 1.0002


def test_a_take_not_yet_started_absorbs_further_retakes() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 2_500).call(4, "R2", 5_000)
    assert story.visit.current.number == 2
    assert story.work_e4 == 300_000  # 40 x (0.25 + 0.5)


def test_what_is_absorbed_is_at_most_the_whole() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 7_000).call(4, "R2", 7_000)
    assert story.work_e4 == 400_000


def test_the_same_retake_is_absorbed_once() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 2_500).call(4, "R1", 2_500)
    assert story.work_e4 == 100_000


def test_a_first_take_not_begun_is_only_later() -> None:
    story = VisitStory().call(3, "R1", 2_500)
    assert story.visit.takes == UNVISITED.takes


def test_a_take_that_is_begun_is_followed_by_a_new_one() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 2_500).start(4).hand_off(5).call(6, "R2", 1_000)
    assert story.phases == [HANDED_OFF, HANDED_OFF, WAITING]
    assert story.work_e4 == 40_000


def test_a_take_on_a_desk_is_taken_back_with_its_remainder() -> None:
    # 40 drawings, one a unit of time, 10 done: 30 left, and a fifth of the 10 again
    story = VisitStory().start(10).call(20, "R1", 2_000)
    assert story.phases == [TAKEN_BACK, WAITING]
    assert story.visit.takes[0].ended_us == 20
    assert story.visit.current.opened_us == 20
    assert story.visit.current.artist is None, "the artist is free at once"
    assert story.work_e4 == 300_000 + 20_000


def test_taken_back_where_it_is_done_whole_again_is_the_whole() -> None:
    story = VisitStory(Terms(400_000, 0, whole=True)).start(10).call(20, "R1", 2_000)
    assert story.work_e4 == 400_000


def test_taken_back_and_absorbed_is_at_most_the_whole() -> None:
    story = VisitStory().start(10).call(20, "R1", 6_000).call(21, "R2", 6_000)
    assert story.work_e4 == 400_000  # 30 left, and all of the 10 done


def test_taken_back_twice_the_share_is_of_all_that_was_made() -> None:
    story = VisitStory().start(10).call(20, "R1", 2_000)  # 10 made, 32 to do
    story.start(30).call(42, "R2", 5_000)  # 12 more made: 20 left, and half of the 22
    assert story.phases == [TAKEN_BACK, TAKEN_BACK, WAITING]
    assert story.work_e4 == 200_000 + 110_000


@pytest.mark.parametrize(("share_e4", "work_e4"), [(10_000, 400_000), (5_000, 240_000)])
def test_a_share_is_of_the_base_work_however_small_the_take_on_the_desk(
    share_e4: int, work_e4: int
) -> None:
    # once handed off, a tenth called: 4 drawings; then half, or all, of the 40
    in_tray = VisitStory().hand_off(2).call(3, "R1", 1_000).call(10, "R2", share_e4)
    assert in_tray.work_e4 == work_e4
    on_desk = VisitStory().hand_off(2).call(3, "R1", 1_000).start(10).call(10, "R2", share_e4)
    assert on_desk.phases == [HANDED_OFF, TAKEN_BACK, WAITING]
    assert on_desk.work_e4 == work_e4, "a start a moment before the call changes nothing"
    # 2 of the 4 done by then
    later = VisitStory().hand_off(2).call(3, "R1", 1_000).start(10).call(12, "R2", share_e4)
    assert later.work_e4 == min(400_000, work_e4 - 20_000 * (share_e4 < 10_000))


def test_a_share_is_of_the_base_work_while_a_refused_hand_off_is_on_the_desk() -> None:
    # a tenth is sent back, and on a desk again when half of the item is called
    story = VisitStory().start(1).hand_off(50).tell(Move.REFUSE, 51, share_e4=1_000)
    story.start(60).call(60, "R1", 5_000)
    assert story.work_e4 == 40_000 + 200_000
    # also where the take that was refused had itself been taken back before
    story = VisitStory().start(10).call(20, "R1", 2_000).start(30).hand_off(62)
    story.tell(Move.REFUSE, 63, share_e4=1_000)
    assert story.work_e4 == 32_000
    assert story.call(64, "R2", 5_000).work_e4 == 32_000 + 200_000


@given(
    st.lists(st.tuples(st.integers(1, 40), st.sampled_from([1_000, 5_000])), max_size=4),
    st.sampled_from([1_000, 2_500, 10_000]),
    st.booleans(),
)
def test_a_start_just_before_a_call_changes_no_work(
    calls: list[tuple[int, int]], share_e4: int, handed_off: bool
) -> None:
    """Whatever was called and begun before: what waits absorbs the call as the desk does."""

    def played() -> VisitStory:
        story = VisitStory()
        if handed_off:
            story.hand_off(1)
        at_us = 10
        for number, (worked, share) in enumerate(calls):
            if story.visit.current.phase is WAITING:
                story.start(at_us)
            story.call(at_us + worked, f"C{number}", share)
            at_us += worked + 1
        return story

    waiting = played()
    if waiting.visit.current.number == 1:
        return  # a first take that has not begun is only later
    in_tray = waiting.call(1_000, "R", share_e4).work_e4
    assert played().start(1_000).call(1_000, "R", share_e4).work_e4 == in_tray


def test_what_was_taken_back_stays_to_be_done_when_nothing_of_it_is_left() -> None:
    story = VisitStory(Terms(0, 0, whole=False))  # a scene without drawings
    story.start(10).call(20, "R1", 5_000)
    assert story.phases == [TAKEN_BACK, WAITING]
    story.uncall(21, "R1")
    assert story.phases == [TAKEN_BACK, WAITING]
    assert (story.work_e4, story.visit.current.shares) == (0, ())


def test_a_refused_hand_off_goes_on_with_all_of_the_work() -> None:
    story = VisitStory().start(1).hand_off(50).tell(Move.REFUSE, 51)
    assert story.phases == [WAITING]
    assert story.visit.current.number == 1
    assert (story.visit.current.started_us, story.visit.current.ended_us) == (-1, -1)
    assert story.work_e4 == 400_000


def test_a_refused_hand_off_goes_on_with_the_stated_share() -> None:
    story = VisitStory().start(1).hand_off(50).tell(Move.REFUSE, 51, share_e4=2_500)
    assert story.work_e4 == 100_000
    story.start(52).hand_off(53).tell(Move.REFUSE, 54, share_e4=1_000)
    assert story.work_e4 == 40_000, "a share of the take's work, not of what was sent back"


def test_a_refused_retake_goes_on_with_a_share_of_the_retakes_work() -> None:
    story = VisitStory().hand_off(1).call(2, "R1", 5_000).start(3).hand_off(4)
    story.tell(Move.REFUSE, 5, share_e4=5_000)
    assert story.work_e4 == 100_000  # 40 x 0.5 x 0.5


def test_what_was_sent_back_counts_as_begun_and_absorbs_a_retake() -> None:
    story = VisitStory().start(1).hand_off(50).tell(Move.REFUSE, 51, share_e4=2_500)
    assert story.visit.current.begun
    story.call(52, "R1", 5_000)
    assert story.phases == [WAITING]
    assert story.work_e4 == 100_000 + 200_000  # a quarter sent back, half of it called
    story.call(53, "R2", 5_000)
    assert story.work_e4 == 400_000, "at most the whole"


def test_what_was_sent_back_is_the_whole_again_where_a_retake_redoes_the_whole() -> None:
    story = VisitStory(WHOLE).start(1).hand_off(5).tell(Move.REFUSE, 6, share_e4=1_000)
    assert story.work_e4 == 1_000
    assert story.call(7, "R1", 500).work_e4 == 10_000


def test_a_first_take_sent_back_stays_when_a_retake_of_it_is_withdrawn() -> None:
    story = VisitStory().start(1).hand_off(50).tell(Move.REFUSE, 51, share_e4=2_500)
    before = story.visit.takes
    assert story.call(52, "R1", 5_000).uncall(53, "R1").visit.takes == before


def test_what_was_sent_back_gives_up_only_what_was_called_since() -> None:
    story = VisitStory().hand_off(1).call(2, "R1", 5_000).start(3).hand_off(4)
    story.tell(Move.REFUSE, 5, share_e4=5_000).call(6, "R2", 1_000)
    assert story.work_e4 == 100_000 + 40_000
    assert story.uncall(7, "R2").work_e4 == 100_000
    assert story.uncall(8, "R1").work_e4 == 100_000, "a desk began it with R1 in it"


def test_withdrawn_before_it_is_begun_a_retake_leaves_no_trace_in_the_takes() -> None:
    story = VisitStory().start(1).hand_off(2)
    before = story.visit.takes
    story.call(3, "R1", 2_500).uncall(4, "R1")
    assert story.visit.takes == before


def test_withdrawing_one_of_several_leaves_the_others() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 2_500).call(4, "R2", 5_000).uncall(5, "R1")
    assert story.work_e4 == 200_000


def test_withdrawn_after_it_was_begun_a_take_goes_on() -> None:
    story = VisitStory().hand_off(2).call(3, "R1", 2_500).start(4).uncall(5, "R1")
    assert story.phases == [HANDED_OFF, ON_DESK]
    assert story.work_e4 == 100_000


def test_withdrawn_after_a_take_was_taken_back_its_remainder_is_still_to_do() -> None:
    story = VisitStory().start(10).call(20, "R1", 2_000).uncall(21, "R1")
    assert story.phases == [TAKEN_BACK, WAITING]
    assert story.work_e4 == 300_000


def test_a_remainder_alone_is_not_raised_to_the_least_work_of_a_redo() -> None:
    story = VisitStory(Terms(400_000, 350_000, whole=False)).start(10).call(20, "R1", 2_000)
    assert story.work_e4 == 350_000
    assert story.uncall(21, "R1").work_e4 == 300_000


def test_an_omission_puts_what_is_on_a_desk_back_with_its_full_work() -> None:
    story = VisitStory().start(10).tell(Move.OMIT, 20)
    assert story.visit.takes == UNVISITED.takes
    assert story.work_e4 == 400_000


def test_an_omission_leaves_what_is_handed_off_or_waits() -> None:
    for phase in (WAITING, HANDED_OFF):
        story = standing(phase)
        before = story.visit.takes
        assert story.tell(Move.OMIT, 30).visit.takes == before


# artists


def test_a_hand_out_names_the_artist_until_the_start_names_another() -> None:
    story = VisitStory().tell(Move.HAND_OUT, 1, artist="a1")
    assert story.visit.current.artist == "a1"
    assert story.start(2).visit.current.artist == "a1"
    assert story.tell(Move.HAND_OUT, 3, artist="a2").visit.current.artist == "a2"
    other = VisitStory().tell(Move.HAND_OUT, 1, artist="a1").tell(Move.START, 2, artist="a3")
    assert other.visit.current.artist == "a3"


# facts told late


def test_a_start_told_late_makes_an_earlier_call_reopen_the_visit() -> None:
    story = VisitStory().call(20, "R1", 2_000)
    story.start(10)
    assert story.phases == [TAKEN_BACK, WAITING]
    assert story.work_e4 == 300_000 + 20_000


def test_a_start_told_late_at_the_moment_of_the_call_counts_as_before_it() -> None:
    assert VisitStory().call(20, "R1", 2_000).start(20).phases == [TAKEN_BACK, WAITING]


def test_a_start_after_the_call_is_of_the_first_take() -> None:
    assert VisitStory().call(20, "R1", 2_000).start(21).phases == [ON_DESK]


def test_a_hand_off_told_late_of_a_take_already_taken_back() -> None:
    story = VisitStory().start(10).call(50, "R1", 2_000)
    story.hand_off(49)
    assert story.phases == [HANDED_OFF, WAITING]
    assert story.work_e4 == 80_000, "all was done: a fifth of it again"


def test_a_fact_without_a_take_means_the_one_open_at_its_time() -> None:
    story = VisitStory().start(10).hand_off(20).call(30, "R1", 2_000)
    story.start(40).hand_off(50)
    assert [take.started_us for take in story.visit.takes] == [10, 40]
    assert isinstance(story.try_(Move.START, 25), Illegal)
    assert isinstance(story.try_(Move.START, 41), Illegal)


def test_a_take_named_of_the_past_is_refused_after_a_call() -> None:
    story = VisitStory().start(10).call(50, "R1", 2_000)
    entered = story.try_(Move.HAND_OFF, 51, take=1)
    assert isinstance(entered, Illegal)
    assert entered.take.number == 2


def test_times_in_a_take_never_decrease() -> None:
    story = VisitStory().start(10)
    entered = story.try_(Move.HAND_OFF, 9)
    assert isinstance(entered, Illegal)
    assert entered.entry.move is Move.START, "the start already recorded is what cannot stand"


def test_what_only_a_call_of_that_moment_makes_possible_comes_after_it() -> None:
    story = VisitStory().start(10).hand_off(20).call(30, "R1", 2_000)
    story.start(30, take=2)
    assert story.phases == [HANDED_OFF, ON_DESK]
    assert story.visit.entries[-1].rank == AFTER_CALL_RANK
    assert story.hand_off(30).phases == [HANDED_OFF, HANDED_OFF]


def test_the_take_open_at_an_instant() -> None:
    story = VisitStory().start(10).hand_off(20).call(30, "R1", 2_000).start(40)
    numbers = [story.visit.take_open(at_us).number for at_us in (-5, 10, 30, 31, 99)]
    assert numbers == [1, 1, 1, 2, 2]


MOVES_OF_A_VISIT = st.tuples(
    st.sampled_from(list(Move)),
    st.integers(0, 30),
    st.sampled_from([None, None, None, 1, 2]),
    st.sampled_from(["R1", "R2", "R3"]),
    st.sampled_from([1_000, 5_000, 10_000]),
)


@given(st.lists(MOVES_OF_A_VISIT, max_size=25), st.booleans())
def test_whatever_moves_are_made_the_takes_stay_sound(
    moves: list[tuple[Move, int, int | None, str, int]], whole: bool
) -> None:
    story = VisitStory(Terms(400_000, 10_000, whole))
    for move, at_us, number, retake, share_e4 in moves:
        named = number if move in DESK_MOVES else None
        entered = story.try_(move, at_us, take=named, retake=retake, share_e4=share_e4)
        if isinstance(entered, Visit):
            story.visit = entered
    takes = story.visit.takes
    assert [take.number for take in takes] == list(range(1, len(takes) + 1))
    assert all(take.phase in {HANDED_OFF, TAKEN_BACK} for take in takes[:-1])
    assert takes[-1].phase is not TAKEN_BACK
    for take in takes:
        if take.phase in {HANDED_OFF, TAKEN_BACK}:
            assert take.opened_us <= take.started_us <= take.ended_us
        assert 0 <= take_work_e4(take, story.terms) <= 400_000
    # telling it again in order of time, as a late fact makes us do, ends in the same takes
    assert replay(story.visit.entries, lambda at_us: story.terms, left_of) == story.visit
