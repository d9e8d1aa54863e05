"""What is flagged as irregular: legal, but worth a look. As of the time of the fact."""

import re
from pathlib import Path
from typing import Any

from service import production
from service.production import marks
from tests.places import README
from tests.telling import Story, studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"


def started(story: Story, department: str, at: str, item: str = SCENE) -> tuple[str, ...]:
    event = story.tell("work.started", item, {"department": department}, at=at)
    return tuple(mark for mark in story.marks(event) if mark != "late")


def ready(**more: Any) -> Story:
    story = studio()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    return story


def test_what_is_in_order_is_not_flagged() -> None:
    assert started(ready(), "animation", ELEVEN) == ()


def test_upstream_missing() -> None:
    assert started(ready(), "paint", ELEVEN) == ("upstream-missing",)
    story = ready()
    story.desk(SCENE, "animation", start=ELEVEN)
    assert started(story, "paint", NOON) == ("upstream-missing",), "on a desk is not handed off"


def test_upstream_is_looked_at_as_it_stood_then() -> None:
    assert started(ready(), "animation", NINE) == ("upstream-missing",), "handed off only at ten"
    story = ready()
    story.call("R1", SCENE, "layout", "character", at=NOON)
    assert started(story, "animation", ELEVEN) == (), "the retake came later"
    assert started(story, "background", NOON) == (), "a call of that moment counts as after"


def test_a_retaken_visit_upstream_is_missing_again() -> None:
    story = ready()
    story.call("R1", SCENE, "layout", "character", at=ELEVEN)
    assert started(story, "animation", NOON) == ("upstream-missing",)


def test_an_omitted_scene_keeps_nobody_waiting() -> None:
    story = studio(scenes=2)
    story.desk(SCENE, "camera", start=NINE, end=TEN)
    story.tell("scene.omitted", "KESTREL-1/2", at=TEN)
    assert started(story, "cutting", ELEVEN, "KESTREL-1") == ()
    other = studio(scenes=2)
    other.desk(SCENE, "camera", start=NINE, end=TEN)
    assert started(other, "cutting", ELEVEN, "KESTREL-1") == ("upstream-missing",)


def test_work_on_what_is_held() -> None:
    story = ready()
    story.tell("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-20"}, at=TEN)
    assert started(story, "animation", ELEVEN) == ("held",)
    story.tell("scene.freed", SCENE, at=NOON)
    assert started(story, "background", NOON) == ()


def test_work_for_a_delivered_episode() -> None:
    story = ready()
    story.tell("episode.delivered", "KESTREL-1", at=TEN)
    assert started(story, "animation", ELEVEN) == ("delivered",)


def test_work_while_a_department_is_stopped() -> None:
    story = ready()
    stop = {"department": "animation", "expected_end_at": "2031-03-05T09:00:00Z"}
    story.tell("department.stopped", "studio", stop, at=TEN)
    assert started(story, "animation", ELEVEN) == ("stopped",)
    story.tell("department.resumed", "studio", {"department": "animation"}, at=NOON)
    story.desk("KESTREL-1/2", "layout", start=NINE, end=TEN)
    assert started(story, "animation", NOON, "KESTREL-1/2") == ()
    story.desk("KESTREL-1/3", "layout", start=NINE, end=TEN)
    assert started(story, "animation", ELEVEN, "KESTREL-1/3") == ("stopped",), "told late"


def test_a_hand_off_without_a_start() -> None:
    story = ready()
    event = story.tell("hand-off.made", SCENE, {"department": "animation"}, at=ELEVEN)
    assert story.marks(event) == ("not-started",)
    early = story.tell("hand-off.made", SCENE, {"department": "camera"}, at=ELEVEN)
    assert story.marks(early) == ("not-started", "upstream-missing")


def test_a_hand_off_after_a_refused_one_must_start_again() -> None:
    story = ready()
    back = {"sender": "layout", "department": "animation"}
    story.tell("hand-off.refused", SCENE, back, at=ELEVEN)
    event = story.tell("hand-off.made", SCENE, {"department": "layout"}, at=NOON)
    assert story.marks(event) == ("not-started",)


def test_an_episode_delivered_with_visits_still_open() -> None:
    story = studio(scenes=1)
    event = story.tell("episode.delivered", "KESTREL-1", at=NINE)
    assert story.marks(event) == ("open-visits",)
    story = studio(scenes=2)
    story.desk(SCENE, *story.state.scenes[SCENE].departments, start=NINE, end=TEN)
    story.desk("KESTREL-1", "cutting", "mix", start=TEN, end=ELEVEN)
    story.tell("scene.omitted", "KESTREL-1/2", at=TEN)
    assert story.marks(story.tell("episode.delivered", "KESTREL-1", at=NOON)) == ()


def test_every_mark_has_a_meaning_and_stands_in_the_readme() -> None:
    names = {name for name, value in vars(marks).items() if name.isupper() and name != "MEANINGS"}
    assert {getattr(marks, name) for name in names} == set(marks.MEANINGS)
    readme = README.read_text()
    for mark, meaning in marks.MEANINGS.items():
        assert f"| `{mark}` | {meaning} |" in readme
    # and no module flags anything by a word of its own
    for module in Path(production.__file__).parent.rglob("*.py"):
        assert not re.findall(r"(?:add_mark|mark_irregular)\([^)]*\"", module.read_text())
