"""What riders, tuners and workshops ask of a ride beyond its answer: each question opens to its own."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from dash import dcc, html

from dashboard import config, texts
from dashboard.components import answers, parts
from dashboard.provider import RideView
from ridelog import closer, closer_rates
from ridelog.channels import base_name
from ridelog.report.sentences import shown, time_of_day
from ridelog.words import closer as words
from ridelog.words import heat as heat_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    from dashboard.look import Look
    from ridelog.closer_rates import Alone


WIDE = 4
"""Tables of more columns are cards on a phone."""


def card(view: RideView, look: Look) -> html.Section:
    """All of them."""
    alone = closer_rates.alone(view.study)
    asked: list[tuple[str, list[object]]] = [
        ("minute", _minute(view)),
        ("levels", _levels(view, look)),
        ("hidden", [_sentences(words.hidden(view.analysis, closer.coolant_of(view.study).covered_s))]),
        ("clock", _clock(view)),
        ("map", _map(view)),
        ("follows", _follows(view)),
        ("steady", _steady(view, alone)),
        ("down", _down(view, alone)),
        ("fast", _fast(view, alone)),
        ("gears", _gears(alone)),
        ("sensors", [_sentences(words.sensors(_coolants(view), view.analysis.quality))]),
        ("beside", _beside(view)),
        ("again", _again(view)),
        ("positions", _positions(view, look)),
    ]
    return parts.card(
        words.TITLE,
        *(
            html.Details(
                [html.Summary(words.QUESTIONS[name]), html.Div(inside, className="evidence")],
                id=f"asked-{name}",
                className="asked",
            )
            for name, inside in asked
        ),
        name="asked",
    )


def _sentences(said: Sequence[str]) -> object:
    return html.P(shown(said[0])) if len(said) == 1 else parts.bullets([shown(one) for one in said])


def _small(text: str) -> html.P:
    return html.P(shown(text), className="small")


def _table(columns: Sequence[str], rows: Sequence[Sequence[str]], caption: str) -> html.Div:
    return parts.plain_table(
        [shown(one) for one in columns],
        [[shown(cell) for cell in row] for row in rows],
        shown(caption),
        "cards" if len(columns) > WIDE else "",
    )


def _minute(view: RideView) -> list[object]:
    found = closer.hottest_minute(view.study)
    if found is None:
        return [_sentences([words.NO_COOLANT])]
    by_map = closer.hot_by_map(view.study)
    link = dcc.Link(words.SHOW_MINUTE, href=config.view_path(view.ride.id, found.start_s, found.end_s))
    return [
        _sentences([words.hottest(found, time_of_day(view.ride, found.start_s))]),
        _sentences([words.by_map(by_map) if by_map is not None else words.NEVER_ABOVE]),
        html.P(link),
    ]


def _levels(view: RideView, look: Look) -> list[object]:
    rows = closer.levels(view.study)
    if not rows:
        return [_sentences([words.NO_COOLANT])]
    return [
        _sentences([words.sensitive(rows)]),
        _table(words.level_columns(), words.level_rows(rows, look.units), words.QUESTIONS["levels"]),
        *(
            [html.P(dcc.Link(words.TRY_THRESHOLDS, href=config.profile_path("bike", view.bike.id)))]
            if view.bike
            else []
        ),
    ]


def _clock(view: RideView) -> list[object]:
    found = closer.by_clock(view.study)
    if found == "not_logged":
        return [_sentences([words.NO_MAP])]
    if found == "not_advised":
        return [_sentences([words.NOT_ADVISED])]
    return [_sentences([words.by_clock(found, view.analysis.adherence.share)])]


def _map(view: RideView) -> list[object]:
    grace_s = {rule.kind: rule.grace_s for rule in view.advice.rules}
    rows = words.map_rows(view.analysis, grace_s)
    if not rows:
        return [_sentences([words.NO_ADVISED_STRETCH]), parts.bullets([shown(one) for one in words.rules(view.advice)])]
    left = len(rows) - config.STRETCHES
    return [
        _table(words.MAP_COLUMNS, rows[: config.STRETCHES], words.QUESTIONS["map"]),
        *([_small(texts.stretches_left(left))] if left > 0 else []),
        _small(words.MAP_NOTE.format(version=view.advice.version)),
        parts.bullets([shown(one) for one in words.rules(view.advice)]),
    ]


def _follows(view: RideView) -> list[object]:
    rates, follows = closer_rates.rates(view.study), closer_rates.follows(view.study)
    inside: list[object] = []
    told = words.followed(follows) if follows is not None else words.no_balance(view.analysis)
    inside.append(_sentences([told]))
    if rates is None:
        return inside if follows is None else [*inside, _sentences([words.no_balance(view.analysis)])]
    for title, name, rows in (
        (words.HEATING, words.LOAD, words.load_rows(rates.by_load)),
        (words.COOLING, words.SPEED, words.speed_rows(rates.by_speed)),
    ):
        inside.append(html.H3(title))
        inside.append(_table((name, *words.RATE_COLUMNS), rows, title) if rows else _sentences([words.NO_ROWS]))
    return [*inside, _small(words.rate_note(rates))]


def _steady(view: RideView, alone: Alone) -> list[object]:
    rows = words.cruise_rows(alone)
    if not rows:
        told = "coolant_c" in view.traces.series and view.study.found.balance.drawn is not None
        return [_sentences([words.NO_STEADY if told else words.no_balance(view.analysis)])]
    return [_table(words.CRUISE_COLUMNS, rows, words.QUESTIONS["steady"]), _small(words.CRUISE_NOTE)]


def _down(view: RideView, alone: Alone) -> list[object]:
    told = dict(heat_words.heat_lines(view.analysis))
    seen = {"coolant_c", "speed_mps"} <= view.traces.series.keys()
    return [_sentences([words.came_down(alone, seen=seen)]), _sentences([words.fan(alone, told.get("Fan", ""))])]


def _fast(view: RideView, alone: Alone) -> list[object]:
    fact = (view.analysis.facts or {}).get("riding", {}).get("fast_wide_open", {})
    inside: list[object] = [_sentences([words.fast(view.analysis.facts)])]
    if fact.get("by_rpm"):
        inside.append(_table(words.FAST_COLUMNS, words.fast_rows(fact), words.FAST))
    if alone.cells is None:
        return [*inside, _sentences([words.NO_CELLS])]
    return [*inside, html.H3(words.CELLS), _table(*words.cell_table(alone.cells), words.CELLS)]


def _gears(alone: Alone) -> list[object]:
    rows = words.gear_rows(alone)
    if not rows:
        return [_sentences([words.NO_GEARS])]
    return [_table(words.GEAR_COLUMNS, rows, words.QUESTIONS["gears"]), _small(words.GEAR_NOTE)]


def _coolants(view: RideView) -> list[str]:
    return [name for name in view.ride.channels if base_name(name) == "coolant_c"]


def _beside(view: RideView) -> list[object]:
    """Links to comparisons: the bike's nearest rides that its balance goes by, work on it, its build, its own laps."""
    ride, bike = view.ride.id, view.bike
    links: list[object] = []
    prior = view.analysis.basis.prior
    own = [one for one in prior.rides if one not in prior.same_build]
    days = {fit.ride: fit.day for fit in view.study.known.baseline}
    before = max((one for one in own if one < ride), default=None)
    after = min((one for one in own if one > ride), default=None)
    for other, said in ((before, words.BEFORE), (after, words.AFTER)):
        if other is not None:
            day = days.get(other)
            name = f"{day:%-d %B %Y}" if day is not None else other
            links.append(dcc.Link(said.format(name), href=config.compare_path(ride, other)))
    links.append(dcc.Link(words.LAPS, href=config.compare_path(ride)))
    if bike is not None:
        links += [
            dcc.Link(
                texts.compare_service(bike.id, one.day.isoformat(), one.what),
                href="/compare?" + urlencode({"bike": bike.id, "service": one.day.isoformat()}),
            )
            for one in bike.services
        ]
        links.append(dcc.Link(texts.COMPARE_BUILD, href="/compare?" + urlencode({"rides": ride, "build": "1"})))
    return [parts.bullets(links), *([] if before or after else [_small(words.NO_OTHER_RIDE)])]


def _again(view: RideView) -> list[object]:
    rows = words.again_rows(view.analysis)
    files = [
        html.A(
            f"{words.ORIGINAL}: {source.name}", href=f"{config.ride_path(view.ride.id)}/original-{number}", download=""
        )
        for number, source in enumerate(view.ride.sources, 1)
    ]
    return [
        _table(words.AGAIN_COLUMNS, rows, words.QUESTIONS["again"]),
        _small(words.AGAIN_NOTE),
        html.P(html.Code(f"ridelog analyze {view.ride.id} --json")),
        parts.bullets(files),
        *([_small(words.ORIGINAL_WHOLE)] if "lat_deg" in view.ride.channels else []),
    ]


def _positions(view: RideView, look: Look) -> list[object]:
    if "lat_deg" not in view.ride.channels:
        return [_sentences([words.POSITIONS_NONE])]
    return [
        _sentences([answers.who()]),
        html.P([shown(words.positions(look.trim_m)), " ", dcc.Link(texts.SETTINGS, href="/settings")]),
    ]
