"""Columns of one name that are different signals: the second becomes number 2, as sensors of one kind are numbered."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ridelog.ride import Note
from ridelog.words import reading


def numbered(names: Sequence[str], origins: Sequence[str]) -> tuple[list[str], list[Note]]:
    """A name of its own for every column, and a note for each name that occurs more than once.

    `origins` says, column by column, where it came from: 'message 7E9 on can0', 'group 3'.
    """
    total = Counter(names)
    taken = set(total)
    used: Counter[str] = Counter()
    found: list[str] = []
    for name in names:
        used[name] += 1
        own = name
        while own in taken and used[name] > 1:
            own = f"{name} {used[name]}"
            if own in taken:
                used[name] += 1
        taken.add(own)
        found.append(own)
    notes = [
        Note(
            "same_name",
            reading.same_name(
                name, [(own, origin) for own, origin, one in zip(found, origins, names, strict=True) if one == name]
            ),
        )
        for name, count in total.items()
        if count > 1
    ]
    return found, notes
