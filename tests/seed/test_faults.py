"""How often the demo studio's scenes go back, by the shares that `seed.faults` states."""

from collections import Counter
from random import Random

import pytest

from seed.faults import CHECK, CLIENT, SCREENING, Fates

SCENES = 20_000


def test_a_quarter_goes_back_and_a_fifth_of_those_again() -> None:
    fates = Fates(Random(1))
    first: Counter[str] = Counter()
    again = 0
    for number in range(SCENES):
        scene = str(number)
        fates.draw(scene, checked=True)
        if where := fates.next(scene):
            first[where] += 1
            fates.found(scene)
            again += fates.next(scene) != ""
    # some four standard errors of shares of so many draws
    assert first.total() / SCENES == pytest.approx(0.24, abs=0.01)
    assert again / first.total() == pytest.approx(0.2, abs=0.03)
    assert first[CHECK] / first.total() == pytest.approx(0.5, abs=0.03)
    assert first[SCREENING] / first.total() == pytest.approx(0.33, abs=0.03)
    assert first[CLIENT] / first.total() == pytest.approx(0.17, abs=0.03)


def test_a_scene_that_skips_check_shows_its_mistake_on_the_screen() -> None:
    fates = Fates(Random(1))
    for number in range(500):
        fates.draw(str(number), checked=False)
    assert {fates.next(str(number)) for number in range(500)} == {"", SCREENING, CLIENT}
