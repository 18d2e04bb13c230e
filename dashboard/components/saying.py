"""What a refusal says beside the form it belongs to: the words of the command line, without its options."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ridelog.errors import RidelogError

_ZONE = re.compile(r"\(--timezone [^)]*\)")
_OPTION = re.compile(r"--[a-z-]+ ?")


def refusal(error: RidelogError) -> str:
    """A refusal in one paragraph. Where it names an option, the form has a field of its own, which stands above."""
    place = _OPTION.sub("", error.where).strip(" ,")
    said = [f"{place}: {error.found}" if place else error.found]
    if error.expected:
        said.append(f"Expected: {error.expected}")
    if error.to_do:
        to_do = _ZONE.sub("behind it, such as 10:31+02:00", error.to_do)
        # what is to be typed in a terminal keeps its options
        parts = re.split(r"(`[^`]*`|ridelog [a-z].*$)", to_do)
        said.append("What to do: " + "".join(p if i % 2 else _OPTION.sub("", p) for i, p in enumerate(parts)))
    told = " ".join(part if part.endswith((".", "?", "!")) else f"{part}." for part in said)
    return told[:1].upper() + told[1:]
