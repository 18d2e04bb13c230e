"""The review of the advice: is it followed, what goes with it, what the map does, and each ride's strip."""

from __future__ import annotations

from base64 import b64encode
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dash import dcc, html

from dashboard import texts
from dashboard.components import parts
from dashboard.config import ride_path
from dashboard.pages import after_work
from ridelog.figures.review_bars import share_bars
from ridelog.figures.strip import strip_svg
from ridelog.report.sentences import shown
from ridelog.words import effect as effect_words
from ridelog.words import review_answer as words
from ridelog.words.cases import record as record_line
from ridelog.words.terms import KIND_WORDS, duration
from ridelog.words.terms import share as as_share

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dashboard.look import Look
    from dashboard.provider import ReviewView
    from ridelog.after_work import AfterWork
    from ridelog.effect import Effect
    from ridelog.review_groups import Group
    from ridelog.strips import Strip

UNJUDGED_NAMED = 6


def layout(view: ReviewView, look: Look, work: Sequence[AfterWork] = ()) -> html.Div:
    """The whole page; `work`: what was done to the bikes, with the rides before and after."""
    found = view.review
    if not found.rides:
        chosen = _filters(view) if view.bikes or view.bike or view.since else None
        return html.Div([html.H1(texts.REVIEW, className="page"), html.P(texts.REVIEW_EMPTY), chosen])
    first, *rest = (one.replace(words.BY_COMMAND, words.BY_PAGE) for one in words.answer(found))
    return html.Div(
        [
            html.H1(words.title(found)),
            html.P(shown(first), className="answer", id="answer"),
            parts.bullets([shown(one) for one in rest]),
            _filters(view),
            _strips(view, look),
            html.Div(
                [
                    _shares(texts.REVIEW_BY_MONTH, "month", found.by_month, look, view.sheet_note),
                    _shares(texts.REVIEW_BY_KIND, "kind", found.by_kind, look),
                ],
                className="pair",
            ),
            html.Div(
                [
                    _shares(texts.REVIEW_BY_BIKE, "bike", found.by_bike, look),
                    _shares(texts.REVIEW_BY_SHEET, "sheet", found.by_sheet, look),
                ],
                className="pair",
            ),
            _outcome(view),
            after_work.card(work),
            html.Div([_effects(view.effects), _unjudged(view)], className="pair"),
            html.P(
                [shown(line) for line in (words.STARRED, " ", words.bands_line(), " ", words.CAUTION)],
                className="small",
            ),
            parts.cautions(),
        ],
        className="review",
    )


def _filters(view: ReviewView) -> html.Nav:
    """Links that narrow the review; the address holds what is chosen."""

    def link(words_: str, bike: str | None, since: str | None) -> html.Li:
        asked = {name: value for name, value in (("bike", bike), ("since", since)) if value is not None}
        here = (bike, since) == (view.bike, view.since)
        return html.Li(
            html.B(words_, **{"aria-current": "page"})
            if here
            else dcc.Link(words_, href="/review" + (f"?{urlencode(asked)}" if asked else ""))
        )

    return html.Nav(
        [
            html.Ul([link(texts.ALL_BIKES, None, view.since), *(link(bike, bike, view.since) for bike in view.bikes)]),
            html.Ul(
                [
                    link(texts.ALL_DAYS, view.bike, None),
                    *(link(texts.since(month), view.bike, f"{month}-01") for month in view.months),
                ]
            ),
        ],
        className="filters",
        **{"aria-label": texts.REVIEW_FILTERS},
    )


def _strips(view: ReviewView, look: Look) -> html.Section:
    """One strip a ride, by bike and date, all to one scale of time."""
    longest_s = max((strip.duration_s for strip in view.strips), default=1.0)
    rows: list[object] = []
    bike: str | None = ""
    for strip in sorted(view.strips, key=lambda one: (one.bike or "", one.day.isoformat() if one.day else "")):
        if strip.bike != bike:
            bike = strip.bike
            rows.append(html.H3(bike or texts.NO_BIKE))
        rows.append(_strip(strip, longest_s, look))
    kinds = {stretch.kind for strip in view.strips for stretch in strip.stretches}
    legend = [(kind, name) for kind, name in KIND_WORDS.items() if kind in kinds]
    legend += [("conservative", texts.MAP_CONSERVATIVE), ("standard", texts.MAP_STANDARD), ("hot", texts.HOT)]
    more = texts.strips_left(view.strips_left) if view.strips_left else ""
    failed = [html.P(f"{ride}: {reason}", className="small") for ride, reason in view.failed]
    return parts.card(
        texts.REVIEW_STRIPS,
        parts.legend(legend),
        html.Div([_strip_heads(), *rows], className="strips"),
        html.P(f"{texts.REVIEW_STRIPS_NOTE} {more}".strip(), className="small"),
        *failed,
        name="strips",
    )


def _strip_heads() -> html.Div:
    heads = [html.Span(name) for name in (texts.STRIP_DAY, "", texts.STRIP_SHARE)]
    return html.Div(heads, className="strip heads", **{"aria-hidden": "true"})


def _strip(strip: Strip, longest_s: float, look: Look) -> html.Div:
    picture = b64encode(strip_svg(strip, longest_s, dark=look.dark).encode()).decode()
    day = f"{strip.day:%-d %b %Y}" if strip.day is not None else texts.NO_DAY
    # the head of the column says it to the eye; who hears the line is told in full
    advised = any(one.verdict != "not_advised" for one in strip.stretches)
    told: object = texts.MAP_UNKNOWN if advised else texts.NOTHING_ADVISED
    if strip.share is not None:
        told = [as_share(strip.share), html.Span(f" {texts.ON_MAP}", className="hidden")]
    return html.Div(
        [
            dcc.Link(day, href=ride_path(strip.ride)),
            html.Img(src=f"data:image/svg+xml;base64,{picture}", alt=_said(strip, day)),
            html.Span(told, className="small"),
        ],
        className="strip",
    )


def _said(strip: Strip, day: str) -> str:
    advised = [one for one in strip.stretches if one.verdict != "not_advised"]
    followed = sum(one.verdict == "followed" for one in advised)
    return texts.strip_said(day, duration(strip.duration_s), len(advised), followed)


def _shares(title: str, what: str, groups: Sequence[Group], look: Look, note: str = "") -> html.Section:
    names = [words.key_words(what, group.key) for group in groups]
    rows = [(name, *words.group_cells(group)) for name, group in zip(names, groups, strict=True)]
    heads = (what.capitalize(), *(one.capitalize() for one in words.GROUP_COLUMNS))
    return parts.card(
        title,
        parts.plot(share_bars(groups, names, dark=look.dark), title),
        html.P(note, className="small") if note else None,
        html.Details([html.Summary(texts.FIGURES), parts.plain_table(heads, rows, title, "cards")]),
        name=what,
    )


def _outcome(view: ReviewView) -> html.Section:
    heads = (texts.ABOVE, texts.ON_THE_MAP, *(one.capitalize() for one in words.OUTCOME_COLUMNS))
    rows = [
        (
            shown(f"{row.threshold_c:g} C ({row.name})"),
            words.BAND_WORDS.get(row.key, row.key),
            *words.outcome_cells(row.outcome),
        )
        for row in view.review.outcome
        if row.outcome.rides
    ]
    table = parts.plain_table(heads, rows, texts.REVIEW_OUTCOME, "cards")
    return parts.card(texts.REVIEW_OUTCOME, table, name="outcome")


def _effects(found: Sequence[Effect]) -> html.Section:
    inside: list[object] = []
    for effect in found:
        inside.append(html.H3(effect.bike))
        if effect.heat_ratio is not None:
            inside.append(html.P(shown(effect_words.found(effect.heat_ratio))))
        else:
            inside.append(html.P(shown(effect_words.CANT_TELL.format(reason=effect.reason))))
    inside += [html.P(shown(line), className="small") for line in effect_words.CAUTIONS]
    return parts.card(texts.REVIEW_EFFECT, *inside, name="effect")


def _unjudged(view: ReviewView) -> html.Section:
    lines = words.unjudged_lines(view.review.unjudged, UNJUDGED_NAMED)
    inside: list[object] = [parts.bullets([shown(line) for line in lines]) if lines else html.P(texts.ALL_JUDGED)]
    if view.record["closed"]:
        inside += [html.H3(texts.REVIEW_RECORD), html.P(shown(record_line(view.record)))]
    return parts.card(texts.REVIEW_UNJUDGED, *inside, name="unjudged")
