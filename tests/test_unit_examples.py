"""The units an error names for a channel are units it takes."""

from __future__ import annotations

import pytest

from ridelog.channels import CHANNELS
from ridelog.errors import UsageError
from ridelog.normalize.channel_units import examples, unit_for
from ridelog.normalize.choice import parse_choice

MEASURED = [name for name, channel in CHANNELS.items() if channel.kind != "time" and name not in ("lat_deg", "lon_deg")]


@pytest.mark.parametrize("channel", MEASURED)
def test_every_unit_an_error_names_is_taken(channel: str) -> None:
    for unit in examples(channel).split(", "):
        fits, conversion = unit_for(channel, unit)
        assert fits, unit
        assert conversion is not None, unit
        assert parse_choice(f"A={channel}:{unit}").unit == unit


def test_an_unknown_unit_is_answered_with_those_that_do() -> None:
    with pytest.raises(UsageError, match="is no unit of engine_rpm") as caught:
        parse_choice("Revs=engine_rpm:bogus")
    assert "krpm" in caught.value.expected
    parse_choice("Revs=engine_rpm:krpm")
