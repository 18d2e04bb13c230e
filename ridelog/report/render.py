"""One ride as one HTML file that needs no network, no other file, and prints on paper."""

from __future__ import annotations

import base64
import hashlib
from importlib import resources
from typing import TYPE_CHECKING, Any

from ridelog.advice import Advice
from ridelog.bike import Bike
from ridelog.errors import UsageError
from ridelog.figures.course_map import course, course_map
from ridelog.figures.ride_stack import absent_panels, ride_stack
from ridelog.figures.series import RideLines
from ridelog.figures.theme import GRAPH_CONFIG
from ridelog.report import customer, heat_chain, note_list, tables
from ridelog.report.sentences import start_text
from ridelog.results import Analysis, Traces
from ridelog.ride import Ride
from ridelog.words import basis, heat_model, key_figures
from ridelog.words import customer as customer_words
from ridelog.words import riding as riding_words
from ridelog.words.cautions import CAUTIONS
from ridelog.words.checks import check_lines
from ridelog.words.display import Display, display

if TYPE_CHECKING:
    from ridelog.diagnose import Diagnosis

_POINTS = 1200


def render(
    analysis: Analysis,
    traces: Traces,
    ride: Ride,
    bike: Bike | None,
    *,
    units: str = "metric",
    advice: Advice | None = None,
    diagnosis: Diagnosis | None = None,
    annex: bool = True,
    with_course: bool = True,
) -> str:
    """The report of a ride as HTML text: with a diagnosis, one page for the customer first, then the technical annex.

    `units` is `metric` or `imperial` (sentences of the annex keep C). `advice` draws the sheet's drag level into the
    picture. Without `with_course` no map of the course is in it. Without `annex` the customer's page alone, small
    enough for a message. The page carries its own plotting code and a content security policy that allows nothing else:
    every text from a log, file name or profile is escaped.
    Raises UsageError for other units, and for a page without annex that has no diagnosis either.
    """
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    shown = display(units)
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=FunctionLoader(_text),
    )
    lines = RideLines(ride, traces)
    first = None
    if diagnosis is not None:
        first = customer.page(analysis, lines, diagnosis, shown)
    elif not annex:
        raise UsageError("a page for the customer needs a diagnosis", expected="a diagnosis", to_do="make one first")
    head: dict[str, Any] = {
        "title": tables.title(ride),
        "css": _safe(_text("report.css")),
        "words": customer_words,
        "first": first,
        "drawing": _safe(first.drawing) if first is not None else "",
        "annex": annex,
        "ride": ride,
        "version": analysis.basis.version,
        "cautions": CAUTIONS,
    }
    if not annex:
        return environment.get_template("page.html.j2").render(policy=_policy(), **head)
    plotting, own = _plotting_code(), _text("report.js")
    return environment.get_template("report.html.j2").render(
        policy=_policy(plotting, own),
        plotting=_safe(plotting),
        script=_safe(own),
        figures=_safe(_figures(analysis, lines, bike, advice, shown, with_course=with_course)),
        **head,
        **_content(analysis, lines, shown, with_course=with_course),
        **_heat(analysis, traces, bike),
    )


def _content(analysis: Analysis, lines: RideLines, shown: Display, *, with_course: bool) -> dict[str, Any]:
    ride = lines.ride
    return {
        "answer": tables.answer(analysis),
        "rest": tables.rest(analysis),
        "imperial": shown.name == "imperial",
        "key_figures": key_figures.key_figures(analysis, shown),
        "missing": tables.missing_text(set(ride.channels)),
        "absent": absent_panels(analysis, lines),
        "has_map": with_course and course(lines) is not None,
        "legend": tables.legend(analysis, lines.traces),
        "segment_columns": tables.SEGMENT_COLUMNS,
        "segments": tables.segment_rows(analysis, shown),
        "stretches_note": key_figures.STRETCHES_NOTE,
        "exposure_columns": tables.exposure_columns(analysis),
        "exposure": tables.exposure_rows(analysis, shown),
        "riding_title": riding_words.TITLE,
        "riding": tables.riding_rows(analysis),
        "riding_note": riding_words.OIL,
        "checks": check_lines(analysis.facts),
        "cannot_tell": tables.cannot_tell_rows(analysis),
        "notes": tables.note_sentences(ride),
        "note_columns": note_list.NOTE_COLUMNS,
        "note_rows": note_list.note_rows(analysis),
        "quality_columns": tables.QUALITY_COLUMNS,
        "quality": tables.quality_rows(analysis),
        "basis": basis.basis_rows(analysis, ride, start_text(ride)),
        "defaults": basis.defaults(analysis),
    }


def _heat(analysis: Analysis, traces: Traces, bike: Bike | None) -> dict[str, Any]:
    """What the heat balance found, and how: the block, the same ride on the other map, one chain, the model."""
    hottest = heat_chain.hottest(analysis.segments)
    found = heat_chain.chain(analysis.segments[hottest], traces, bike) if hottest is not None else None
    return {
        "heat": tables.heat_rows(analysis),
        "what_if_columns": tables.WHAT_IF_COLUMNS,
        "what_if": tables.what_if_rows(analysis),
        "what_if_note": tables.what_if_note(analysis),
        "chain_columns": heat_chain.CHAIN_COLUMNS,
        "chain": heat_chain.chain_rows(found) if found is not None else [],
        "chain_of": (hottest or 0) + 1,
        "model": heat_model,
        "symbols": heat_model.symbol_rows(analysis.heat),
    }


def _figures(
    analysis: Analysis, lines: RideLines, bike: Bike | None, advice: Advice | None, shown: Display, *, with_course: bool
) -> str:
    """Both figures as one JSON text that can stand in a script element."""
    import json

    found: dict[str, Any] = {"config": GRAPH_CONFIG}
    found["stack"] = json.loads(ride_stack(analysis, lines, bike, advice, display=shown, points=_POINTS).to_json())
    seen_from_above = course_map(analysis, lines, display=shown) if with_course else None
    found["map"] = json.loads(seen_from_above.to_json()) if seen_from_above is not None else None
    # "<" can only stand inside strings of JSON, so this keeps the text from ending the element
    return json.dumps(found, ensure_ascii=True, allow_nan=False, separators=(",", ":")).replace("<", "\\u003c")


def _policy(*scripts: str) -> str:
    """Only the scripts of this file run, by their hash; nothing is fetched from anywhere."""
    hashes = " ".join(
        f"'sha256-{base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()}'" for script in scripts
    )
    allowed = hashes or "'none'"
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; "
        "form-action 'none'"
    )


def _plotting_code() -> str:
    from plotly.offline import get_plotlyjs

    code: str = get_plotlyjs()
    return code


def _text(name: str) -> str:
    return (resources.files("ridelog.report") / "templates" / name).read_text(encoding="utf-8")


def _safe(text: str) -> Any:
    from markupsafe import Markup

    # only own files, plotly's own code and JSON with "<" taken out come here
    return Markup(text)  # noqa: S704
