"""What each column of a log holds: names propose, units and values decide, and where two things still fit ridelog
asks."""

from __future__ import annotations

from collections.abc import Sequence

from ridelog.channels import CHANNELS
from ridelog.normalize import fitting, unknown
from ridelog.normalize.numbering import number
from ridelog.normalize.plan import ColumnChoice, Plan
from ridelog.normalize.preview import shown
from ridelog.normalize.time_column import choose_time
from ridelog.ride import Candidate, Note, RawColumn
from ridelog.words import normalizing


def decide(
    columns: Sequence[RawColumn],
    proposals: Sequence[tuple[Candidate, ...]],
    choices: Sequence[ColumnChoice],
    where: str,
    remembered: Sequence[ColumnChoice] = (),
) -> Plan:
    """The meaning of every column.

    `proposals` holds, column by column, what the name can mean. `choices` are the user's word; `remembered` are those
    of an earlier import: they settle a column as a header does that names channel and unit, so that values which can't
    be so are still noticed. Raises AmbiguousColumn where a column fits two channels, InputRefused where no column can
    be the time or two columns of one name differ.
    """
    plan = Plan([], [], None, frozenset())
    chosen: set[int] = set()
    open_: dict[int, list[Candidate]] = {}
    settled: dict[int, tuple[str, str | None]] = {}
    for index, column in enumerate(columns):
        said = next((c for c in choices if c.fits(column)), None)
        choice = said or next((c for c in remembered if c.fits(column)), None)
        if choice is not None:
            if said is not None:
                chosen.add(index)
            settled[index] = (choice.channel, choice.unit if choice.unit is not None else column.unit)
        else:
            open_[index] = fitting.possible(column, proposals[index], plan)
    for choice in choices:
        if not any(choice.fits(column) for column in columns):
            plan.notes.append(Note("column_choice", normalizing.no_such_column(choice.names[0])))
    plan.chosen, plan.remembered = frozenset(chosen), frozenset(settled) - chosen
    fitting.by_language(open_, plan.languages)
    fitting.add_hemispheres(open_, columns)
    fitting.drop_fallbacks(open_, settled, columns, plan)
    for index, found in open_.items():
        certain = {f[0].channel for i, f in open_.items() if i != index and len({c.channel for c in f}) == 1}
        certain |= {channel for channel, _ in settled.values()}
        with shown(columns[index]):
            channel = fitting.one_of(index, found, columns, certain, where)
        if channel in CHANNELS and len({candidate.channel for candidate in found}) > 1:
            plan.notes.append(
                Note("taken_as", normalizing.taken_as(columns[index].name, CHANNELS[channel].meaning, channel))
            )
        settled[index] = (channel, columns[index].unit) if channel else ("raw", None)
    not_understood = [i for i, found in open_.items() if not found and not proposals[i]]
    number(settled, columns, proposals, plan, where)
    choose_time(columns, plan, where)
    plan.notes.extend(unknown.note([columns[index] for index in not_understood]))
    return plan
