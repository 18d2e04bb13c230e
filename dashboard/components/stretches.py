"""The table of flagged stretches: every row is a button that shows its stretch in the picture."""

from __future__ import annotations

from dash import html

from dashboard import ids
from ridelog.report.tables import SEGMENT_COLUMNS, SegmentRow


def row_class(index: int, selected: int | None) -> str:
    """Class of a row."""
    return "stretch chosen" if index == selected else "stretch"


def stretch_table(rows: list[SegmentRow], selected: int | None = None) -> html.Div:
    """The table; a click on a row, or Enter on its number, counts as a click on the row's id."""
    caption = "Flagged stretches. Press a number to show its stretch in the picture."
    head = html.Tr([html.Th("No.", scope="col"), *(html.Th(name, scope="col") for name in SEGMENT_COLUMNS)])
    return html.Div(
        html.Table(
            [
                html.Caption(caption, className="hidden"),
                html.Thead(head),
                html.Tbody([_row(row, selected) for row in rows]),
            ]
        ),
        className="scroll stretches",
        role="region",
        tabIndex="0",
        **{"aria-label": caption},
    )


def _row(row: SegmentRow, selected: int | None) -> html.Tr:
    said = f"Show stretch {row.index + 1}: {row.cells[2]}, from {row.cells[0]}"
    cells: list[object] = [
        html.Td(html.Button(str(row.index + 1), className="pick", type="button", **{"aria-label": said}))
    ]
    for column, cell in zip(SEGMENT_COLUMNS, row.cells, strict=True):
        if column == "Stretch":
            why = html.Span(row.reason, className="small block") if row.reason else None
            cells.append(html.Td([html.I(className=f"swatch {row.kind}"), cell, why]))
        else:
            # on a phone a row is drawn as a card, and the column's name stands over its figure
            cells.append(html.Td(cell, **{"data-name": column}))
    return html.Tr(cells, id=ids.row(row.index), n_clicks=0, className=row_class(row.index, selected))
