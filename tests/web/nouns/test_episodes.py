"""Episodes, their gates, and what their delivery waits for."""

from typing import Any

from tests.telling import ROUTE

from ..paper import Paper


def test_an_episode_tells_its_gates_and_how_its_visits_stand(opened: Paper) -> None:
    opened.desk("KESTREL-1/1", "layout", start="2031-03-03T08:00:00Z")
    opened.tell("scene.held", "KESTREL-1/2", {"owes": "client", "by_on": "2031-03-05"})
    opened.tell("scene.omitted", "KESTREL-1/3")
    first, second = opened.get("/episodes")["items"]
    # of 3 scenes with 5 visits and 3 visits of the episode; the storyboard is handed off
    assert first["visits"] == {
        "ahead": 4 + 4 + 2,
        "in_tray": 0,
        "held": 1,
        "on_desk": 1,
        "handed_off": 1,
        "omitted": 5,
    }
    assert first["scenes"] == 2
    assert second["visits"] == {
        "ahead": 3 * 4 + 2,
        "in_tray": 3,
        "held": 0,
        "on_desk": 0,
        "handed_off": 1,
        "omitted": 0,
    }
    assert [gate["gate"] for gate in first["gates"]] == ["rough-cut", "delivery"]
    rough_cut, delivery = first["gates"]
    assert (rough_cut["due_on"], rough_cut["date_holds"]) == (None, None)
    assert delivery["due_on"] == "2031-04-15"
    assert delivery["date_holds"] is True


def test_margins_are_working_days_to_the_date(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    # by hand: layout to Monday 13, animation to Tuesday 13, paint to Thursday 13, camera to 15,
    # cutting to Friday 15, mix to Monday the 10th; (10 March, 15 April] has 15 and 11 workdays
    delivery = paper.get("/episodes")["items"][0]["gates"][1]
    assert delivery == {
        "gate": "delivery",
        "due_on": "2031-04-15",
        "hard": False,
        "met_on": None,
        "projected_on": "2031-03-10",
        "margin_workdays": 26,
        "date_holds": True,
    }
    gate = {"gate": "delivery", "due_on": "2031-03-06"}
    paper.tell("gate.set", "KESTREL-1", gate, who="office")
    late = paper.get("/episodes")["items"][0]["gates"][1]
    # (6 March, 10 March]: Friday and Monday
    assert (late["margin_workdays"], late["date_holds"], late["hard"]) == (-2, False, False)


def test_delivery_waits_on_the_head_of_the_critical_chain(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    shown = paper.get("/episodes/KESTREL-1")
    chain = [(link["item"], link["department"]) for link in shown["critical_chain"]]
    scene = [("KESTREL-1/1", name) for name in ("layout", "animation", "paint", "camera")]
    assert chain == [*scene, ("KESTREL-1", "cutting"), ("KESTREL-1", "mix")]
    assert shown["waits_on"] == shown["critical_chain"][0]
    assert shown["waits_on"]["bound"] == "calendar"
    assert shown["waits_on"]["owes"] == "layout"
    assert {link["bound"] for link in shown["critical_chain"][1:]} == {"predecessor"}


def test_delivery_waits_on_who_has_it_and_on_who_owes_an_answer(paper: Paper) -> None:
    paper.open(1, ("KESTREL-1",))
    paper.move_clock("2031-03-03T10:00:00Z")
    paper.tell("scene.held", "KESTREL-1/1", {"owes": "client", "by_on": "2031-03-05"})
    waits_on = paper.get("/episodes/KESTREL-1")["waits_on"]
    assert (waits_on["bound"], waits_on["owes"], waits_on["state"]) == ("hold", "client", "held")
    assert waits_on["projected_start_at"] == "2031-03-06T09:00:00Z"
    paper.tell("scene.freed", "KESTREL-1/1")
    paper.desk("KESTREL-1/1", "layout", start="2031-03-03T09:00:00Z")
    waits_on = paper.get("/episodes/KESTREL-1")["waits_on"]
    assert (waits_on["bound"], waits_on["artist"]) == ("on_desk", "layout-7")


def test_an_episode_tells_its_length_in_frames_and_feet(opened: Paper) -> None:
    opened.tell("scene.retimed", "KESTREL-1/1", {"frames": 81}, who="office")
    opened.tell("scene.omitted", "KESTREL-1/3")
    shown = opened.get("/episodes/KESTREL-1")
    # 161 frames: ten feet of 16 and one frame
    # and at 24 a second six seconds and 17
    length = {"frames_in_all": 161, "feet": 10, "frames": 1, "timecode": "00:00:06:17"}
    assert shown["length"] == length
    assert (shown["format_length"], shown["against_format"]) == (None, None)
    assert (shown["drawings"], shown["scenes"], shown["scenes_omitted"]) == (80, 2, 1)
    own = [(visit["department"], visit["state"]) for visit in shown["episode_visits"]]
    assert own == [("storyboard", "handed_off"), ("cutting", "ahead"), ("mix", "ahead")]


def test_an_episode_is_held_against_its_format_length(paper: Paper) -> None:
    paper.open(3, ("KESTREL-1",))
    paper.tell("episode.opened", "KESTREL-9", {"title": "Nine", "frames": 200}, who="office")

    def against(**frames: int) -> tuple[dict[str, Any], dict[str, Any]]:
        for number, length in frames.items():
            scene = f"KESTREL-9/{number.removeprefix('s')}"
            paper.tell("scene.listed", scene, {"frames": length}, who="office")
        return compared()

    def compared() -> tuple[dict[str, Any], dict[str, Any]]:
        shown = paper.get("/episodes/KESTREL-9")
        listed = paper.get("/episodes")["items"][-1]
        named = ("length", "format_length", "against_format")
        assert [shown[name] for name in named] == [listed[name] for name in named]
        # 200 frames: 12 feet are 192, and 8; 8 seconds are 192, and 8
        whole = {"frames_in_all": 200, "feet": 12, "frames": 8, "timecode": "00:00:08:08"}
        assert shown["format_length"] == whole
        return shown["length"], shown["against_format"]

    def length(in_all: int, feet: int, frames: int, timecode: str) -> dict[str, Any]:
        return {"frames_in_all": in_all, "feet": feet, "frames": frames, "timecode": timecode}

    # 90 and 95: 185 frames, 11 feet (176) and 9, 7 seconds (168) and 17; short by 15
    total, beside = against(s1=90, s2=95)
    assert total == length(185, 11, 9, "00:00:07:17")
    assert beside == {"stands": "short", "by": length(15, 0, 15, "00:00:00:15")}
    # retimed from 95 to 110: 200, as it should be
    paper.tell("scene.retimed", "KESTREL-9/2", {"frames": 110}, who="office")
    assert compared()[1] == {"stands": "exact", "by": length(0, 0, 0, "00:00:00:00")}
    # a third of 41: 241 frames, 15 feet (240) and 1, 10 seconds (240) and 1; over by 41,
    # which is 2 feet (32) and 9, a second (24) and 17
    total, beside = against(s3=41)
    assert total == length(241, 15, 1, "00:00:10:01")
    assert beside == {"stands": "over", "by": length(41, 2, 9, "00:00:01:17")}
    # without the first: 151, short by 49: 3 feet (48) and 1, two seconds (48) and 1; and back
    paper.tell("scene.omitted", "KESTREL-9/1")
    assert compared()[1] == {"stands": "short", "by": length(49, 3, 1, "00:00:02:01")}
    paper.tell("scene.restored", "KESTREL-9/1")
    assert compared() == (total, beside)


def test_lengths_are_shown_in_the_time_code_of_the_show(opened: Paper) -> None:
    show = {"title": "Merlin", "frames_per_second": 30, "timecode": "29.97-drop"}
    opened.tell("show.opened", "MERLIN", show, who="office")
    opened.tell("route.laid", "MERLIN", ROUTE, who="office")
    # a minute of 30 numbers a second has 1,800; the first two numbers of the second minute are
    # left out, so that the frame after them is called 2 (the rule of SMPTE ST 12-1)
    opened.tell("episode.opened", "MERLIN-1", {"title": "One", "frames": 1_800}, who="office")
    shown = opened.get("/episodes/MERLIN-1")
    assert shown["format_length"]["timecode"] == "00:01:00;02"
    assert opened.get("/shows/MERLIN")["timecode"] == "29.97-drop"


def test_a_delivered_episode(opened: Paper) -> None:
    opened.move_clock("2031-03-10T12:00:00Z")
    opened.desk("KESTREL-1/1", "layout", start="2031-03-10T09:00:00Z", end=opened.now)
    opened.tell("scene.omitted", "KESTREL-1/3")
    opened.tell("episode.delivered", "KESTREL-1")
    shown = opened.get("/episodes/KESTREL-1")
    assert shown["delivered_at"] == "2031-03-10T12:00:00Z"
    assert (shown["waits_on"], shown["critical_chain"]) == (None, [])
    delivery = shown["gates"][1]
    assert (delivery["projected_on"], delivery["margin_workdays"]) == ("2031-03-10", 26)
    # what was left undone is told as it stands, without a plan
    assert shown["visits"] == {
        "ahead": 3 + 4 + 2 - 1,
        "in_tray": 1 + 1 + 1,
        "held": 0,
        "on_desk": 0,
        "handed_off": 2,
        "omitted": 5,
    }


def test_episodes_are_chosen_by_show_and_by_delivery(opened: Paper) -> None:
    opened.tell("episode.delivered", "KESTREL-2")

    def named(query: str) -> list[str]:
        return [one["episode"] for one in opened.get(f"/episodes?{query}")["items"]]

    assert named("show=KESTREL") == ["KESTREL-1", "KESTREL-2"]
    assert named("show=ASTER") == []
    assert named("delivered=true") == ["KESTREL-2"]
    assert named("delivered=false") == ["KESTREL-1"]


def test_wrong_filters_are_refused(opened: Paper) -> None:
    for neither in ("yes", "True", "1", ""):
        assert opened.refused(f"/episodes?delivered={neither}") == (
            400,
            "invalid-query",
            [("?delivered", "not-a-flag")],
        )
    assert opened.refused("/episodes?show=kestrel")[2] == [("?show", "wrong-form")]
    assert opened.refused("/episodes?shows=KESTREL")[2] == [("?shows", "unknown-argument")]
    assert opened.refused("/episodes/KESTREL-9") == (404, "not-found", [])
