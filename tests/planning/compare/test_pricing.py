"""What orders cost: examples worked out by hand beside them, and what holds for every order.

Minor units of currencies by ISO 4217: 2 decimals of EUR, none of JPY, 3 of KWD.
"""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.planning.compare.pricing import Quote, quote, works_between
from service.production.account import account
from service.production.refusal import Refusal
from service.vocabulary.instants import parse_instant
from service.vocabulary.money import rounded
from tests.production.random_logs import LOGS, SEEDS, furnished, tell_at_random
from tests.production.random_logs import OTHERS as WITH_ORDERS
from tests.properties import tried
from tests.telling import APPROVING, CREWS, Story, studio

EIGHT, NINE, TEN = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (8, 9, 10))
AT = "2031-03-05T09:00:00Z"


def card(
    story: Story,
    currency: str = "EUR",
    credit: float = 1,
    from_on: str = "2031-01-01",
    **rates: str,
) -> None:
    data = {"currency": currency, "from_on": from_on, "credit": credit}
    story.tell("rate.set", "KESTREL", data | {"rates": dict.fromkeys(CREWS, "10") | rates})


def raised(story: Story, *lines: Mapping[str, Any], subject: str = "KESTREL-1") -> None:
    data = {"order": "CO-1", "asked_by": "client", "words": "Please.", "lines": list(lines)}
    story.tell("change-order.raised", subject, data, at=AT)


def quote_or_refusal(story: Story, at: str = AT) -> Quote | Refusal:
    return quote(story.state, "CO-1", len(story.events), parse_instant(at))


def quoted(story: Story, at: str = AT) -> Quote:
    answer = quote_or_refusal(story, at)
    assert isinstance(answer, Quote), answer
    return answer


def works(story: Story, number: int = 1) -> dict[str, tuple[float, float, float]]:
    """Redone, added and dropped work of a line by department, in its units."""
    return {
        work.department: (work.redone_e4 / 10_000, work.added_e4 / 10_000, work.dropped_e4 / 10_000)
        for work in quoted(story).lines[number - 1].works
    }


def test_a_background_redesigned_for_fourteen_scenes_of_which_nine_are_shot() -> None:
    # 14 scenes use the background. 9 are handed off by camera, 5 wait for it.
    # The redesign paints the background again, whole: 1 painting at 120.00. A painting reaches
    # camera alone, which redoes a scene whole: 9 scenes at 35.50 = 319.50; those that have not
    # been to camera are only later, and cost nothing. Cutting and mix have not begun.
    story = studio(scenes=14, episodes=("KESTREL-1",))
    scenes = [f"KESTREL-1/{number}" for number in range(1, 15)]
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    story.tell("element.used", "KESTREL:hall", {"scenes": scenes})
    story.desk("KESTREL:hall", "background", start=EIGHT, end=NINE)
    for scene in scenes[:9]:
        story.desk(scene, "camera", start=NINE, end=TEN)
    card(story, background="120", camera="35.50")
    raised(story, {"change": "redesign", "element": "KESTREL:hall"})
    (line,) = quoted(story).lines
    assert works(story) == {"background": (1, 0, 0), "camera": (9, 0, 0)}
    assert line.amount == Decimal("439.50")
    assert line.items == ("KESTREL:hall",)


def test_a_retake_while_a_correction_is_on_a_desk_is_of_the_whole_scene() -> None:
    # 5 feet handed off, a tenth of them called: half a foot, which was charged with the correction.
    # All of it again is 5 feet, 4.5 of them new, at 12.00, whether the correction has just been
    # begun or lies in the tray.
    line = {"change": "retake", "items": ["KESTREL-1/1"], "back_to": "animation", "share": 1}
    for begun in (False, True):
        story = studio(scenes=1, episodes=("KESTREL-1",))
        card(story, animation="12")
        story.desk("KESTREL-1/1", "animation", start=EIGHT, end=NINE)
        story.call("R1", "KESTREL-1/1", "animation", "character", at=TEN, share=0.1)
        if begun:
            story.desk("KESTREL-1/1", "animation", start=AT)
        raised(story, line | {"strands": ["character"]})
        assert works(story) == {"animation": (4.5, 0, 0)}
        assert quoted(story).total == Decimal("54.00")


def test_a_retake_charges_nothing_of_a_take_that_is_not_done_yet() -> None:
    # Of 5 feet some are done; a tenth of those is done again, less than half a foot. What was not
    # done yet had to be done anyhow. The account of the retake comes to the same once it is called.
    story = studio(scenes=1, episodes=("KESTREL-1",))
    card(story, animation="12")
    story.desk("KESTREL-1/1", "animation", start=EIGHT)
    line = {"change": "retake", "items": ["KESTREL-1/1"], "back_to": "animation", "share": 0.1}
    raised(story, line | {"strands": ["character"]})
    prices = {}
    for at in ("2031-03-04T10:00:00Z", "2031-03-04T11:30:00Z"):
        (work,) = quoted(story, at).lines[0].works
        assert 0 < work.redone_e4 < 5_000
        prices[at] = work.redone_e4
    story.call("R1", "KESTREL-1/1", "animation", "character", at=at, share=0.1)
    (row,) = account(story.state, ["R1"])
    assert row.work_e4 == prices[at] > prices["2031-03-04T10:00:00Z"]


def test_an_approval_that_is_needed_again_costs_nothing_itself() -> None:
    story = studio(scenes=1, episodes=("KESTREL-1",), route=APPROVING)
    card(story)
    story.tell("element.listed", "KESTREL:imp", {"kind": "cast", "drawings": 4})
    story.tell("element.used", "KESTREL:imp", {"scenes": ["KESTREL-1/1"]})
    story.desk("KESTREL:imp", "design", start=EIGHT, end=NINE)
    story.tell("approval.given", "KESTREL:imp", {"by": "client"}, at=TEN)
    raised(story, {"change": "redesign", "element": "KESTREL:imp"})
    # four drawings again at 10.00; nobody is paid for waiting for the answer
    assert works(story) == {"design": (4, 0, 0)}
    assert quoted(story).total == Decimal("40.00")


def test_a_retime_of_a_scene_that_another_is_same_as() -> None:
    # The second scene reuses the first's characters from camera on: it has no animation and no
    # paint of its own, so that only the first grows. 80 frames become 128: 3 feet more at 12.00;
    # 40 drawings become 55: 15 more at 0.80. 36.00 + 12.00 = 48.00.
    story = studio(scenes=2, episodes=("KESTREL-1",))
    same = {"source": "KESTREL-1/1", "joins": "camera", "strands": ["character"]}
    story.tell("same-as.declared", "KESTREL-1/2", same)
    card(story, animation="12", paint="0.80")
    raised(story, {"change": "retime", "scene": "KESTREL-1/1", "frames": 128, "drawings": 55})
    assert works(story) == {"animation": (0, 3, 0), "paint": (0, 15, 0)}
    assert quoted(story).total == Decimal("48.00")


def test_a_retime_changes_nothing_of_what_has_begun() -> None:
    # Animation has begun the scene, so that its 5 feet stay 5 unless a retake asks for more.
    story = studio(scenes=1, episodes=("KESTREL-1",))
    story.desk("KESTREL-1/1", "animation", start=NINE)
    card(story)
    raised(story, {"change": "retime", "scene": "KESTREL-1/1", "frames": 40, "drawings": 30})
    assert works(story) == {"paint": (0, 0, 10)}


def test_an_omission_half_way_down_the_line() -> None:
    # Layout is handed off and animation is on a desk: neither is credited. Background (1 painting
    # at 100), paint (40 drawings at 1.25) and camera (1 at 30) have not begun: 180.00, credited
    # by four fifths: 144.00.
    story = studio(scenes=2, episodes=("KESTREL-1",))
    story.desk("KESTREL-1/1", "layout", start=EIGHT, end=NINE)
    story.desk("KESTREL-1/1", "animation", start=NINE)
    card(story, credit=0.8, background="100", paint="1.25", camera="30")
    raised(story, {"change": "omit", "scene": "KESTREL-1/1"})
    assert works(story) == {"background": (0, 0, 1), "paint": (0, 0, 40), "camera": (0, 0, 1)}
    assert quoted(story).total == Decimal("-144.00")


def test_lines_add_up() -> None:
    # The scene added (48 frames: 3 feet; 20 drawings) costs 1 + 1 + 3 + 20 + 1 = 26 units at 10.
    # The second line retimes it to 32 frames: one foot fewer. The third takes it out again: 25
    # units less. What is left is nothing.
    story = studio(scenes=1, episodes=("KESTREL-1",))
    card(story)
    added = {"change": "add", "scene": "KESTREL-1/9", "frames": 48, "drawings": 20}
    raised(
        story,
        added,
        {"change": "retime", "scene": "KESTREL-1/9", "frames": 32},
        {"change": "omit", "scene": "KESTREL-1/9"},
    )
    assert quoted(story).amounts == (Decimal("260.00"), Decimal("-10.00"), Decimal("-250.00"))
    assert quoted(story).total == 0


def test_two_retakes_of_one_visit_ask_for_the_sum_of_their_shares() -> None:
    # Paint has handed off 40 drawings. The first line reopens a quarter: 10. The second, a half,
    # is absorbed by the take that waits: 30 in all, 20 more. Camera has not begun.
    story = studio(scenes=1, episodes=("KESTREL-1",))
    story.desk("KESTREL-1/1", "paint", start=EIGHT, end=NINE)
    card(story)
    call = {
        "change": "retake",
        "items": ["KESTREL-1/1"],
        "back_to": "paint",
        "strands": ["character"],
    }
    raised(story, {**call, "share": 0.25}, {**call, "drawings": 20})
    assert [works(story, number) for number in (1, 2)] == [
        {"paint": (10, 0, 0)},
        {"paint": (20, 0, 0)},
    ]


@pytest.mark.parametrize(
    ("currency", "rate", "fee", "amounts"),
    [
        # a scene's one painting is spared, at half the rate
        # 15 / 2 = 7.5 is half way between 7 and 8: 8 is even; 0.5 is half way: 0 is even
        ("JPY", "15", "0.5", ("-8", "0")),
        # 13 / 2 = 6.5: 6 is even; 1.5: 2 is even
        ("JPY", "13", "1.5", ("-6", "2")),
        # 1.0010 / 2 = 0.5005 is half way between 0.500 and 0.501; 2.0015 between 2.001 and 2.002
        ("KWD", "1.0010", "2.0015", ("-0.500", "2.002")),
        # 0.01 / 2 = 0.005; 0.015
        ("EUR", "0.01", "0.015", ("0.00", "0.02")),
    ],
)
def test_a_line_is_rounded_once_half_even_to_the_minor_unit(
    currency: str, rate: str, fee: str, amounts: tuple[str, ...]
) -> None:
    story = studio(scenes=2, episodes=("KESTREL-1",))
    rates = dict.fromkeys(CREWS, "0") | {"background": rate}
    card(story, currency, 0.5, **rates)
    raised(
        story,
        {"change": "omit", "scene": "KESTREL-1/2"},
        {"change": "fee", "amount": fee, "what": "Courier"},
    )
    answer = quoted(story)
    assert answer.amounts == tuple(map(Decimal, amounts))
    assert answer.amounts[0].as_tuple().exponent == Decimal(amounts[0]).as_tuple().exponent
    assert answer.total == sum(answer.amounts)


def test_the_card_of_the_studios_date_counts() -> None:
    # In Lisbon the 1st of July begins at 23:00 UTC of the 30th of June.
    story = studio(scenes=1, episodes=("KESTREL-1",))
    card(story)
    data = {"currency": "EUR", "from_on": "2031-07-01", "rates": dict.fromkeys(CREWS, "20")}
    story.tell("rate.set", "KESTREL", data)
    raised(story, {"change": "add", "scene": "KESTREL-1/9", "frames": 16})
    # one each of layout, background, animation and camera, no drawings
    assert quoted(story, "2031-06-30T22:59:00Z").total == Decimal("40.00")
    assert quoted(story, "2031-06-30T23:00:00Z").total == Decimal("80.00")


def test_work_without_a_rate_and_no_card_at_all_are_faults() -> None:
    story = studio(scenes=1, episodes=("KESTREL-1",))
    raised(story, {"change": "omit", "scene": "KESTREL-1/1"})
    answer = quote_or_refusal(story)
    assert isinstance(answer, Refusal)
    assert "no rate card in force on 2031-03-05" in answer.reasons[0].detail
    data = {"currency": "EUR", "from_on": "2031-01-01", "rates": {"layout": "10", "camera": "10"}}
    story.tell("rate.set", "KESTREL", data)
    answer = quote_or_refusal(story)
    assert isinstance(answer, Refusal)
    assert [reason.member for reason in answer.reasons] == ["/data/lines/0"] * 3
    for reason, name in zip(answer.reasons, ("background", "animation", "paint"), strict=True):
        assert name in reason.detail


def test_large_sums_are_exact() -> None:
    # 999,999,999,999.9999 a drawing for 9,999,999.9999 drawings has more digits than a decimal
    # carries by default
    story = studio(scenes=1, episodes=("KESTREL-1",))
    card(story, paint="999999999999.9999")
    work = {"paint": 9_999_999.9999}
    added = {"change": "add", "scene": "KESTREL-1/9", "frames": 16, "work": work}
    raised(story, added)
    # (10^12 - 10^-4) x (10^7 - 10^-4) = 10^19 - 10^8 - 10^3 + 10^-8; and 40 beside it
    assert quoted(story).total == Decimal("9999999999899999040.00")


@tried(30)
@given(LOGS)
def test_no_lines_cost_nothing(log: list[int]) -> None:
    story = tell_at_random(furnished(), log)
    card(story)
    raised(story)
    assert quoted(story).lines == ()
    assert quoted(story).total == 0


@tried(30)
@given(LOGS, st.lists(SEEDS, min_size=1, max_size=8))
def test_a_price_is_the_sum_of_its_lines_and_each_line_that_of_its_work(
    log: list[int], orders: list[int]
) -> None:
    story = tell_at_random(furnished(), log)
    card(story, from_on="2031-05-01")  # later than those of the log
    tell_at_random(story, orders, WITH_ORDERS[-1:])
    for code in story.state.orders:
        answer = quote(story.state, code, len(story.events), parse_instant("2031-05-05T09:00:00Z"))
        if isinstance(answer, Refusal):
            continue
        assert answer.total == sum(line.amount for line in answer.lines)
        for line in answer.lines:
            assert all(min(work[2:5]) >= 0 and max(work[2:5]) > 0 for work in line.works)
            # the card asks 10 a unit everywhere and credits all
            units = sum(work.redone_e4 + work.added_e4 - work.dropped_e4 for work in line.works)
            assert line.amount == rounded(Decimal(units) / 1000 + (line.fee or 0), "EUR")


@tried(30)
@given(LOGS)
def test_nothing_lies_between_a_state_and_itself(log: list[int]) -> None:
    story = tell_at_random(furnished(), log)
    assert works_between(story.state, story.state) == {}
