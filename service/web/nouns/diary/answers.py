"""An episode's diary as JSON, CSV and plain text show it."""

import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated

import orjson
from msgspec import Raw

from service.feeds.table import Cell
from service.planning.compare.diary import CHANGES, Delivery
from service.production.marks import LATE
from service.production.nouns import sentence
from service.projections.diary import DiaryEntry
from service.vocabulary.instants import format_instant
from service.web.answers import Day, Instant, Shown, SuppositionShown, note, one_of, page_of
from service.web.nouns.stoppages import shown_suppositions
from service.web.nouns.values import shown_on
from service.web.schemas.events import is_member

_ESCAPED = frozenset({"Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp"})
"""Unicode's categories of controls, formats, lone surrogates, ends of lines and paragraphs, and of
what it has not assigned or leaves to private use."""
_JOINERS = "\u200c\u200d"
"""Formats that scripts need within words."""
WITHHELD = "Something about money was recorded, which this role may not read."
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


class TakeChangeShown(Shown):
    """What became of a take."""

    item: Annotated[str, note("The item: the episode, a scene or an element.")]
    department: Annotated[str, note("Where.")]
    take: Annotated[int, note("Which take.")]
    change: Annotated[str, one_of(CHANGES, "What became of it.")]


class DeliveryMoveShown(Shown):
    """The episode's projected delivery by the plans of the moment at which it was recorded."""

    before: Annotated[Day | None, note("Without the event; null where it cannot be said.")]
    after: Annotated[Day | None, note("With it.")]
    open_before: Annotated[
        bool | None,
        note(
            "Whether something that meets it was not handed off without the event; else `before` "
            "is when the delivery was made. null: there was no such episode."
        ),
    ]
    open_after: Annotated[bool | None, note("The same with it.")]
    margin_workdays_before: Annotated[
        int | None, note("Working days to the date that is set; null: none.")
    ]
    margin_workdays_after: Annotated[int | None, note("The same with it.")]


class NoPlanShown(Shown):
    """A fault in the service that keeps plans from being made."""

    item: Annotated[str | None, note("The item that it was met at; null: no single one's.")]


class EntryShown(Shown):
    """An event about the episode, and what it changed as the record was then."""

    position: Annotated[int, note("Its position.")]
    time: Annotated[Instant, note("When it happened.")]
    recordedat: Annotated[Instant, note("When the log took it.")]
    poster: Annotated[str, note("The token that recorded it.")]
    role: Annotated[str | None, note("The role of that token; null in the oldest records.")]
    type: Annotated[str, note("Its type.")]
    subject: Annotated[str, note("What it is about.")]
    sentence: Annotated[str, note("What it says.")]
    words: Annotated[
        dict[str, Raw], note("What people wrote, by JSON pointer, as far as it may be read.")
    ]
    withheld: Annotated[bool, note("Whether what it says is kept from this role.")]
    marks: Annotated[
        Sequence[str],
        note("How it was marked when it was recorded; of a withheld one, only that it is late."),
    ]
    late: Annotated[
        bool, note("Whether it was recorded later than a fact of the same subject that came after.")
    ]
    struck_at: Annotated[
        int | None, note("The strike by which it does not count any more; null: it stands.")
    ]
    changes: Annotated[
        list[TakeChangeShown], note("Takes of this episode and its elements that it changed.")
    ]
    delivery: Annotated[
        DeliveryMoveShown | None, note("null where no plan depends on it, or none could be made.")
    ]
    suppositions: Annotated[
        list[SuppositionShown],
        note(
            "Departments that did not work then, and when the plan with the event took them to go "
            "on; empty where there is no `delivery`."
        ),
    ]
    no_plan: Annotated[
        NoPlanShown | None,
        note("That no plan could be made of the record as it was then; else null."),
    ]


def shown_entry(entry: DiaryEntry, words: Mapping[str, bytes], *, withheld: bool) -> EntryShown:
    """An entry; `words` are the personal members that may be read, as JSON by JSON pointer.

    Of an event that is withheld the marks are left out but that it is late, which its envelope says
    too: they come of what it says.
    """
    event = entry.event
    marks = [mark for mark in entry.marks if not withheld or mark == LATE]
    return EntryShown(
        position=event.position,
        time=format_instant(event.time_us),
        recordedat=format_instant(event.recorded_us),
        poster=event.poster,
        role=event.role or None,
        type=event.fact.TYPE,
        subject=event.subject,
        sentence=WITHHELD if withheld else sentence(event),
        words={pointer: Raw(raw) for pointer, raw in words.items()},
        withheld=withheld,
        marks=marks,
        late=LATE in marks,
        struck_at=entry.struck_at,
        changes=[TakeChangeShown(**change._asdict()) for change in entry.changes],
        delivery=_shown_delivery(entry.before, entry.after),
        suppositions=shown_suppositions(entry.supposed),
        no_plan=None
        if entry.unplanned is None
        else NoPlanShown(
            item=entry.unplanned.item,
        ),
    )


def _shown_delivery(before: Delivery | None, after: Delivery | None) -> DeliveryMoveShown | None:
    if before is None or after is None:
        return None
    return DeliveryMoveShown(
        before=shown_on(before.on),
        after=shown_on(after.on),
        open_before=before.is_open,
        open_after=after.is_open,
        margin_workdays_before=before.margin_workdays,
        margin_workdays_after=after.margin_workdays,
    )


def cells(entry: EntryShown) -> list[Cell]:
    """The cells of COLUMNS."""
    moved = entry.delivery
    plain: dict[str, Cell] = {
        "words": " / ".join(_texts(entry)),
        "marks": " ".join(entry.marks),
        "changes": "; ".join(_counted(entry.changes)),
        "delivery_before": None if moved is None else moved.before,
        "delivery_after": None if moved is None else moved.after,
        "margin_workdays_before": None if moved is None else moved.margin_workdays_before,
        "margin_workdays_after": None if moved is None else moved.margin_workdays_after,
        "not_working": " ".join(one.department for one in entry.suppositions),
    }
    return [plain[name] if name in plain else getattr(entry, name) for name in COLUMNS]


def _texts(entry: EntryShown) -> list[str]:
    """What people wrote; before a member that the type does not have stands its pointer."""
    return [
        _text(raw) if is_member(entry.type, pointer) else f"{pointer}: {_text(raw)}"
        for pointer, raw in entry.words.items()
    ]


def _text(raw: Raw) -> str:
    value = orjson.loads(bytes(raw))
    return value if isinstance(value, str) else bytes(raw).decode()


def _readable(text: str) -> str:
    """A text with what a terminal acts upon or cannot show escaped, and blanks for tabs.

    That is control characters, changes of direction, and what Unicode gives no meaning.
    """
    return "".join(
        one.encode("unicode_escape").decode()
        if unicodedata.category(one) in _ESCAPED and one not in _JOINERS
        else one
        for one in text.replace("\t", " ")
    )


def _counted(changes: Sequence[TakeChangeShown]) -> list[str]:
    """Changes that are alike together: `animation take 2 reopened (3)`."""
    alike = Counter((one.department, one.take, one.change) for one in changes)
    return [
        f"{department} take {take} {change.replace('_', ' ')}"
        + (f" ({count})" if count > 1 else "")
        for (department, take, change), count in alike.items()
    ]


def diary_text(episode: str, entries: Iterable[EntryShown]) -> str:
    """The entries to be read, a paragraph each."""
    parts = [f"{episode}: what happened, in the order in which it was recorded\n"]
    for entry in entries:
        by = entry.role or entry.poster
        lines = [f"{entry.time}  {_readable(entry.sentence)}"]
        # each line of a text begins with a bar, so that none is taken for one of the diary's own
        texts = _texts(entry)
        lines += [f"    | {_readable(line)}" for text in texts for line in text.splitlines()]
        lines.append(f"    event {entry.position}, recorded {entry.recordedat} by {by}")
        if entry.marks:
            lines.append(f"    marked: {', '.join(entry.marks)}")
        if entry.struck_at is not None:
            lines.append(f"    struck by event {entry.struck_at}: it does not count any more")
        lines += [f"    {change}" for change in _counted(entry.changes)]
        moved = _moved(entry.delivery)
        if moved:
            lines.append(f"    {moved}{_supposed(entry)}")
        if entry.no_plan is not None:
            lines.append("    no plan could be made of the record as it was then")
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _supposed(entry: EntryShown) -> str:
    """What a date rests on where some department did not work."""
    return "".join(
        f"; {one.department} did not work and was taken to go on at {one.taken_to_end_at}"
        for one in entry.suppositions
    )


def _moved(moved: DeliveryMoveShown | None) -> str:
    """Where the delivery went, if it did."""
    if moved is None or moved.before == moved.after:
        return ""
    before, after = moved.before or "no date", moved.after or "no date"
    margin = moved.margin_workdays_after
    left = "" if margin is None else f", margin {margin} working days"
    if moved.before and moved.open_after and moved.open_before is False:
        return f"delivery, made on {before}, is open again: {after}{left}"
    made = ", made then" if moved.open_after is False else ""
    return f"delivery from {before} to {after}{made}{left}"


DIARY = page_of(EntryShown, "DiaryPage")
