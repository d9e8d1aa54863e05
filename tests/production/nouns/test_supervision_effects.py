"""What facts of supervision, of talk and of desks change besides takes."""

from datetime import date

from tests.telling import studio

NINE, TEN, ELEVEN, NOON = (f"2031-03-04T{hour:02d}:00:00Z" for hour in (9, 10, 11, 12))
SCENE = "KESTREL-1/1"


def test_a_hold_says_who_owes_and_by_when_until_the_scene_is_freed() -> None:
    story = studio()
    event = story.tell("scene.held", SCENE, {"owes": "client", "by_on": "2031-03-20"}, at=TEN)
    hold = story.state.scenes[SCENE].hold
    assert hold is not None
    assert (hold.position, hold.owes, hold.by_on, hold.since_us) == (
        event.position,
        "client",
        date(2031, 3, 20),
        event.time_us,
    )
    story.tell("scene.freed", SCENE, at=ELEVEN)
    assert story.state.scenes[SCENE].hold is None


def test_the_latest_order_goes_first() -> None:
    story = studio()
    for scene in (SCENE, "KESTREL-1/2"):
        story.tell("visit.put-first", scene, {"department": "layout"}, at=NINE)
    orders = story.state.put_first
    assert max(orders, key=lambda node: orders[node]) == ("KESTREL-1/2", "layout")
    story.tell("visit.put-first", SCENE, {"department": "layout"}, at=TEN)
    orders = story.state.put_first
    assert max(orders, key=lambda node: orders[node]) == (SCENE, "layout")


def test_an_order_is_spent_once_the_visit_is_on_a_desk_or_handed_off() -> None:
    for type_ in ("work.started", "hand-off.made"):
        story = studio()
        story.tell("visit.put-first", SCENE, {"department": "layout"}, at=NINE)
        story.tell(type_, SCENE, {"department": "layout"}, at=TEN)
        assert (SCENE, "layout") not in story.state.put_first


def test_an_order_outlives_a_hand_out_and_an_earlier_take_told_late() -> None:
    story = studio()
    story.tell("hand-off.made", SCENE, {"department": "layout"}, at=TEN)
    story.call("R1", SCENE, "layout", "character", at=ELEVEN)
    story.tell("visit.put-first", SCENE, {"department": "layout"}, at=NOON)
    story.tell("work.started", SCENE, {"department": "layout"}, at=NINE)
    assert story.take(SCENE, "layout").number == 2
    assert (SCENE, "layout") in story.state.put_first
    story.tell("hand-out.made", SCENE, {"department": "layout", "artist": "a1"}, at=NOON)
    assert (SCENE, "layout") in story.state.put_first


def test_an_order_is_spent_when_the_take_it_was_for_is_withdrawn() -> None:
    story = studio()
    story.tell("hand-off.made", SCENE, {"department": "layout"}, at=TEN)
    story.call("R1", SCENE, "layout", "character", at=ELEVEN)
    story.tell("visit.put-first", SCENE, {"department": "layout"}, at=NOON)
    story.tell("retake.withdrawn", SCENE, {"retake": "R1"}, at=NOON)
    assert (SCENE, "layout") not in story.state.put_first


def test_priorities_of_scenes_elements_and_episodes() -> None:
    story = studio()
    story.tell("element.listed", "KESTREL:hall", {"kind": "background"})
    for item, priority in ((SCENE, 3), ("KESTREL:hall", -2), ("KESTREL-1", 1)):
        story.tell("priority.set", item, {"priority": priority})
    assert story.state.scenes[SCENE].priority == 3
    assert story.state.elements["KESTREL:hall"].priority == -2
    assert story.state.episodes["KESTREL-1"].priority == 1


def test_a_note_is_open_until_it_is_answered() -> None:
    story = studio()
    note = {"note": "N1", "to": "paint", "text": "The ear is the wrong colour."}
    given = story.tell("note.given", SCENE, note, at=NINE)
    noted = story.state.notes["N1"]
    assert (noted.position, noted.item, noted.to) == (given.position, SCENE, "paint")
    assert noted.answered_us == -1
    answer = story.tell("note.answered", SCENE, {"note": "N1"}, at=TEN)
    noted = story.state.notes["N1"]
    assert (noted.answered_us, noted.answered_position) == (answer.time_us, answer.position)


def test_a_stoppage_lasts_until_the_department_goes_on() -> None:
    story = studio()
    stop = {"department": "paint", "expected_end_at": NOON}
    stopped = story.tell("department.stopped", "studio", stop, at=NINE)
    (stoppage,) = story.state.stoppages["paint"]
    assert (stoppage.position, stoppage.stopped_us, stoppage.resumed_us) == (
        stopped.position,
        stopped.time_us,
        -1,
    )
    resumed = story.tell("department.resumed", "studio", {"department": "paint"}, at=ELEVEN)
    (stoppage,) = story.state.stoppages["paint"]
    assert stoppage.resumed_us == resumed.time_us


def test_delivery_and_acceptance_are_dated() -> None:
    story = studio()
    bought = story.tell("scene.bought", SCENE, at=NINE)
    delivered = story.tell("episode.delivered", "KESTREL-1", at=TEN)
    assert story.state.scenes[SCENE].bought_us == bought.time_us
    assert story.state.episodes["KESTREL-1"].delivered_us == delivered.time_us


def test_a_call_keeps_what_it_said() -> None:
    story = studio()
    story.desk(SCENE, "layout", start=NINE, end=TEN)
    retake = story.call(
        "R1",
        SCENE,
        "layout",
        "character",
        at=ELEVEN,
        kind="revision",
        urgency="must-fix",
        found_at="screening",
        fault_of="layout",
        asked_by="broadcaster",
        levels=["A"],
        why="Wrong hat.",
    )
    assert (retake.kind, retake.urgency, retake.found_at) == ("revision", "must-fix", "screening")
    assert (retake.fault_of, retake.asked_by, retake.items) == ("layout", "broadcaster", (SCENE,))
    assert (retake.share_e4, retake.drawings, retake.standing) == (5_000, None, "standing")
