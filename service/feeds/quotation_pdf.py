"""The quotation as PDF, for A4 or Letter; the same sheet gives the same bytes.

Text is set in Roboto, which has Latin, Greek and Cyrillic; what it has not comes out as a question
mark.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple, cast

import font_roboto  # type: ignore[import-untyped]  # it ships no types
from fpdf import FPDF
from fpdf.enums import MethodReturnValue

from service.feeds.quotation import LineText, Sheet

_FONTS = Path(font_roboto.font_directory)
_FAMILY = "roboto"
_MARGIN_MM = 15.0
_FOOT_MM = 18.0
_GAP_MM = 2.0
_ROWS_KEPT = 12
_LINE_MM = 4.6
_BASE_MM = 3.25  # from the top of a line to its base
_BODY_PT, _SMALL_PT, _HEAD_PT, _TITLE_PT = 9.0, 7.5, 11.0, 15.0


class _Cell(NamedTuple):
    """A text in so many columns; figures stand to the right."""

    text: str
    right: bool = False
    columns: int = 1


class _Paper(FPDF):
    """Pages with a foot that names the order and counts them."""

    def __init__(self, sheet: Sheet, paper: str) -> None:
        super().__init__(format=paper)
        self._foot = f"{sheet.studio}, {sheet.heading} {sheet.order}"
        for style, file in (("", "Roboto-Regular.ttf"), ("B", "Roboto-Bold.ttf")):
            self.add_font(_FAMILY, style, _FONTS / file)
        self._has = frozenset(self.fonts[_FAMILY].cmap)  # type: ignore[union-attr]  # a TTF has one
        self.set_margins(_MARGIN_MM, _MARGIN_MM)
        self.set_auto_page_break(True, _FOOT_MM)
        self.c_margin = 0
        self.alias_nb_pages("{pages}")
        self.size(_BODY_PT)

    def size(self, size_pt: float, *, bold: bool = False) -> None:
        """Set the size of the text that follows, in points."""
        self.set_font(_FAMILY, "B" if bold else "", size_pt)

    def printable(self, text: str) -> str:
        """The text with what the font has."""
        return "".join(one if ord(one) in self._has or one == "\n" else "?" for one in text)

    def footer(self) -> None:
        """Called at the end of each page."""
        self.set_y(-_FOOT_MM + 5)
        self.size(_SMALL_PT)
        self.cell(0, 4, f"{self.printable(self._foot)}, page {self.page_no()} of {{pages}}")

    def block(self, text: str, size_pt: float = _BODY_PT, *, bold: bool = False) -> None:
        """Write a paragraph over the whole width."""
        self.size(size_pt, bold=bold)
        height = _LINE_MM * size_pt / _BODY_PT
        self.multi_cell(0, height, self.printable(text), align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(1)

    def head(self, text: str) -> None:
        """A heading, kept with what follows."""
        self.ln(3)
        if self.room() < 6 * _LINE_MM:
            self.add_page()
        self.block(text, _HEAD_PT, bold=True)

    def room(self) -> float:
        """Millimetres left on the page."""
        return float(self.page_break_trigger - self.get_y())


class _Table:
    """A table whose heading is repeated on every page."""

    def __init__(self, paper: _Paper, widths: Sequence[float], heading: Sequence[_Cell]) -> None:
        self._paper = paper
        whole = sum(widths)
        self._widths = [paper.epw * width / whole for width in widths]
        self._heading = heading
        self._widths_of_texts: dict[tuple[str, bool], float] = {}
        self._head()

    def _head(self) -> None:
        self._draw(self._heading, bold=True, low=True)
        self._rule(0.35)
        self._just_headed = True

    def row(
        self, cells: Sequence[_Cell], *, bold: bool = False, rule_mm: float = 0, keep: int = 0
    ) -> None:
        """A row, on a new page if it and `keep` lines more do not fit on this one."""
        height = self._height(cells, bold) + keep * _LINE_MM
        if self._paper.room() < height + 1:
            self._paper.add_page()
            self._head()
        if rule_mm and not self._just_headed:
            self._rule(rule_mm)
        self._just_headed = False
        self._draw(cells, bold=bold)

    def _rule(self, width_mm: float) -> None:
        paper = self._paper
        paper.set_line_width(width_mm)
        paper.set_y(paper.get_y() + 0.7)
        paper.line(paper.l_margin, paper.get_y(), paper.l_margin + paper.epw, paper.get_y())
        paper.set_y(paper.get_y() + 0.7)

    def _placed(self, cells: Sequence[_Cell]) -> Iterator[tuple[_Cell, float, float]]:
        """Cells with where they begin and how wide their text may be."""
        at, place = self._paper.l_margin, 0
        for cell in cells:
            width = sum(self._widths[place : place + cell.columns])
            yield cell, at, width - _GAP_MM if place + cell.columns < len(self._widths) else width
            at, place = at + width, place + cell.columns

    def _lines(self, cells: Sequence[_Cell], bold: bool) -> list[int]:
        self._paper.size(_BODY_PT, bold=bold)
        return [self._lines_of(cell.text, width, bold) for cell, _, width in self._placed(cells)]

    def _lines_of(self, text: str, width: float, bold: bool) -> int:
        if "\n" not in text and self._width(text, bold) < width:
            return 1
        paper = self._paper
        lines = paper.multi_cell(
            width,
            _LINE_MM,
            paper.printable(text),
            align="L",
            dry_run=True,
            output=MethodReturnValue.LINES,
        )
        return len(cast("list[str]", lines))

    def _width(self, text: str, bold: bool) -> float:
        """How wide a text of one line is; the same few stand in a table again and again."""
        key = (text, bold)
        if key not in self._widths_of_texts:
            self._widths_of_texts[key] = self._paper.get_string_width(self._paper.printable(text))
        return self._widths_of_texts[key]

    def _height(self, cells: Sequence[_Cell], bold: bool) -> float:
        return max(self._lines(cells, bold)) * _LINE_MM

    def _draw(self, cells: Sequence[_Cell], *, bold: bool = False, low: bool = False) -> None:
        paper = self._paper
        lines = self._lines(cells, bold)
        top, most, page = paper.get_y(), max(lines), paper.page
        placed = list(zip(self._placed(cells), lines, strict=True))
        if most * _LINE_MM > paper.room():
            # one that is longer than the page ends on another: the others come before it
            placed.sort(key=lambda one: one[1])
        for (cell, at, width), count in placed:
            text, y = paper.printable(cell.text), top + (most - count) * _LINE_MM * low
            if count > 1:
                paper.set_xy(at, y)
                align = "R" if cell.right else "L"
                paper.multi_cell(width, _LINE_MM, text, align=align, new_x="LMARGIN", new_y="NEXT")
            elif text:  # much the fastest way to write one line
                x = at + width - self._width(cell.text, bold) if cell.right else at
                paper.text(x, y + _BASE_MM, text)
        paper.set_x(paper.l_margin)
        if paper.page == page:
            paper.set_y(top + most * _LINE_MM)


def quotation_pdf(sheet: Sheet, made_at: datetime, paper: str) -> bytes:
    """The document; `made_at` is when it says it was made.

    `paper` is one of `quotation.PAPERS`.
    """
    pdf = _Paper(sheet, paper)
    pdf.set_creation_date(made_at)
    pdf.set_title(f"{sheet.heading} {sheet.order}")
    pdf.set_author(sheet.studio)
    pdf.set_lang("en")
    pdf.add_page()
    pdf.block(sheet.studio, _HEAD_PT, bold=True)
    pdf.block(f"{sheet.heading} {sheet.order}", _TITLE_PT, bold=True)
    _facts(pdf, sheet.facts)
    if sheet.words:
        pdf.head("What was asked for")
        pdf.block(sheet.words)
    _lines(pdf, sheet)
    pdf.block(sheet.rule, _SMALL_PT)
    pdf.block(sheet.caution)
    _dates(pdf, sheet)
    _lengths(pdf, sheet)
    pdf.ln(3)
    pdf.block(sheet.basis, _SMALL_PT)
    return bytes(pdf.output())


def _facts(pdf: _Paper, facts: Iterable[tuple[str, str]]) -> None:
    for name, value in facts:
        pdf.size(_BODY_PT, bold=True)
        pdf.cell(32, _LINE_MM, name)
        pdf.size(_BODY_PT)
        pdf.multi_cell(0, _LINE_MM, pdf.printable(value), align="L", new_x="LMARGIN", new_y="NEXT")


def _lines(pdf: _Paper, sheet: Sheet) -> None:
    pdf.head(f"The lines and their amounts, in {sheet.currency}")
    heading = (
        *(_Cell(text) for text in ("Line", "Work", "Unit")),
        *(_Cell(text, right=True) for text in ("Redone", "Added", "No longer needed")),
        *(_Cell(text, right=True) for text in ("Rate", "Amount")),
    )
    table = _Table(pdf, (11, 36, 22, 21, 21, 24, 21, 29), heading)
    for line in sheet.lines:
        _line(table, line)
    total = (
        _Cell(""),
        _Cell(f"Total, {sheet.currency}", columns=6),
        _Cell(sheet.total, right=True),
    )
    table.row(total, bold=True, rule_mm=0.5)
    pdf.ln(2)


def _line(table: _Table, line: LineText) -> None:
    first = (_Cell(line.number), _Cell(line.what, columns=6), _Cell(line.amount, right=True))
    # a line stays whole where it can
    rows = min(_ROWS_KEPT, len(line.works) + bool(line.fee))
    table.row(first, bold=True, rule_mm=0.15, keep=rows)
    for work in line.works:
        figures = (work.redone, work.added, work.dropped, work.rate)
        table.row(
            (
                *(_Cell(text) for text in ("", f"  {work.department}", work.unit)),
                *(_Cell(text, right=True) for text in figures),
                _Cell(""),
            )
        )
    if line.fee:
        table.row((_Cell(""), _Cell("  fee", columns=5), _Cell(line.fee, right=True), _Cell("")))


def _dates(pdf: _Paper, sheet: Sheet) -> None:
    pdf.head("Dates")
    if sheet.moves:
        pdf.block("Deliveries that move, without and with this order; margins in working days")
        heading = (
            *(_Cell(text) for text in ("Episode", "Due", "Without", "With")),
            *(_Cell(text, right=True) for text in ("Margin without", "Margin with")),
        )
        table = _Table(pdf, (28, 38, 38, 38, 21, 21), heading)
        for move in sheet.moves:
            margins = (move.margin_before, move.margin_after)
            table.row(
                (
                    *(_Cell(text) for text in (move.episode, move.due, move.before, move.after)),
                    *(_Cell(text, right=True) for text in margins),
                )
            )
        pdf.ln(2)
    pdf.block(sheet.others)


def _lengths(pdf: _Paper, sheet: Sheet) -> None:
    if not sheet.lengths:
        return
    pdf.head("Length")
    pdf.block("Running totals of the scenes in the picture")
    names = ("Episode", "Without", "With", "Format", "Against the format")
    table = _Table(pdf, (26, 42, 44, 42, 46), [_Cell(name) for name in names])
    for length in sheet.lengths:
        told_texts = (length.episode, length.before, length.after, length.format, length.stands)
        table.row([_Cell(text) for text in told_texts])
