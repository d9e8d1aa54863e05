"""Passes and work under retakes that come by chance, against absorbing Markov chains.

Scenes are sent down a line and back (`passes`): a hand-off takes a scene a department on, a retake
takes it back. Where it goes is drawn here, seeds fixed; what takes and what work follow is for our
rules to say. Expected visits, steps and ends come from the fundamental matrix (`absorbing`). Means
must come within four standard errors, by the chain's own variance.

Sources: C. M. Grinstead and J. L. Snell, Introduction to Probability, ch. 11 (walks and maze with
their figures); J. G. Kemeny and J. L. Snell, Finite Markov Chains, 1960 (variances). How often a
scene goes back is of our choice everywhere: theory holds whatever the chances.
"""

from collections.abc import Sequence
from random import Random

import numpy as np
import pytest

from service.vocabulary.quantities import ONE_E4
from tests.outside import absorbing
from tests.outside.absorbing import Floats
from tests.outside.passes import OUT, Desk, Passes, Step, tell_passes

ERRORS = 4


def assert_mean(seen: Floats, mean: Floats, variance: Floats) -> None:
    """Observations by scene (row) of some quantities (columns) have the expected means."""
    allowed = ERRORS * np.sqrt(variance / len(seen))
    assert (np.abs(seen.mean(axis=0) - mean) <= allowed).all(), (seen.mean(axis=0), mean, allowed)
    assert (allowed <= 0.25 * mean).all(), "too wide to tell anything"


def steps_by(random: Random, chances: Sequence[Sequence[float]]) -> Step:
    """Steps drawn by row; what is left of a row leads out at the end of the line."""
    count = len(chances)

    def step(scene: str, place: int) -> int:
        left = 1 - sum(chances[place])
        return random.choices(range(count + 1), [*chances[place], left])[0]

    return step


def assert_every_pass_is_a_take(passes: Passes, first: int = 0) -> None:
    """To the take, scene by scene; those not counted are the ones before the walk began."""
    before = [place < first for place in range(len(passes.desks))]
    for scene in passes.went:
        counted = [a + b for a, b in zip(passes.counted(scene), before, strict=True)]
        assert passes.takes(scene) == counted, (scene, passes.went[scene])


# --- the textbook's examples -------------------------------------------------------------------


def test_a_walk_between_home_and_bar() -> None:
    """Corners 1 to 3 between 0 and 4, then 1 to 4 between 0 and 5."""
    q, r = absorbing.walk(3)
    n = absorbing.fundamental(q)
    assert np.allclose(n, np.array([[1.5, 1, 0.5], [1, 2, 1], [0.5, 1, 1.5]]))
    assert np.allclose(absorbing.steps(n), [3, 4, 3])
    assert np.allclose(n @ r, [[0.75, 0.25], [0.5, 0.5], [0.25, 0.75]])
    q, r = absorbing.walk(4)
    n = absorbing.fundamental(q)
    assert np.allclose(absorbing.steps(n), [4, 6, 6, 4])
    assert np.allclose((n @ r)[:, 0], [0.8, 0.6, 0.4, 0.2])


def test_a_rat_in_a_maze() -> None:
    """Nine rooms, three by three, numbered to and fro; food in the fifth, in the middle.

    An oracle's check only: a rat may go round, a scene goes on or back along its line.
    """
    rooms = [(k // 3, k % 3 if k // 3 != 1 else 2 - k % 3) for k in range(9)]
    doors = np.array(
        [[abs(a - c) + abs(b - d) == 1 for c, d in rooms] for a, b in rooms], np.float64
    )
    chances = doors / doors.sum(axis=1, keepdims=True)
    hungry = [k for k in range(9) if k != 4]
    n = absorbing.fundamental(chances[np.ix_(hungry, hungry)])
    assert np.allclose(absorbing.steps(n), [6, 5, 6, 5, 5, 6, 5, 6])


def test_gains_agree_with_the_textbooks_variances() -> None:
    """A gain of 1 a step is the number of steps, less the last; at arrivals it is visits."""
    q = np.array([[0, 1, 0], [0.2, 0.1, 0.6], [0.1, 0.3, 0]])
    n = absorbing.fundamental(q)
    mean, variance = absorbing.gains(q, np.ones((3, 3)))
    assert np.allclose(mean, absorbing.steps(n) - 1)
    assert np.allclose(variance, absorbing.steps_variance(n))
    for state in range(3):
        arrivals = np.zeros((3, 3))
        arrivals[:, state] = 1
        mean, variance = absorbing.gains(q, arrivals)
        assert np.allclose(mean, n[:, state] - (np.arange(3) == state))
        assert np.allclose(variance, absorbing.visits_variance(n)[:, state])


@pytest.mark.parametrize(
    ("states", "first", "scenes"), [(3, 0, 1000), (3, 1, 1000), (3, 2, 1000), (4, 1, 1000)]
)
def test_the_walk_recorded_as_a_line(states: int, first: int, scenes: int) -> None:
    """One department a corner. A step on is a hand-off, a step back a retake of the one before.

    Home is the scene's omission, the bar its delivery. A retake can name nothing that never
    started, so a walk that begins further on has a pass behind it at each corner before.
    """
    random = Random(11)
    desks = [Desk(name) for name in ("layout", "animation", "paint", "camera")[:states]]

    def step(scene: str, place: int) -> int:
        return place + 1 if random.random() < 0.5 else (place - 1 if place else OUT)

    passes = tell_passes(desks, scenes, step, share=0.2, first=first)
    assert_every_pass_is_a_take(passes, first)
    q, r = absorbing.walk(states)
    n = absorbing.fundamental(q)
    visits = np.array([passes.takes(scene) for scene in passes.went], np.float64)
    visits[:, :first] -= 1
    assert_mean(visits, n[first], absorbing.visits_variance(n)[first])
    t, t_variance = absorbing.steps(n)[first], absorbing.steps_variance(n)[first]
    assert_mean(visits.sum(axis=1, keepdims=True), np.array([t]), np.array([t_variance]))
    home = np.array([passes.story.state.scenes[scene].omitted for scene in passes.went])
    ends = np.column_stack([home, ~home]).astype(np.float64)
    assert_mean(ends, (n @ r)[first], (n @ r)[first] * (1 - (n @ r)[first]))


# --- lines of ours ----------------------------------------------------------------------------

DESKS = [
    Desk("layout", 2, least=0.5),
    Desk("animation", 5),
    Desk("paint", 10, least=0.5),
    Desk("camera", 1, redo="whole"),
]
SHARE = 0.1


def redo_of(desk: Desk) -> float:
    """Work of a pass after the first that one retake asks for, in scenes."""
    return desk.work if desk.redo == "whole" else max(desk.least, desk.work * SHARE)


def work_seen(passes: Passes) -> Floats:
    return np.array([passes.work_e4(scene) for scene in passes.went], np.float64) / ONE_E4


def test_passes_and_work_where_all_is_found_at_the_end() -> None:
    """Every pass after the first answers one retake: work is the first and so many redone."""
    chances: list[list[float]] = [[0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1], [0.05, 0.1, 0.15, 0.1]]
    passes = tell_passes(DESKS, 1000, steps_by(Random(12), chances), SHARE)
    assert_every_pass_is_a_take(passes)
    n = absorbing.fundamental(np.array(chances, np.float64))
    visits, variance = n[0], absorbing.visits_variance(n)[0]
    assert_mean(np.array([passes.takes(scene) for scene in passes.went]), visits, variance)
    whole = np.array([desk.work for desk in DESKS], np.float64)
    again = np.array([redo_of(desk) for desk in DESKS])
    assert_mean(work_seen(passes), whole + (visits - 1) * again, variance * again**2)


def retakes_of_departments(chances: Sequence[Sequence[float]]) -> tuple[Floats, Floats]:
    """Mean and variance of the retakes that reach each department.

    A state is where a scene was just passed and how far it has ever been: a retake asks a share
    of each department it has passed, from the one it goes back to on.
    """
    count = len(chances)
    states = [(place, far) for far in range(count) for place in range(far + 1)]
    q = np.zeros((len(states), len(states)))
    reaching = np.zeros((count, len(states), len(states)))
    for before, (place, far) in enumerate(states):
        for to in range(count):
            if chances[place][to]:
                after = states.index((to, max(far, to)))
                q[before, after] = chances[place][to]
                reaching[to : far + 1, before, after] = to <= place
    gained = [absorbing.gains(q, of_desk) for of_desk in reaching]
    return np.array([mean[0] for mean, _ in gained]), np.array([spread[0] for _, spread in gained])


def test_passes_and_work_where_mistakes_are_found_anywhere() -> None:
    """A take not yet started absorbs further retakes: fewer passes than retakes, all their work.

    Camera does the whole again at each pass, however many ask for it. Shares add up to a whole at
    most, which is out of reach here; least work, which does not add up, is left out.
    """
    desks = [desk._replace(least=0) for desk in DESKS]
    chances = [[0.1, 0.9, 0, 0], [0.3, 0.1, 0.6, 0], [0.1, 0.2, 0.1, 0.6], [0.1, 0.05, 0.1, 0.1]]
    passes = tell_passes(desks, 800, steps_by(Random(13), chances), SHARE)
    assert_every_pass_is_a_take(passes)
    n = absorbing.fundamental(np.array(chances, np.float64))
    visits, variance = n[0], absorbing.visits_variance(n)[0]
    assert_mean(np.array([passes.takes(scene) for scene in passes.went]), visits, variance)
    for scene in passes.went:
        times = [*passes.retakes_reaching(scene)[:3], passes.counted(scene)[3] - 1]
        work = [desk.work + again * redo_of(desk) for desk, again in zip(desks, times, strict=True)]
        assert passes.work_e4(scene) == [round(all_in * ONE_E4) for all_in in work]
    added, spread = retakes_of_departments(chances)
    assert np.isclose(added[0], visits[0] - 1), "the first department never waits for a retake"
    assert (added[1:] > visits[1:] - 1 + 0.1).all(), "no take absorbs a retake here"
    added[3], spread[3] = visits[3] - 1, variance[3]
    whole = np.array([desk.work for desk in desks], np.float64)
    again = np.array([redo_of(desk) for desk in desks])
    assert_mean(work_seen(passes), whole + added * again, spread * again**2)


AGAIN, ONCE_MORE = 0.3, 0.4
"""Chances that a scene is shot again, and that it is shot once more after that."""


def test_scenes_that_are_shot_again_and_some_of_them_once_more() -> None:
    """Passes at camera are 1, 0.3 more and 0.3 times 0.4 more, whether paint or camera is at fault.

    All is found on the screen, so that each mistake is one more pass.
    """
    q = np.diag([AGAIN, ONCE_MORE], k=1)
    n = absorbing.fundamental(q)
    assert absorbing.steps(n)[0] == pytest.approx(1 + 0.3 + 0.3 * 0.4)
    random = Random(14)
    desks = [Desk("paint"), Desk("camera", redo="whole")]
    shot: dict[str, int] = {}

    def step(scene: str, place: int) -> int:
        if place == 0:
            return 1
        shot[scene] = shot.get(scene, 0) + 1
        chance = {1: AGAIN, 2: ONCE_MORE}.get(shot[scene], 0)
        return random.choice((0, 1)) if random.random() < chance else len(desks)

    scenes = 3000
    passes = tell_passes(desks, scenes, step, share=0.1)
    assert_every_pass_is_a_take(passes)
    takes = np.array([passes.takes(scene)[1] for scene in passes.went])
    assert takes.max() == 3
    variance = absorbing.visits_variance(n)[0]
    for again in (1, 2):
        allowed = ERRORS * np.sqrt(variance[again] / scenes)
        assert (takes > again).mean() == pytest.approx(n[0][again], abs=allowed)
    t_variance = absorbing.steps_variance(n)[:1]
    assert_mean(takes[:, None].astype(np.float64), absorbing.steps(n)[:1], t_variance)
    assert work_seen(passes)[:, 1].tolist() == takes.tolist(), "camera shoots the whole again"
