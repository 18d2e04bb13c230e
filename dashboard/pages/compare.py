"""Rides beside rides: at the same load and air, and by place on the ground both rode."""

from __future__ import annotations

from base64 import b64encode
from typing import TYPE_CHECKING

from dash import html

from dashboard import texts
from dashboard.components import parts
from dashboard.components.naming import degrees, named, ride_names
from dashboard.pages.compare_picker import picker
from ridelog.figures.by_place import by_place, sample_svg, strokes
from ridelog.report.sentences import shown
from ridelog.words import compare as words
from ridelog.words import compare_tables
from ridelog.words import places as place_words
from ridelog.words.terms import question_words

if TYPE_CHECKING:
    from dashboard.look import Look
    from dashboard.provider import CompareView
    from ridelog.analysis.passes_records import StretchRow

OPEN_TABLES = 3
"""Tables that stand open; the others wait behind their titles."""
WIDE = 4
"""Tables of more columns are cards on a phone."""


def layout(view: CompareView, look: Look) -> html.Div:
    """The picker, and what was asked for."""
    if not view.items:
        return html.Div([html.H1(texts.COMPARE, className="page"), html.P(texts.COMPARE_EMPTY)], className="compare")
    found = view.comparison
    inside: list[object] = []
    if found is None:
        inside.append(html.P(view.said or texts.COMPARE_HINT, className="card" if view.said else ""))
    else:
        first, *rest = found.summary
        inside += [
            html.H2(told(compare_tables.title(found), view), className="over"),
            html.P(told(first, view), className="answer", id="answer"),
            parts.bullets([told(one, view) for one in rest]),
        ]
    inside += _places(view, look)
    if found is not None:
        inside += _tables(view)
    return html.Div(
        [html.H1(texts.COMPARE, className="page"), picker(view, look), *inside, parts.cautions()], className="compare"
    )


def told(text: str, view: CompareView) -> str:
    """A sentence or a cell as it stands on the page: rides are named by their day, as in the list, not by their id."""
    return named(text, ride_names(view.items))


def _head(column: str) -> str:
    """A column's name with a large letter; a unit keeps its own."""
    return degrees(column if "/" in column.split(maxsplit=1)[0] else column[:1].upper() + column[1:])


def _places(view: CompareView, look: Look) -> list[object]:
    """Ground that the rides share, each with its picture and its passes."""
    ground = view.ground
    if ground is None:
        return []
    inside: list[object] = [parts.bullets([told(one, view) for one in ground.summary])]
    for row in ground.stretches:
        inside += [html.H3(place_words.kind(row)), html.P(told(place_words.passed(row), view))]
        inside += _stretch(row, view, look)
    if ground.stretches:
        notes = (place_words.NOTE_ON_HEAT, place_words.COMPARED_NOTE)
        inside += [html.P(told(one, view), className="small") for one in notes]
    inside += [html.P(told(one, view), className="small") for one in place_words.untold(ground.cannot_tell)]
    return [parts.card(texts.COMPARE_PLACES, *inside, name="places")]


def _stretch(row: StretchRow, view: CompareView, look: Look) -> list[object]:
    figure = by_place(row, view.traces, order=view.rides, display=look.units, dark=look.dark)
    made: list[object] = []
    if figure is not None:
        made += [_legend(row, view, look), parts.plot(figure, texts.compare_plot(place_words.kind(row)))]
    passes = [tuple(told(cell, view) for cell in place_words.pass_cells(one)) for one in row.passes]
    columns = [_head(one) for one in place_words.pass_columns(row.kind)]
    made.append(parts.plain_table(columns, passes, texts.compare_passes(place_words.kind(row)), "cards"))
    if row.compared:
        cells = [tuple(told(cell, view) for cell in place_words.compared_cells(one, row.kind)) for one in row.compared]
        heads = [_head(one) for one in place_words.compared_columns(row.kind)]
        made += [html.H4(texts.COMPARE_PASSES), parts.plain_table(heads, cells, texts.COMPARE_PASSES, "cards")]
    return made


def _legend(row: StretchRow, view: CompareView, look: Look) -> html.P:
    """Whose line is drawn how, in words that wrap where the screen is narrow."""
    names = ride_names(view.items)
    one_ride = len({one.ride for one in row.passes if one.full}) == 1
    samples = []
    for key, stroke in strokes(row, view.rides).items():
        picture = b64encode(sample_svg(stroke, dark=look.dark).encode()).decode()
        name = place_words.numbered(row.kind, key) if one_ride else names.get(key, key)
        samples.append(html.Span([html.Img(src=f"data:image/svg+xml;base64,{picture}", alt=""), name]))
    return html.P(samples, className="legend")


def _tables(view: CompareView) -> list[object]:
    found = view.comparison
    if found is None:
        return []
    made: list[object] = []
    for number, table in enumerate(compare_tables.tables(found)):
        rows = [tuple(told(cell, view) for cell in row) for row in table.rows]
        wide = "cards" if len(table.columns) > WIDE else ""
        drawn = parts.plain_table([_head(one) for one in table.columns], rows, shown(table.title), wide)
        if number < OPEN_TABLES:
            made.append(parts.card(shown(table.title), drawn, name=f"table-{number}"))
        else:
            made.append(html.Details([html.Summary(shown(table.title)), drawn], className="card"))
    lines = [told(one, view) for one in compare_tables.riding_lines(found)]
    if lines:
        made.append(parts.card(texts.COMPARE_RIDING, parts.bullets(lines), name="riding"))
    doubts = [[html.B(question_words(one.question)), f" {told(one.reason, view)}."] for one in found.cannot_tell]
    if doubts:
        made.append(parts.card(texts.COMPARE_OPEN, parts.bullets(doubts), name="open"))
    if found.left_out:
        left = parts.bullets([told(one, view) for one in found.left_out])
        made.append(parts.card(texts.COMPARE_LEFT_OUT, left, name="left-out"))
    said = [words.METHOD, *found.cautions] if found.settle else list(found.cautions)
    made.append(html.Div([html.P(shown(one), className="small") for one in said]))
    return made
