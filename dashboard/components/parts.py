"""Small parts every page is made of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dash import dcc, html

from ridelog.figures.theme import GRAPH_CONFIG
from ridelog.words.cautions import CAUTIONS
from ridelog.words.key_figures import KeyFigure

if TYPE_CHECKING:
    from plotly.graph_objects import Figure


NARROW = 3
"""Tables of so many columns fit across a phone."""


def card(title: str, *children: object, name: str = "", class_name: str = "") -> html.Section:
    """A titled part of a page. `name` is its anchor."""
    label = name or title.lower().replace(" ", "-").replace(",", "")
    return html.Section(
        [html.H2(title, id=f"h-{label}"), *children],
        className=f"card {class_name}".strip(),
        **{"aria-labelledby": f"h-{label}"},
    )


def key_figures(figures: Sequence[KeyFigure]) -> html.Dl:
    """The row of numbers on top, each with what it covers."""
    return html.Dl(
        [
            html.Div([html.Dt(figure.label), html.Dd(figure.value), html.Dd(figure.note, className="note")])
            for figure in figures
        ],
        className="keys",
    )


def plain_table(
    columns: Sequence[str], rows: Sequence[Sequence[object]], caption: str, class_name: str = ""
) -> html.Div:
    """A table in a box of its own that scrolls sideways where the page is narrow; the first cell names the row. Of the
    class `cards`, its rows are cards there, and a column's name stands over its figure."""
    if not class_name and len(columns) <= NARROW:
        class_name = "across"
    return html.Div(
        html.Table(
            [
                html.Caption(caption, className="hidden"),
                html.Thead(html.Tr([html.Th(name, scope="col") for name in columns])),
                html.Tbody([html.Tr([html.Th(row[0], scope="row"), *_cells(columns, row)]) for row in rows]),
            ]
        ),
        className=f"scroll {class_name}".strip(),
        tabIndex="0",
        role="group",
        **{"aria-label": caption},
    )


def _cells(columns: Sequence[str], row: Sequence[object]) -> list[html.Td]:
    return [html.Td(cell, **{"data-name": name}) for name, cell in zip(columns[1:], row[1:], strict=True)]


def plot(figure: Figure, said: str, name: str | None = None) -> html.Div:
    """A figure in a box that has its height before it is drawn, so that nothing jumps. `name`: its id."""
    height = f"{figure.layout.height}px"
    named = {} if name is None else {"id": name}
    graph = dcc.Graph(figure=figure, config=GRAPH_CONFIG, style={"height": height}, **named)
    return html.Div(graph, role="group", className="plot", style={"minHeight": height}, **{"aria-label": said})


def legend(kinds: Sequence[tuple[str, str]]) -> html.P:
    """Words for the colours and patterns of the picture; `kinds` are class and words."""
    return html.P([html.Span([html.I(className=f"swatch {kind}"), words]) for kind, words in kinds], className="legend")


def bullets(sentences: Sequence[object]) -> html.Ul:
    """A list of sentences."""
    return html.Ul([html.Li(sentence) for sentence in sentences])


def cautions() -> html.Section:
    """What has to be said beside every ride."""
    return card(
        "Take care", bullets([[html.B(short), " ", " ".join(long.split())] for short, long in CAUTIONS]),
        name="cautions", class_name="cautions",
    )  # fmt: skip


def message(title: str, sentences: Sequence[object]) -> html.Section:
    """A page that says why there is nothing to see, and what to do."""
    return html.Section([html.H1(title), *(html.P(sentence) for sentence in sentences)], className="message")


def back_link() -> dcc.Link:
    """The way back to the list."""
    return dcc.Link("← All rides", href="/", className="back")
