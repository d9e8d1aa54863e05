"""The plan of a design that must be approved, against dates counted by hand.

Mondays to Fridays, 9 to 17 in Lisbon, which keeps UTC in March; 3 March 2031 is a Monday. The
answer to a design of the cast takes three working days. Design makes 2 drawings a day, animation 5
feet, and the scene is 5 feet long.
"""

from service.planning.board.board import make_board
from service.planning.compare.impact import compare
from service.planning.plan.chain import critical_chain
from service.planning.plan.schedule import Schedule, schedule
from service.production.state import Node
from service.vocabulary.instants import US_PER_MIN, format_min, parse_instant
from tests.telling import APPROVING, Story, studio

SCENE, OTHER, IMP, ELF = "KESTREL-1/1", "KESTREL-1/2", "KESTREL:imp", "KESTREL:elf"
TUESDAY = "2031-03-04T10:00:00Z"


def story_of_designs(*, drawn: bool = True) -> Story:
    story = studio(scenes=2, episodes=("KESTREL-1",), route=APPROVING)
    for element, scene in ((IMP, SCENE), (ELF, OTHER)):
        story.tell("element.listed", element, {"kind": "cast", "drawings": 4})
        story.tell("element.used", element, {"scenes": [scene]})
        if drawn:
            story.desk(element, "design", start="2031-03-03T09:00:00Z", end="2031-03-03T16:00:00Z")
    for scene in (SCENE, OTHER):
        story.desk(scene, "layout", start="2031-03-03T09:00:00Z", end="2031-03-03T12:00:00Z")
    return story


def planned(story: Story, now: str = TUESDAY) -> Schedule:
    return schedule(make_board(story.state), parse_instant(now) // US_PER_MIN)


def span(plan: Schedule, node: Node) -> tuple[str, str]:
    row = plan.row(node)
    assert row is not None
    start, finish = (int(minutes[row]) for minutes in (plan.plan.start, plan.plan.finish))
    return format_min(start), format_min(finish)


def test_an_answer_comes_so_many_working_days_after_it_was_asked_for() -> None:
    story = story_of_designs()
    story.tell("approval.asked", IMP, at=TUESDAY)
    plan = planned(story, "2031-03-05T15:00:00Z")
    # Tuesday 10:00, and Wednesday, Thursday, Friday: the 7th at 10:00
    assert span(plan, (IMP, "approval")) == (TUESDAY, "2031-03-07T10:00:00Z")
    # a day of 8 hours from then: 7 on Friday, one on Monday
    animation = span(plan, (SCENE, "animation"))
    assert animation == ("2031-03-07T10:00:00Z", "2031-03-10T10:00:00Z")


def test_one_not_asked_about_yet_is_taken_to_be_asked_about_at_once() -> None:
    plan = planned(story_of_designs())
    # both at once: whoever answers is not one artist
    for element in (IMP, ELF):
        assert span(plan, (element, "approval")) == (TUESDAY, "2031-03-07T10:00:00Z")


def test_one_that_is_still_to_be_made_is_asked_about_when_it_is() -> None:
    plan = planned(story_of_designs(drawn=False))
    # two days for 4 drawings, one after the other: 7 hours on Tuesday, 8 on Wednesday, one on
    # Thursday the 6th; then Friday, Monday and Tuesday the 11th. The second two days later.
    by_start = sorted(span(plan, (element, "approval")) for element in (IMP, ELF))
    assert by_start == [
        ("2031-03-06T10:00:00Z", "2031-03-11T10:00:00Z"),
        ("2031-03-10T10:00:00Z", "2031-03-13T10:00:00Z"),
    ]


def test_days_off_do_not_count() -> None:
    story = story_of_designs()
    hours = [{"days": ["tuesday", "wednesday", "friday"], "opens": "09:00", "closes": "17:00"}]
    calendar = {"from_on": "2031-03-01", "shifts": hours, "days_off": ["2031-03-07"]}
    story.tell("calendar.set", "studio", calendar)
    story.tell("approval.asked", IMP, at=TUESDAY)
    # Wednesday the 5th, then Tuesday the 11th and Wednesday the 12th
    assert span(planned(story), (IMP, "approval"))[1] == "2031-03-12T10:00:00Z"


def test_an_overdue_answer_is_taken_to_come_in_the_next_minute() -> None:
    story = story_of_designs()
    story.tell("approval.asked", IMP, at=TUESDAY)
    plan = planned(story, "2031-03-10T11:30:00Z")
    assert span(plan, (IMP, "approval"))[1] == "2031-03-10T11:31:00Z"


def test_what_is_approved_holds_nothing_up() -> None:
    story = story_of_designs()
    story.tell("approval.asked", IMP, at=TUESDAY)
    story.tell("approval.given", IMP, {"by": "client"}, at=TUESDAY)
    plan = planned(story)
    assert span(plan, (SCENE, "animation"))[0] == TUESDAY


def test_delivery_waits_for_the_answer() -> None:
    plan = planned(story_of_designs())
    first = critical_chain(plan, "KESTREL-1")[0]
    item, department = plan.board.frame.nodes[first.row]
    assert (item in {IMP, ELF}, department) == (True, "approval")


def test_a_refusal_moves_what_waits_and_adds_work_to_whoever_makes_it() -> None:
    story = story_of_designs()
    for element in (IMP, ELF):
        story.tell("approval.asked", element, at=TUESDAY)
    before = planned(story, "2031-03-05T10:00:00Z")
    refused = {"by": "client", "retake": "R-IMP", "share": 0.5}
    story.tell("approval.refused", IMP, refused, at="2031-03-05T10:00:00Z")
    impact = compare(before, planned(story, "2031-03-05T10:00:00Z"))
    # 2 of 4 drawings again, a day of one designer; approval is nobody's work
    assert [(one.department, one.added_work_e4) for one in impact.departments] == [
        ("design", 20_000)
    ]
    reopened = {(one.item, one.department): one.take for one in impact.reopened}
    assert reopened == {(IMP, "design"): 2, (IMP, "approval"): 2}
    # made again by Thursday 10:00, and approved three working days later, on the 11th
    plan = planned(story, "2031-03-05T10:00:00Z")
    assert span(plan, (IMP, "approval")) == ("2031-03-06T10:00:00Z", "2031-03-11T10:00:00Z")
    assert span(plan, (SCENE, "animation"))[0] == "2031-03-11T10:00:00Z"
