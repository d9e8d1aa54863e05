"""The fold as a whole: which facts count, what is flagged, what times do."""

import pytest
from msgspec.structs import replace

from service.production.folding import apply, fold
from service.production.state import EMPTY, Draft
from service.production.takes import Phase
from service.vocabulary.facts.base import Fact
from tests.telling import studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"
LAYOUT = {"department": "layout"}


def test_an_unknown_type_fails_loudly() -> None:
    class Imagined(Fact):
        TYPE = "work.imagined"

    story = studio()
    event = replace(story.event("scene.omitted", SCENE, {}, NINE), fact=Imagined())
    with pytest.raises(KeyError, match=r"work\.imagined"):
        apply(Draft(story.state), event)


def test_what_was_not_decided_is_a_fault() -> None:
    story = studio()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    with pytest.raises(ValueError, match="cannot start"):
        fold(story.state, [story.event("work.started", SCENE, LAYOUT, ELEVEN)])


def test_a_strike_changes_nothing_by_itself() -> None:
    story = studio()
    strike = story.event("event.struck", "studio", {"position": 1, "why": "Wrong."}, NINE)
    assert fold(story.state, [strike]) == story.state


def test_nothing_folded_is_nothing_changed() -> None:
    assert fold(EMPTY, ()) == EMPTY


def test_a_fact_told_after_others_of_its_subject_is_marked_late() -> None:
    story = studio()
    first = story.tell("work.started", SCENE, LAYOUT, at=TEN)
    late = story.tell("hand-out.made", SCENE, {**LAYOUT, "artist": "a1"}, at=NINE)
    same = story.tell("hand-off.made", SCENE, LAYOUT, at=TEN)
    other = story.tell("work.started", "KESTREL-1/2", LAYOUT, at=NINE)
    assert [story.marks(event) for event in (first, late, same, other)] == [(), ("late",), (), ()]
    assert story.state.latest[SCENE] == first.time_us


def test_a_start_told_late_dates_the_visit() -> None:
    story = studio()
    story.tell("hand-off.made", SCENE, LAYOUT, at=NOON)
    late = story.tell("work.started", SCENE, LAYOUT, at=NINE)
    take = story.take(SCENE, "layout")
    assert (take.phase, take.started_us) == (Phase.HANDED_OFF, late.time_us)


def test_a_hand_off_told_late_of_a_take_already_taken_back() -> None:
    story = studio()
    story.desk(SCENE, "layout", start=NINE)
    story.call("R1", SCENE, "layout", "character", at=NOON, share=0.25)
    taken_back = story.take(SCENE, "layout")
    assert taken_back.carried_e4 > 0
    late = story.tell("hand-off.made", SCENE, LAYOUT, at=ELEVEN)
    take = story.take(SCENE, "layout")
    assert (take.number, take.carried_e4, take.shares) == (2, 0, (("R1", 2_500),))
    assert story.marks(late) == ("late",), "the take had been started"
