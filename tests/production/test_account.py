"""What retakes had redone, at what cost; sums worked out by hand beside them."""

from decimal import Decimal

import pytest
from hypothesis import given

from service.production.account import AccountRow, account, added_work
from service.production.state import State, item_of
from service.production.takes import take_work_e4
from service.production.totals import GROUPS, totals
from service.production.work import terms_for, terms_of_take
from tests.production.random_logs import LOGS, furnished, random_studio, tell_at_random
from tests.telling import Story, studio

PICTURE = ("background", "character")
RATES = {"layout": "40", "animation": "12.50", "camera": "0.333", "background": "100"}


def priced(**more: str) -> Story:
    """A studio with a card; layout of a scene handed off, its animation on a desk for two hours."""
    story = studio()
    story.tell("rate.set", "KESTREL", {"currency": "EUR", "from_on": "2031-01-01", "rates": RATES})
    for from_on, layout in more.items():
        card = {"currency": "EUR", "from_on": from_on, "rates": RATES | {"layout": layout}}
        story.tell("rate.set", "KESTREL", card)
    story.now = "2031-03-03T13:00:00Z"
    story.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T13:00:00Z")
    story.desk("KESTREL-1/1", "animation", start="2031-03-03T13:00:00Z")
    story.now = "2031-03-03T15:00:00Z"
    return story


def rows_of(story: Story, *codes: str) -> list[AccountRow]:
    return list(account(story.state, codes or story.state.retakes))


def figures(rows: list[AccountRow]) -> list[tuple[str | None, int, int, str | None]]:
    return [
        (row.department, row.visits, row.work_e4, None if row.cost is None else str(row.cost))
        for row in rows
    ]


def test_a_call_costs_what_it_added() -> None:
    story = priced()
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.25)
    # layout: a quarter of one scene at 40. Animation: five feet at five a day, two of eight hours
    # done, so 1.25 feet; a quarter of it is 0.3125 feet, at 12.50 3.90625. The 3.75 feet left over
    # are the first take's.
    assert figures(rows_of(story)) == [
        ("layout", 1, 2_500, "10.00"),
        ("animation", 1, 3_125, "3.91"),
    ]
    layout, animation = rows_of(story)
    assert (layout.unit, animation.unit) == ("scenes", "feet")
    # two scenes, five feet an artist-day
    assert (layout.artist_days_e4, animation.artist_days_e4) == (1_250, 625)
    assert (layout.show, layout.episode, layout.month) == ("KESTREL", "KESTREL-1", "2031-03")
    assert (layout.rate, layout.currency) == (Decimal(40), "EUR")


def test_calls_that_one_take_answers_share_its_work() -> None:
    story = priced()
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.25)
    story.call("R2", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-03T15:10:00Z", share=0.5)
    # three quarters of a scene, one for the first, two for the second; 0.9375 feet likewise
    assert figures(rows_of(story, "R1")) == [
        ("layout", 1, 2_500, "10.00"),
        ("animation", 1, 3_125, "3.91"),
    ]
    assert figures(rows_of(story, "R2")) == [
        ("layout", 1, 5_000, "20.00"),
        ("animation", 1, 6_250, "7.81"),  # 7.8125
    ]
    story.call("R3", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-03T15:20:00Z", share=1)
    # 1.75 asked for, one scene done: 1/7, 2/7 and 4/7 of it; what rounding leaves goes to the later
    layout = [rows_of(story, code)[0].work_e4 for code in ("R1", "R2", "R3")]
    assert layout == [1_428, 2_857, 5_715]


@pytest.mark.parametrize("begun", [False, True])
def test_a_call_while_a_correction_is_on_a_desk_is_of_the_whole_scene(begun: bool) -> None:
    # 5 feet handed off and a tenth of them called, half a foot; then all 5 are called. Together
    # the calls added 5 feet, of which the correction has its half a foot in either case.
    story = priced()
    story.tell("hand-off.made", "KESTREL-1/1", {"department": "animation"}, at=story.now)
    story.now = "2031-03-03T16:30:00Z"
    story.call("R1", "KESTREL-1/1", "animation", "character", at="2031-03-03T15:10:00Z", share=0.1)
    if begun:
        story.desk("KESTREL-1/1", "animation", start="2031-03-03T15:20:00Z")
    story.call("R2", "KESTREL-1/1", "animation", "character", at="2031-03-03T15:20:00Z", share=1)
    works = {code: rows_of(story, code)[0].work_e4 for code in ("R1", "R2")}
    if begun:
        assert works == {"R1": 5_000, "R2": 45_000}
        assert [str(rows_of(story, code)[0].cost) for code in works] == ["6.25", "56.25"]
    else:
        # one take answers both: in proportion to a tenth and a whole
        assert sum(works.values()) == 50_000


def test_the_least_work_of_a_department_counts() -> None:
    story = priced()
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.01)
    # a hundredth of a scene, but never less than a tenth
    assert figures(rows_of(story))[0] == ("layout", 1, 1_000, "4.00")


def test_the_card_of_the_day_of_the_call() -> None:
    story = priced(**{"2031-03-04": "50"})
    # Lisbon's winter time is UTC: the call is a minute before the new card's first day
    story.now = "2031-03-04T12:00:00Z"
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-03T23:59:00Z")
    story.call("R2", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-04T00:00:00Z")
    assert [rows_of(story, code)[0].cost for code in ("R1", "R2")] == [Decimal(20), Decimal(25)]


def test_a_department_without_a_rate_is_named_and_not_counted_as_nothing() -> None:
    story = priced()
    story.tell(
        "rate.set",
        "KESTREL",
        {"currency": "EUR", "from_on": "2031-03-01", "rates": {"animation": "12.50"}},
    )
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.25)
    layout, animation = rows_of(story)
    assert (layout.cost, layout.rate, layout.unpriced) == (None, None, True)
    assert (animation.cost, animation.unpriced) == (Decimal("3.91"), False)
    (total,) = totals(rows_of(story), ())
    assert (total.cost, total.unpriced) == (Decimal("3.91"), ("layout",))


def test_without_any_card_there_is_no_cost() -> None:
    story = studio()
    story.desk("KESTREL-1/1", "layout", start="2031-03-03T08:00:00Z", end="2031-03-03T08:00:00Z")
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-03T08:00:00Z")
    (total,) = totals(rows_of(story), ("kind",))
    assert (total.currency, total.cost, total.unpriced) == (None, None, ("layout",))
    assert total.of == ("correction",)


def test_what_several_episodes_share_is_rounded_once_and_adds_up() -> None:
    story = priced()
    # one background in two scenes of different episodes, both shot
    story.tell("element.listed", "KESTREL:PIER", {"kind": "background", "drawings": 1})
    story.tell("element.used", "KESTREL:PIER", {"scenes": ["KESTREL-1/2", "KESTREL-2/2"]})
    at = story.now
    story.desk("KESTREL:PIER", "background", start=at, end=at)
    for scene in ("KESTREL-1/2", "KESTREL-2/2"):
        story.desk(scene, "layout", "animation", "paint", "camera", start=at, end=at)
    story.call("R1", "KESTREL:PIER", "background", "background", at=at, share=0.5)
    rows = rows_of(story)
    # half a painting at 100; camera does the whole again: two scenes at 0.333 are 0.666, so 0.67,
    # of which 0.333 (0.33) is the first episode's and the rest the second's
    assert [(row.department, row.episode, str(row.cost)) for row in rows] == [
        ("background", None, "50.00"),
        ("camera", "KESTREL-1", "0.33"),
        ("camera", "KESTREL-2", "0.34"),
    ]
    assert [str(total.cost) for total in totals(rows, ("department",))] == ["50.00", "0.67"]
    assert [total.of for total in totals(rows, ("episode",))] == [
        ("KESTREL-1",),
        ("KESTREL-2",),
        (None,),
    ]


def test_a_call_withdrawn_counts_only_with_what_was_taken_up() -> None:
    story = priced()
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.25)
    story.tell("retake.withdrawn", "KESTREL-1/1", {"retake": "R1"}, at="2031-03-03T15:30:00Z")
    (row,) = rows_of(story)
    assert (row.department, row.visits, row.work_e4, row.cost) == (None, 0, 0, Decimal("0.00"))
    assert not row.unpriced
    story.call("R2", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-03T15:40:00Z", share=0.25)
    story.tell("work.started", "KESTREL-1/1", {"department": "layout"}, at="2031-03-03T15:50:00Z")
    story.tell("retake.bought-as-is", "KESTREL-1/1", {"retake": "R2"}, at="2031-03-03T16:00:00Z")
    # layout had begun, and animation must follow it
    assert [row.department for row in rows_of(story, "R2")] == ["layout", "animation"]


def test_of_a_scene_out_of_the_picture_only_what_was_begun_counts() -> None:
    story = priced()
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.25)
    story.desk("KESTREL-1/1", "layout", start=story.now, end="2031-03-03T15:30:00Z")
    story.tell("scene.omitted", "KESTREL-1/1", {}, at="2031-03-03T16:00:00Z")
    assert [row.department for row in rows_of(story)] == ["layout"]
    story.tell("scene.restored", "KESTREL-1/1", {}, at="2031-03-03T16:10:00Z")
    assert [row.department for row in rows_of(story)] == ["layout", "animation"]


def test_what_a_refused_hand_off_does_again_is_nobodys_call() -> None:
    story = priced()
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, share=0.25)
    story.desk("KESTREL-1/1", "layout", start=story.now, end="2031-03-03T15:30:00Z")
    refused = {"department": "animation", "sender": "layout", "share": 0.5}
    story.tell("hand-off.refused", "KESTREL-1/1", refused, at="2031-03-03T15:40:00Z")
    assert figures(rows_of(story))[0] == ("layout", 1, 2_500, "10.00")
    story.call("R2", "KESTREL-1/1", "layout", *PICTURE, at="2031-03-03T15:50:00Z", share=0.5)
    # an eighth of a scene to do again, and half a scene on top of it
    assert figures(rows_of(story, "R2"))[0] == ("layout", 1, 5_000, "20.00")
    assert figures(rows_of(story, "R1"))[0] == ("layout", 1, 2_500, "10.00")


def test_the_role_that_called_and_what_the_call_said() -> None:
    story = priced()
    data = {"found_at": "screening", "fault_of": "layout", "asked_by": "client", "kind": "retake"}
    story.call("R1", "KESTREL-1/1", "layout", *PICTURE, at=story.now, **data)
    (total,) = totals(rows_of(story), tuple(GROUPS)[3:8])
    assert total.of == ("retake", "client", "screening", "supervisor", "layout")


@given(LOGS)
def test_parts_add_up_to_every_takes_work(seeds: list[int]) -> None:
    for story in (random_studio(seeds), tell_at_random(furnished(), seeds)):
        assert_parts_add_up(story.state)
        assert_sums_agree(rows_of(story))


def assert_parts_add_up(state: State) -> None:
    for name, visits in state.visits.items():
        item = item_of(state, name)
        assert item is not None
        for department, visit in visits.items():
            for take in visit.takes:
                terms = terms_of_take(state, item, department, take)
                parts = added_work(take, terms, terms_for(state, item, department, take.settled_us))
                assert set(parts) == {code for code, _ in take.shares}
                assert all(part >= 0 for part in parts.values())
                if take.number > 1 and take.shares and take.settled < 0:
                    assert sum(parts.values()) + take.carried_e4 == take_work_e4(take, terms)


def assert_sums_agree(rows: list[AccountRow]) -> None:
    work = sum(row.work_e4 for row in rows)
    for by in ((), ("department",), ("episode", "kind"), ("month",)):
        found = totals(rows, by)
        assert sum(row.visits for row in rows) == sum(total.visits for total in found)
        assert work == sum(amount for total in found for _, _, amount in total.work_e4)
        assert sum(row.cost for row in rows if row.cost) == sum(
            total.cost for total in found if total.cost
        )
