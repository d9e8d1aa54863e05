from random import Random

import pytest

from seed.breakdown import FRAMES_LEAST, FRAMES_MOST, UndatedFact, break_down, episode_models
from seed.scenario import EPISODE_FRAMES, EPISODES


def facts_of(number: int, seed: int = 3) -> tuple[UndatedFact, ...]:
    rng = Random(seed)
    models = episode_models(rng, EPISODES[number], number)
    return break_down(rng, EPISODES[number], models).facts


@pytest.mark.parametrize("number", range(len(EPISODES)))
def test_scenes_add_up_to_the_half_hour(number: int) -> None:
    scenes = [fact for fact in facts_of(number) if fact.type == "scene.listed"]
    frames = [fact.data["frames"] for fact in scenes]
    assert sum(frames) == EPISODE_FRAMES
    assert all(FRAMES_LEAST <= length <= FRAMES_MOST for length in frames)
    assert len({fact.subject for fact in scenes}) == len(scenes) == EPISODES[number].scenes


def test_scenes_share_their_paintings() -> None:
    facts = facts_of(2)
    elements = {fact.subject: fact.data["kind"] for fact in facts if fact.type == "element.listed"}
    shared = {
        scene
        for fact in facts
        if fact.type == "element.used" and (":bg-" in fact.subject or ":set-" in fact.subject)
        for scene in fact.data["scenes"]
    }
    reusing = {fact.subject for fact in facts if fact.type == "same-as.declared"}
    assert shared.isdisjoint(reusing)
    own = EPISODES[2].scenes - len(shared) - len(reusing)
    backgrounds = [name for name, kind in elements.items() if kind == "background"]
    assert 0.4 < (len(backgrounds) + own) / EPISODES[2].scenes < 0.6


def test_another_seed_makes_another_episode() -> None:
    assert facts_of(0, seed=3) == facts_of(0, seed=3)
    assert facts_of(0, seed=3) != facts_of(0, seed=4)
