"""Every reader keeps the one contract."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from build_logs import Form, write
from contract import GARBAGE, check_reader

from ridelog.readers.registry import built_in

TRACK = b"""<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="43.2" lon="-31.6"><ele>10</ele><time>2026-05-03T08:15:00Z</time></trkpt>
<trkpt lat="43.2001" lon="-31.6"><time>2026-05-03T08:15:01Z</time></trkpt>
<trkpt lat="43.2002" lon="-31.6"><ele>11</ele></trkpt>
<trkpt lat="43.2003" lon="-31.6"><ele>11</ele><time>2026-05-03T08:15:03Z</time></trkpt>
</trkseg></trk></gpx>
"""

GOOD = {"delimited": write(Form()), "gpx": TRACK}


@pytest.mark.parametrize("reader", [r for r in built_in() if r.name in GOOD], ids=lambda reader: reader.name)
def test_contract(reader: object, tmp_path: Path) -> None:
    good = tmp_path / "good.log"
    good.write_bytes(GOOD[reader.name])  # type: ignore[attr-defined]
    check_reader(reader, good, GARBAGE, tmp_path)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", GOOD)
def test_no_other_reader_is_sure_of_it(name: str) -> None:
    scores = {reader.name: reader.sniff(GOOD[name], "log").score for reader in built_in()}
    assert scores.pop(name) >= 0.9
    assert all(score < 0.5 for score in scores.values())
