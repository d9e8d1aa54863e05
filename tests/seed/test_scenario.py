"""The demo's figures are invented: none is a rule of thumb of the trade.

The rules of thumb are common practice, no source; `tests/outside/test_practice.py` poses lines by
them. A demo that showed the same figures could be taken for a source.
"""

from statistics import mean

import pytest

from seed.scenario import EPISODES, STATIONS, board_on, episode_subject
from service.production.state import visit_of
from service.production.takes import Phase
from service.vocabulary.instants import instant
from tests.seed.generated import final_state

BY_NAME = {station.name: station for station in STATIONS}
SUBJECTS = [episode_subject(episode.code) for episode in EPISODES]
DAYS_A_WEEK = 5
APART = 0.15
"""By how much a figure differs at least from the rule of thumb, as a part of it."""


def apart(figure: float, rule: float) -> bool:
    return abs(figure - rule) > APART * rule


def test_the_length_of_an_episode_in_scenes_and_drawings_is_not_the_trades() -> None:
    state = final_state()
    scenes = [state.scenes[name] for subject in SUBJECTS for name in state.episodes[subject].scenes]
    assert apart(len(scenes) / len(SUBJECTS), 200)
    assert apart(mean(scene.drawings for scene in scenes), 50)


@pytest.mark.parametrize("rule", [6, 12])
def test_the_rate_of_layout_is_not_the_trades(rule: float) -> None:
    assert apart(BY_NAME["layout"].rate, rule)


def test_the_part_of_the_in_betweener_is_not_the_trades() -> None:
    assert BY_NAME["clean-up"].drawings_part + BY_NAME["in-between"].drawings_part == 1
    assert apart(BY_NAME["in-between"].drawings_part, 0.5)


def test_a_board_does_not_take_the_trades_weeks() -> None:
    assert 1 / BY_NAME["storyboard"].rate / DAYS_A_WEEK > 3 * (1 + APART)


def test_layout_does_not_take_the_trades_two_weeks() -> None:
    state = final_state()
    spans = []
    for subject in SUBJECTS:
        takes = [
            visit_of(state, name, "layout").takes[0] for name in state.episodes[subject].scenes
        ]
        if all(take.phase is Phase.HANDED_OFF for take in takes):
            begun_us = min(take.started_us for take in takes if take.started_us >= 0)
            spans.append((max(take.ended_us for take in takes) - begun_us) / 6e7 / 60 / 24 / 7)
    assert spans
    assert apart(mean(spans), 2)


def test_an_episode_does_not_take_the_trades_three_months() -> None:
    state = final_state()
    weeks = [
        (instant(state.episodes[subject].delivered_us).date() - board_on(number)).days / 7
        for number, subject in enumerate(SUBJECTS)
        if state.episodes[subject].delivered_us >= 0
    ]
    assert apart(mean(weeks), 13)
