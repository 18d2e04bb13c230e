"""Values no healthy sensor of the kind gives."""

from __future__ import annotations

from ridelog.channels import Channel
from ridelog.quality.trace import Finding, Trace
from ridelog.results import BoolArray
from ridelog.words import doubt_details


def find(trace: Trace, channel: Channel, bad: BoolArray) -> list[Finding]:
    """Samples outside the channel's low..high (see channels.py), but for those another rule has named already."""
    if trace.low >= channel.low and trace.high <= channel.high:
        return []
    outside = ((trace.y < channel.low) | (trace.y > channel.high)) & ~bad
    if not outside.any():
        return []
    detail = doubt_details.out_of_range(channel.unit, channel.low, channel.high)
    return [Finding("out_of_range", outside, detail)]
