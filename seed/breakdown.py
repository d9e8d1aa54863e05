"""An episode taken apart: its scenes, what they share, and how they hang together.

Scenes come in runs, each in one place. A run shares a few backgrounds; some scenes have one of
their own, some use one that the series keeps, some reuse another scene's.
"""

from itertools import pairwise
from random import Random
from typing import Any, NamedTuple

from seed import words
from seed.scenario import (
    APPROVED_FROM,
    EPISODE_FRAMES,
    SHOW,
    EpisodePlan,
    episode_subject,
)

FRAMES_LEAST, FRAMES_MOST = 22, 400
DRAWINGS_PER_FRAME = (0.22, 0.52)


class UndatedFact(NamedTuple):
    """A fact without its time: type, subject, data."""

    type: str
    subject: str
    data: dict[str, Any]


class Breakdown(NamedTuple):
    """The office's facts of an episode, in order, and the scenes that go together."""

    scenes: tuple[str, ...]
    facts: tuple[UndatedFact, ...]


class Run(NamedTuple):
    """Scenes one after the other in one place, with one cast."""

    place: str
    scenes: tuple[str, ...]


def series_elements() -> list[UndatedFact]:
    """What the series has before its first episode: model sheets, colour models, kept sets."""
    found = []
    for name in words.CAST:
        found.append(element(f"model-{name}", "model-sheet", f"Model sheet: {name}", 10))
        found.append(element(f"colour-{name}", "colour-model", f"Colours: {name}", 3))
    found += [
        element(f"set-{name}-{letter}", "background", f"Kept set: {name}")
        for name in words.SETS
        for letter in "ab"
    ]
    found += [element(f"cycle-{name}", "cycle", f"Cycle: {name}", 16, 48) for name in words.CYCLES]
    return found


def episode_models(rng: Random, episode: EpisodePlan, number: int) -> list[UndatedFact]:
    """Sheets of the props an episode brings in, and the colours of its night or weather.

    Those of the first episodes were on paper before the broadcaster asked to see any.
    """
    kind = "prop" if number >= APPROVED_FROM else "model-sheet"
    props = [words.PROPS[(number * 2 + place) % len(words.PROPS)] for place in range(4)]
    found = [
        element(f"model-{episode.code}-{name}", kind, f"Prop: {name}", rng.randint(3, 8))
        for name in props
    ]
    found.append(element(f"colour-{episode.code}-mood", "colour-model", "Colours of the hour", 4))
    return found


def element(
    code: str, kind: str, title: str, drawings: int = 0, frames: int | None = None
) -> UndatedFact:
    """The listing of an element."""
    data: dict[str, Any] = {"kind": kind, "title": title}
    if drawings:
        data["drawings"] = drawings
    if frames:
        data["frames"] = frames
    return UndatedFact("element.listed", f"{SHOW}:{code}", data)


def break_down(rng: Random, episode: EpisodePlan, models: list[UndatedFact]) -> Breakdown:
    """Scenes, elements, uses, hook-ups and same-as of an episode."""
    scenes = _numbers(rng, episode)
    listed = _scenes(rng, episode, scenes)
    runs = _runs(rng, scenes)
    same, reusing = _same_as(rng, runs)
    painted = _Paintings(rng, episode, reusing)
    for run in runs:
        painted.paint(run)
    used = _cast(rng, runs, models, reusing)
    return Breakdown(
        scenes, (*listed, *painted.listed, *painted.uses(), *used, *_hook_ups(rng, scenes), *same)
    )


def _numbers(rng: Random, episode: EpisodePlan) -> tuple[str, ...]:
    """Scene numbers; a few were put in between when the board was already numbered."""
    lettered = sorted(rng.sample(range(1, episode.scenes - 6), 4))
    numbers = []
    for number in range(1, episode.scenes - 3):
        numbers.append(str(number))
        if number in lettered:
            numbers.append(f"{number}A")
    subject = episode_subject(episode.code)
    return tuple(f"{subject}/{number}" for number in numbers)


def _scenes(rng: Random, episode: EpisodePlan, scenes: tuple[str, ...]) -> list[UndatedFact]:
    lengths = [rng.lognormvariate(0, 0.5) for _ in scenes]
    scale = EPISODE_FRAMES / sum(lengths)
    frames = [min(FRAMES_MOST, max(FRAMES_LEAST, round(part * scale))) for part in lengths]
    place = 0
    while (left := EPISODE_FRAMES - sum(frames)) != 0:
        step = max(-4, min(4, left))
        if FRAMES_LEAST <= frames[place] + step <= FRAMES_MOST:
            frames[place] += step
        place = (place + 7) % len(frames)
    return [
        UndatedFact("scene.listed", scene, _scene(rng, episode, length))
        for scene, length in zip(scenes, frames, strict=True)
    ]


def _scene(rng: Random, episode: EpisodePlan, frames: int) -> dict[str, Any]:
    # long scenes have holds and pans in them, so they are thinner in drawings
    thick = rng.uniform(*DRAWINGS_PER_FRAME) * (130 / frames) ** 0.15
    data: dict[str, Any] = {
        "frames": frames,
        "drawings": max(4, round(frames * thick * episode.drawings)),
        "levels": rng.choice((1, 1, 2, 2, 2, 3, 3, 4)),
    }
    hard = rng.choice((0.8, 0.9, 1, 1, 1, 1, 1, 1.1, 1.2, 1.4)) * episode.difficulty
    if abs(hard - 1) > 0.01:
        data["difficulty"] = {"animation": round(hard, 2)}
        if hard > 1.3:
            data["difficulty"]["layout"] = 1.5
    return data


def _runs(rng: Random, scenes: tuple[str, ...]) -> list[Run]:
    places = list(words.PLACES)
    rng.shuffle(places)
    runs: list[Run] = []
    at = 0
    while at < len(scenes):
        length = rng.randint(6, 13)
        runs.append(Run(places[len(runs) % len(places)], scenes[at : at + length]))
        at += length
    return runs


def _same_as(rng: Random, runs: list[Run]) -> tuple[list[UndatedFact], dict[str, str]]:
    """Some scenes repeat one of their run: its painting, or all but the timing."""
    facts, reusing = [], {}
    for run in runs:
        if len(run.scenes) < 7 or rng.random() < 0.55:
            continue
        source, scene = run.scenes[1], run.scenes[-2]
        whole = rng.random() < 0.3
        strands = ["background", "character"] if whole else ["background"]
        data = {"source": source, "joins": "camera", "strands": strands}
        facts.append(UndatedFact("same-as.declared", scene, data))
        reusing[scene] = "whole" if whole else "background"
    return facts, reusing


class _Paintings:
    """Backgrounds and overlays of an episode, and who uses them."""

    def __init__(self, rng: Random, episode: EpisodePlan, reusing: dict[str, str]) -> None:
        self.rng = rng
        self.episode = episode
        self.reusing = reusing
        self.listed: list[UndatedFact] = []
        self.users: dict[str, list[str]] = {}

    def paint(self, run: Run) -> None:
        """Give every scene of a run its background."""
        rng = self.rng
        shared = [
            self._list("background", f"bg-{self.episode.code}-{run.place}")
            for _ in range(max(2, round(len(run.scenes) / 3.2)))
        ]
        for scene in run.scenes:
            if scene in self.reusing:
                continue
            chance = rng.random()
            if chance < 0.07 and run.place in words.SETS:
                self._use(f"{SHOW}:set-{run.place}-{rng.choice('ab')}", scene)
            elif chance < 0.8:
                self._use(rng.choice(shared), scene)
        if rng.random() < 0.35:
            overlay = self._list("overlay", f"ov-{self.episode.code}-{rng.choice(words.OVERLAYS)}")
            for scene in rng.sample(run.scenes, min(3, len(run.scenes))):
                if self.reusing.get(scene) != "whole":
                    self._use(overlay, scene)

    def uses(self) -> list[UndatedFact]:
        """The uses, one fact an element; what no scene uses was never asked for."""
        return [
            UndatedFact("element.used", code, {"scenes": scenes})
            for code, scenes in self.users.items()
        ]

    def _list(self, kind: str, stem: str) -> str:
        code = f"{stem}-{len(self.listed) + 1:02d}"
        fact = element(code, kind, f"{kind.capitalize()}: {stem.split('-', 2)[2]}")
        if self.rng.random() < 0.12:
            fact.data["work"] = {"background": self.rng.choice((1.5, 2))}  # a pan
        self.listed.append(fact)
        return fact.subject

    def _use(self, code: str, scene: str) -> None:
        self.users.setdefault(code, []).append(scene)


def _cast(
    rng: Random, runs: list[Run], models: list[UndatedFact], reusing: dict[str, str]
) -> list[UndatedFact]:
    """Who and what is seen in which scene, as uses of model sheets, colours and cycles."""
    users: dict[str, list[str]] = {}
    mood = f"{models[-1].subject}"
    for run in runs:
        present = [
            name
            for name, share in zip(words.CAST, words.CAST_SHARE, strict=True)
            if rng.random() < share * 1.3
        ] or [words.CAST[0]]
        prop = rng.choice(models[:-1]).subject if rng.random() < 0.5 else None
        night = rng.random() < 0.15
        cycle = f"{SHOW}:cycle-{rng.choice(words.CYCLES)}" if rng.random() < 0.2 else None
        for scene in run.scenes:
            if reusing.get(scene) == "whole":
                continue
            seen = [name for name in present if rng.random() < 0.72] or present[:1]
            for name in seen[:3]:
                users.setdefault(f"{SHOW}:model-{name}", []).append(scene)
                users.setdefault(f"{SHOW}:colour-{name}", []).append(scene)
            if prop and rng.random() < 0.6:
                users.setdefault(prop, []).append(scene)
            if night:
                users.setdefault(mood, []).append(scene)
            if cycle and rng.random() < 0.4:
                users.setdefault(cycle, []).append(scene)
    return [UndatedFact("element.used", code, {"scenes": scenes}) for code, scenes in users.items()]


def _hook_ups(rng: Random, scenes: tuple[str, ...]) -> list[UndatedFact]:
    return [
        UndatedFact("hook-up.declared", scene, {"to": following})
        for scene, following in pairwise(scenes)
        if rng.random() < 0.06
    ]
