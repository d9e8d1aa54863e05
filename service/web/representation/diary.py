"""An episode's diary as JSON, CSV and plain text show it."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import orjson

from service.feeds.table import Cell
from service.planning.compare.diary import Delivery
from service.production.marks import LATE
from service.projections.diary import Told
from service.web.representation.departments import shown_suppositions
from service.web.representation.sentences import WITHHELD, sentence
from service.web.representation.values import Shown, shown_on, shown_us

COLUMNS = (
    "position",
    "time",
    "recordedat",
    "poster",
    "role",
    "type",
    "subject",
    "sentence",
    "words",
    "marks",
    "struck_at",
    "changes",
    "delivery_before",
    "delivery_after",
    "margin_workdays_before",
    "margin_workdays_after",
    "not_working",
)


def shown_entry(told: Told, words: Mapping[str, bytes], *, withheld: bool) -> Shown:
    """An entry; `words` are the personal members that may be read, as JSON by JSON pointer.

    Of an event that is withheld the marks are left out but that it is late, which its envelope says
    too: they come of what it says.
    """
    event = told.event
    marks = [mark for mark in told.marks if not withheld or mark == LATE]
    return {
        "position": event.position,
        "time": shown_us(event.time_us),
        "recordedat": shown_us(event.recorded_us),
        "poster": event.poster,
        "role": event.role or None,
        "type": event.fact.TYPE,
        "subject": event.subject,
        "sentence": WITHHELD if withheld else sentence(event),
        "words": words,
        "withheld": withheld,
        "marks": marks,
        "late": LATE in marks,
        "struck_at": told.struck_at,
        "changes": [change._asdict() for change in told.changes],
        "delivery": _shown_delivery(told.before, told.after),
        "suppositions": shown_suppositions(told.supposed),
        "no_plan": None if told.unplanned is None else {"item": told.unplanned.item},
    }


def _shown_delivery(before: Delivery | None, after: Delivery | None) -> Shown | None:
    if before is None or after is None:
        return None
    return {
        "before": shown_on(before.on),
        "after": shown_on(after.on),
        "open_before": before.is_open,
        "open_after": after.is_open,
        "margin_workdays_before": before.margin_workdays,
        "margin_workdays_after": after.margin_workdays,
    }


def cells(entry: Shown) -> list[Cell]:
    """The cells of COLUMNS."""
    moved = entry["delivery"] or {}
    plain = {name: entry.get(name) for name in COLUMNS}
    plain |= {
        "words": _words(entry["words"]),
        "marks": " ".join(entry["marks"]),
        "changes": "; ".join(_counted(entry["changes"])),
        "delivery_before": moved.get("before"),
        "delivery_after": moved.get("after"),
        "margin_workdays_before": moved.get("margin_workdays_before"),
        "margin_workdays_after": moved.get("margin_workdays_after"),
        "not_working": " ".join(one["department"] for one in entry["suppositions"]),
    }
    return [plain[name] for name in COLUMNS]


def as_json(entry: Shown) -> Shown:
    """An entry for JSON, with its words as they were kept."""
    words = {pointer: orjson.Fragment(raw) for pointer, raw in entry["words"].items()}
    return {**entry, "words": words}


def _words(words: Mapping[str, bytes]) -> str:
    return " / ".join(str(orjson.loads(raw)) for raw in words.values())


def _counted(changes: Sequence[Mapping[str, Any]]) -> list[str]:
    """Changes that are alike together: `animation take 2 reopened (3)`."""
    alike = Counter((one["department"], one["take"], one["change"]) for one in changes)
    return [
        f"{department} take {take} {change.replace('_', ' ')}"
        + (f" ({count})" if count > 1 else "")
        for (department, take, change), count in alike.items()
    ]


def diary_text(episode: str, entries: Iterable[Shown]) -> str:
    """The entries to be read, a paragraph each."""
    parts = [f"{episode}: what happened, in the order in which it was recorded\n"]
    for entry in entries:
        by = entry["role"] or entry["poster"]
        lines = [f"{entry['time']}  {entry['sentence']}"]
        lines += [f'    "{words}"' for words in [_words(entry["words"])] if words]
        lines.append(f"    event {entry['position']}, recorded {entry['recordedat']} by {by}")
        if entry["marks"]:
            lines.append(f"    marked: {', '.join(entry['marks'])}")
        if entry["struck_at"] is not None:
            lines.append(f"    struck by event {entry['struck_at']}: it does not count any more")
        lines += [f"    {change}" for change in _counted(entry["changes"])]
        moved = _moved(entry["delivery"])
        if moved:
            lines.append(f"    {moved}{_supposed(entry)}")
        if entry["no_plan"] is not None:
            lines.append("    no plan could be made of the record as it was then")
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _supposed(entry: Shown) -> str:
    """What a date rests on where some department did not work."""
    return "".join(
        f"; {one['department']} did not work and was taken to go on at {one['taken_to_end_at']}"
        for one in entry["suppositions"]
    )


def _moved(moved: Mapping[str, Any] | None) -> str:
    """Where the delivery went, if it did."""
    if moved is None or moved["before"] == moved["after"]:
        return ""
    before, after = moved["before"] or "no date", moved["after"] or "no date"
    margin = moved["margin_workdays_after"]
    left = "" if margin is None else f", margin {margin} working days"
    if moved["before"] and moved["open_after"] and moved["open_before"] is False:
        return f"delivery, made on {before}, is open again: {after}{left}"
    made = ", made then" if moved["open_after"] is False else ""
    return f"delivery from {before} to {after}{made}{left}"
