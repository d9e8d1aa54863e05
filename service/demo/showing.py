"""An order and an impact, as the service answers with them, printed for people to read."""

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Console
from rich.table import Table

SHOWN_ITEMS = 10
SHOWN_SCENES = 8


def show_order(say: Console, order: Mapping[str, Any]) -> None:
    """Print what a priced order costs, line by line."""
    price = order["price"]
    say.rule(f"Change order {order['order']}, {order['standing']}")
    say.print(f"Asked for by the {order['asked_by']}: {order['words']}\n")
    table = Table(box=None, pad_edge=False)
    for title in ("line", "change", "of", price["currency"]):
        table.add_column(title, justify="right" if title == price["currency"] else "left")
    for line, amount in zip(order["lines"], price["lines"], strict=True):
        about = line.get("items") or [line.get("scene") or line.get("element") or line["what"]]
        table.add_row(str(amount["line"]), line["change"], ", ".join(about), amount["amount"])
    table.add_row("", "", "in all", price["total"])
    say.print(table)
    _show_cautions(say, order)
    say.print(f"Its approval recorded {len(order['facts'])} facts.\n")


def show_impact(say: Console, retake: Mapping[str, Any], impact: Mapping[str, Any]) -> None:
    """Print an impact for people to read."""
    data = retake["data"]
    say.rule(f"Retake {data['retake']}")
    named = ", ".join(data.get("items") or [retake["subject"]])
    say.print(
        f"{data['kind'].capitalize()} ({data['urgency']}): {named}, back to {data['back_to']}, "
        f"asked by {data.get('asked_by', 'studio')}.\n{data.get('why', '')}\n"
    )
    _show_reopened(say, impact["reopened"])
    _show_departments(say, impact)
    _show_scenes(say, impact["scenes"])
    _show_episodes(say, impact["episodes"])
    _show_cautions(say, impact)


def _show_cautions(say: Console, answer: Mapping[str, Any]) -> None:
    for caution in answer.get("cautions", ()):
        say.print(f"Note: {caution}")


def _show_reopened(say: Console, reopened: Sequence[Mapping[str, Any]]) -> None:
    by_item: dict[str, list[Mapping[str, Any]]] = {}
    for visit in reopened:
        by_item.setdefault(visit["item"], []).append(visit)
    say.print(f"What went back, and why: {len(reopened)} visits of {len(by_item)} items")
    for item, visits in list(by_item.items())[:SHOWN_ITEMS]:
        own = ", ".join(
            f"{visit['department']} take {visit['take']} ({visit['work']:g} {visit['unit']})"
            for visit in visits
        )
        say.print(f"  {item}: {own}; {_cause(item, visits[0])}")
    if len(by_item) > SHOWN_ITEMS:
        say.print(f"  and {len(by_item) - SHOWN_ITEMS} more items")
    say.print()


def _cause(item: str, visit: Mapping[str, Any]) -> str:
    """What brought a retake to an item: the last visit of another item on the way to it."""
    before = [step for step in visit["because"] if step["item"] != item]
    if not before:
        return "named by the retake"
    return f"behind {before[-1]['item']} at {before[-1]['department']}"


def _show_departments(say: Console, impact: Mapping[str, Any]) -> None:
    table = Table(title="Added work", title_justify="left", box=None, pad_edge=False)
    for title in ("department", "work", "unit", "artist-days"):
        table.add_column(title, justify="right" if title in ("work", "artist-days") else "left")
    for row in impact["departments"]:
        table.add_row(
            row["department"],
            f"{row['added_work']:+,.2f}",
            row["unit"],
            "" if row["added_artist_days"] is None else f"{row['added_artist_days']:+,.2f}",
        )
    say.print(table)


def _show_scenes(say: Console, scenes: Sequence[Mapping[str, Any]]) -> None:
    again = [
        scene
        for scene in scenes
        if scene["finish_before"] and scene["open_after"] and not scene["open_before"]
    ]
    later = [scene for scene in scenes if (scene["slip_workdays"] or 0) > 0]
    say.print(
        f"\nScenes whose finish moves: {len(scenes)}, by a day or more: {len(later)}, "
        f"done and open again: {len(again)}"
    )
    for scene in sorted(later, key=lambda scene: -scene["slip_workdays"])[:SHOWN_SCENES]:
        say.print(f"  {scene['scene']}: {scene['slip_workdays']} working days later")
    for scene in again[:SHOWN_SCENES]:
        say.print(f"  {scene['scene']}: done, open again")


def _show_episodes(say: Console, episodes: Sequence[Mapping[str, Any]]) -> None:
    table = Table(
        title="\nEvery delivery, before and after; margins in working days",
        title_justify="left",
        box=None,
        pad_edge=False,
    )
    for title in ("episode", "due", "before", "after", "margin", "", "the date"):
        table.add_column(title, justify="right" if title == "margin" else "left", no_wrap=True)
    for row in episodes:
        holds = row["date_holds"]
        was, now = row["margin_workdays_before"], row["margin_workdays_after"]
        table.add_row(
            row["episode"],
            row["due_on"] or "none set",
            row["delivery_before"] or "unplanned",
            row["delivery_after"] or "unplanned",
            "" if was is None else f"{was:+d}",
            "" if now is None else f"to {now:+d}",
            "" if holds is None else "holds" if holds else "is missed",
        )
    say.print(table)
    say.print()
