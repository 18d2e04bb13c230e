"""The strip of one ride as a small drawing (SVG): flagged stretches, hot time, the map in use; many stand one below the
other, all to the same scale of time."""

from __future__ import annotations

from xml.sax.saxutils import escape

from ridelog.figures.theme import CONSERVATIVE, DARK, INK, KIND_STYLES, NO_DATA, OKABE_ITO, STANDARD
from ridelog.strips import Strip
from ridelog.words.terms import KIND_WORDS, VERDICT_WORDS

WIDTH, HEIGHT = 800, 30
STRETCHES, HOT, MAP = (0, 14), (15, 4), (20, 10)
LEAST = 1.2


def strip_svg(strip: Strip, longest_s: float, *, dark: bool = False) -> str:
    """The drawing as SVG text; `longest_s` is the whole width."""

    def toned(color: str) -> str:
        return DARK.get(color, color) if dark else color

    scale = WIDTH / max(longest_s, 1.0)

    def bar(span: tuple[float, float], place: tuple[float, float], fill: str, more: str = "", title: str = "") -> str:
        width = max((span[1] - span[0]) * scale, LEAST)
        inner = f"<title>{escape(title)}</title>" if title else ""
        where = f'x="{span[0] * scale:.1f}" y="{place[0]}" width="{width:.1f}" height="{place[1]}"'
        return f'<rect {where} fill="{fill}"{more}>{inner}</rect>'

    ground = bar((0.0, strip.duration_s), (0, HEIGHT), toned(NO_DATA))
    outline = f' stroke="{toned(INK)}" stroke-width="1"'
    stretches = [
        bar(
            (one.start_s, one.end_s),
            STRETCHES,
            toned(KIND_STYLES[one.kind].color),
            outline if one.verdict in ("missed", "late") else "",
            f"{KIND_WORDS[one.kind]}: {VERDICT_WORDS[one.verdict]}",
        )
        for one in strip.stretches
    ]
    hot = [bar(span, HOT, OKABE_ITO["vermillion"]) for span in strip.hot]
    low = (MAP[0] + 3, MAP[1] - 6)
    maps = [bar(span, low, toned(STANDARD)) for span in strip.standard]
    maps += [bar(span, MAP, CONSERVATIVE) for span in strip.conservative]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" preserveAspectRatio="none">'
        + "".join((ground, *stretches, *hot, *maps))
        + "</svg>"
    )
