"""CAN traces as text, one frame a line: `(1436509052.249713) can0 7E8#0341057B00000000`.

Signals come from a message description file where the user gives one; replies of SAE J1979 need none.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

from ridelog.errors import InputRefused
from ridelog.readers import textfile
from ridelog.readers.base import HEAD_BYTES, ReadOptions, Sniff
from ridelog.readers.can_decode import Decoded, Messages, Piece, decode, id_text
from ridelog.readers.can_description import Description, load_description
from ridelog.readers.can_lines import Frames, Ints, Tally, joined, read_frames
from ridelog.readers.foreign import looks_binary
from ridelog.readers.same_names import numbered
from ridelog.ride import Note, RawColumn, RawLog
from ridelog.words import reading, reading_can

_LINE = re.compile(r"\s*\(\d{1,11}\.\d{1,9}\)\s+\S{1,64}\s+[0-9A-Fa-f]{3,8}#\S{0,160}(?:\s+[RTrt])?\s*")
_SHOWN_IDS = 8
_EPOCH_FROM_S = 1e9
"""Larger stamps count from 1970: no recording runs for thirty years."""


class CanTextReader:
    """CAN traces in the Linux text form."""

    name = "can-text"
    description = reading_can.CAN_TEXT
    endings = (".log", ".txt", ".trace")

    def sniff(self, head: bytes, file_name: str) -> Sniff:  # noqa: ARG002 - the content decides
        """Sure where nearly every line is a frame, willing where every second one is."""
        if looks_binary(head):
            return Sniff(0.0, "the bytes are not text")
        lines = [line for line in textfile.decode_head(head[:65_536]).splitlines()[:500] if line.strip()]
        if len(lines) > 1:
            lines = lines[:-1]  # the last one may be cut by the end of the look
        frames = sum(_LINE.fullmatch(line) is not None for line in lines)
        if not frames or frames < 0.3 * len(lines):
            return Sniff(0.0, "lines are not of the form (seconds) bus identifier#payload")
        return Sniff(
            0.95 if frames > 0.8 * len(lines) else 0.8, f"{frames} of the first {len(lines)} lines are CAN frames"
        )

    def read(self, path: Path, options: ReadOptions) -> list[RawLog]:
        """The one table of the trace: a column a signal, a row a frame that holds one. Raises InputRefused."""
        told = options.description
        description = Description((), ()) if told is None else load_description(told)
        messages = Messages(description.messages)
        tally = Tally()
        with path.open("rb") as file:
            if looks_binary(file.read(HEAD_BYTES)):
                raise _refused("the bytes are not text", options, "check the file")
        with textfile.opened(path) as text:
            if text.newlines > options.limits.max_rows:
                raise options.limits.exceeded(
                    "max_rows", f"the trace has {text.newlines:,} lines", where=options.file_name
                )
            frames = joined(list(read_frames(text.path, messages.wanted, tally)))
            notes = [*text.notes, *description.notes, *_line_notes(tally, messages)]
        if not tally.seen:
            raise _refused("there is no CAN frame with data in it", options, "check that the recording was started")
        buses = [name.decode("utf-8", errors="replace") for name in tally.buses]
        decoded = decode(frames, messages, buses)
        pieces = [piece for piece in decoded.pieces if len(piece.rows)]
        if not pieces:
            raise _nothing(tally, decoded, options, described=told is not None)
        if len(pieces) + 1 > options.limits.max_columns:
            raise options.limits.exceeded("max_columns", f"{len(pieces):,} signals", where=options.file_name)
        names, more = numbered([piece.name for piece in pieces], [piece.origin for piece in pieces])
        empty = sorted({piece.name for piece in decoded.pieces} - {piece.name for piece in pieces})
        if empty:
            more.append(Note("empty_signals", reading_can.no_values(", ".join(empty))))
        columns = _columns(frames, decoded, pieces, names)
        return [RawLog(self.name, columns, tally.lines, (), 0, (*notes, *decoded.notes, *more))]


def _columns(frames: Frames, decoded: Decoded, pieces: Sequence[Piece], names: Sequence[str]) -> tuple[RawColumn, ...]:
    height = int(np.count_nonzero(decoded.kept))
    row_of: Ints = np.cumsum(decoded.kept) - 1
    columns = [_time_column(frames.time_s[decoded.kept])]
    for name, piece in zip(names, pieces, strict=True):
        values: npt.NDArray[np.float64] = np.full(height, np.nan)
        values[row_of[piece.rows]] = piece.values
        columns.append(RawColumn(name, piece.unit, pl.Series(name, values, nan_to_null=True)))
    return tuple(columns)


def _time_column(time_s: npt.NDArray[np.float64]) -> RawColumn:
    """Seconds as they stand; stamps since 1970 in microseconds, because seconds would not hold their last digit."""
    if len(time_s) and time_s.min() > _EPOCH_FROM_S:
        return RawColumn("time", "us", pl.Series("time", np.round(time_s * 1e6)))
    return RawColumn("time", "s", pl.Series("time", time_s))


def _line_notes(tally: Tally, messages: Messages) -> list[Note]:
    notes: list[Note] = []
    if tally.blank:
        notes.append(Note("blank_lines", reading.BLANK_LINES, rows=tally.blank))
    if tally.cut:
        notes.append(
            Note(
                "left_out_cut_line",
                reading_can.CUT_FRAME,
                rows=1,
            )
        )
    if tally.damaged:
        notes.append(
            Note(
                "left_out_damaged",
                reading_can.DAMAGED,
                rows=tally.damaged,
                example=f"line {tally.damaged_line}",
            )
        )
    if tally.remote:
        notes.append(Note("left_out_remote", reading_can.REMOTE, rows=tally.remote))
    if tally.error:
        notes.append(Note("left_out_error", reading_can.ERROR, rows=tally.error))
    if tally.unwanted:
        others = Counter({can_id: count for can_id, count in tally.seen.items() if messages.owner(can_id) is None})
        notes.append(
            Note(
                "left_out_other_frames",
                reading_can.UNEXPLAINED,
                rows=tally.unwanted,
                example=_ids(others),
            )
        )
    return notes


def _ids(seen: Counter[int]) -> str:
    shown = sorted(seen.items(), key=lambda one: (-one[1], one[0]))[:_SHOWN_IDS]
    text = ", ".join(f"{id_text(can_id)} ({count:,})" for can_id, count in shown)
    return text + (f" and {len(seen) - len(shown)} more" if len(seen) > len(shown) else "")


def _refused(found: str, options: ReadOptions, to_do: str) -> InputRefused:
    return InputRefused(
        found,
        where=options.file_name,
        expected="lines of the form (1436509052.249713) can0 7E8#0341057B00000000",
        to_do=to_do,
    )


def _nothing(tally: Tally, decoded: Decoded, options: ReadOptions, *, described: bool) -> InputRefused:
    why = "; ".join(note.sentence() for note in decoded.notes)
    return InputRefused(
        f"no frame could be decoded; identifiers in the trace, most frequent first: {_ids(tally.seen)}"
        + (f" ({why})" if why else ""),
        where=options.file_name,
        expected="frames of the description given"
        if described
        else "SAE J1979 replies on 7E8 to 7EF or 18DAF100 to 18DAF1FF, or a description",
        to_do="import it with --description FILE, a .dbc file that describes the messages of this bike"
        if not described
        else "check that the description given with --description is the one of this bus",
    )
