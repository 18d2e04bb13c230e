"""Bytes of a text log made plain: UTF-8, line ends LF or CR LF, no NULs. What had to be done is noted.

A file that is plain already is left where it lies; any other is rewritten, in a stream, to a temporary file.
"""

from __future__ import annotations

import codecs
import re
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ridelog.errors import InputRefused
from ridelog.ride import Note
from ridelog.words import reading

_BLOCK = 4 * 1024 * 1024
LONGEST_LINE = _BLOCK
"""No table has rows that long: 2,000 columns of 2,000 characters."""
_UTF8_MARK = b"\xef\xbb\xbf"

WINDOWS_1252 = Note("encoding", reading.WINDOWS_1252)


@dataclass(frozen=True)
class Survey:
    """What one pass over the bytes found. Counts are of the whole file."""

    size: int
    newlines: int
    returns: int
    return_newlines: int
    nuls: int
    nul_tail: int
    quotes: int
    valid_utf8: bool
    ends_with_newline: bool
    utf16: str | None

    @property
    def plain(self) -> bool:
        """True where the file can be read as it lies."""
        even_line_ends = self.returns == 0 or self.returns == self.return_newlines == self.newlines
        return self.valid_utf8 and even_line_ends and not self.nuls and self.utf16 is None


@dataclass(frozen=True)
class TextFile:
    """A plain text file: UTF-8 (a mark at its start allowed), lines ending LF or CR LF. `newlines` counts its LFs,
    `quotes` its quotation marks."""

    path: Path
    newlines: int
    quotes: int
    ends_with_newline: bool
    notes: tuple[Note, ...]

    def first_lines(self, size: int) -> list[str]:
        """The whole lines among the first bytes, without a mark and without their ends."""
        with self.path.open("rb") as file:
            raw = file.read(size)
            rest = bool(file.read(1))
        lines = lines_of(raw.removeprefix(_UTF8_MARK).decode("utf-8", errors="ignore"))
        return lines[:-1] if rest and len(lines) > 1 else lines


def line_too_long(line: int | None = None) -> InputRefused:
    """The refusal of a line that no table has."""
    return InputRefused(
        f"{f'line {line:,}' if line else 'a line'} is longer than {LONGEST_LINE:,} bytes",
        expected="a table with one row a line",
        to_do="check that this is the log as the device wrote it; the export may have lost its line ends",
    )


def is_utf8(data: bytes) -> bool:
    """True for bytes that are UTF-8."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True


def lines_of(text: str) -> list[str]:
    """Lines as the parsers split them: `str.splitlines` also splits at form feeds and the like, and counts more."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return lines[:-1] if lines and not lines[-1] else lines


def guess_utf16(head: bytes) -> str | None:
    """Name of the UTF-16 codec, by mark or by zeros in every other byte; None where it is not UTF-16."""
    if head.startswith(b"\xff\xfe"):
        return "utf-16-le"
    if head.startswith(b"\xfe\xff"):
        return "utf-16-be"
    sample = head[:4096].rstrip(b"\0")
    if len(sample) < 8:
        return None
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if odd > 0.3 * len(sample) / 2 and even < 0.02 * len(sample):
        return "utf-16-le"
    if even > 0.3 * len(sample) / 2 and odd < 0.02 * len(sample):
        return "utf-16-be"
    return None


def decode_head(head: bytes) -> str:
    """The first bytes of any text file as text, for a look at it."""
    utf16 = guess_utf16(head)
    if utf16:
        return head.decode(utf16, errors="ignore").lstrip("\ufeff")
    head = head.removeprefix(_UTF8_MARK).replace(b"\0", b"")
    try:
        return codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return head.decode("cp1252", errors="replace")


def _count(block: bytes, sign: bytes) -> int:
    # Looking for the first one is several times faster than counting none.
    return block.count(sign) if block.find(sign) >= 0 else 0


def survey(path: Path) -> Survey:
    """Count, in one pass, what decides how a text file has to be read."""
    size = newlines = returns = return_newlines = nuls = nul_tail = quotes = 0
    decoder = codecs.getincrementaldecoder("utf-8")()
    valid, ascii_only, last_return = True, True, False
    utf16, ends = None, True
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            if (
                len(block) == LONGEST_LINE
                and block.find(b"\n") < 0
                and block.find(b"\r") < 0
                and block.count(0) < len(block)
            ):
                raise line_too_long(newlines + 1)
            if not size:
                utf16 = guess_utf16(block)
            size += len(block)
            ends = block.endswith(b"\n")
            newlines += block.count(b"\n")
            quotes += _count(block, b'"')
            some_returns = _count(block, b"\r")
            if some_returns or last_return:
                returns += some_returns
                return_newlines += block.count(b"\r\n") + (last_return and block.startswith(b"\n"))
                last_return = block.endswith(b"\r")
            if b"\0" in block:
                nuls += block.count(0)
                content = block.rstrip(b"\0")
                nul_tail = len(block) - len(content) + (0 if content else nul_tail)
            else:
                nul_tail = 0
            if not block.isascii():
                ascii_only = False
            if valid and not ascii_only:
                try:
                    decoder.decode(block)
                except UnicodeDecodeError:
                    valid = False
    # A character cut off at the very end is a cut file, not another encoding.
    return Survey(size, newlines, returns, return_newlines, nuls, nul_tail, quotes, valid, ends, utf16)


@contextmanager
def opened(path: Path) -> Iterator[TextFile]:
    """The file as plain text, rewritten to a temporary place where it has to be."""
    found = survey(path)
    if found.plain:
        yield TextFile(path, found.newlines, found.quotes, found.ends_with_newline, ())
        return
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        target = Path(folder) / "plain.txt"
        notes = _rewrite(path, target, found)
        again = survey(target)
        yield TextFile(target, again.newlines, again.quotes, again.ends_with_newline, tuple(notes))


def _rewrite(path: Path, target: Path, found: Survey) -> list[Note]:
    notes: list[Note] = []
    nul_tail, nuls = (0, 0) if found.utf16 else (found.nul_tail, found.nuls)
    if found.utf16:
        encoding = found.utf16
        notes.append(Note("encoding", reading.UTF_16))
    elif found.valid_utf8:
        encoding = "utf-8"
    else:
        encoding = "cp1252"
        notes.append(WINDOWS_1252)
    if nul_tail:
        notes.append(Note("nul_tail", reading.nul_tail(nul_tail)))
    if nuls > nul_tail:
        notes.append(Note("nul_bytes", reading.nul_bytes(nuls - nul_tail)))
    decoder = codecs.getincrementaldecoder(encoding)(errors="ignore" if encoding == "utf-8" else "replace")
    left = found.size - nul_tail
    held_back = ""
    bare_returns = 0
    with path.open("rb") as source, target.open("w", encoding="utf-8", newline="") as out:
        while block := source.read(min(_BLOCK, left)):
            left -= len(block)
            text = held_back + decoder.decode(block, final=left == 0)
            held_back = ""
            if text.endswith("\r") and left:
                text, held_back = text[:-1], "\r"
            if nuls:
                text = re.sub("\0+", "\n", text)
            if "\r" in text:
                text = text.replace("\r\n", "\n")
                bare_returns += text.count("\r")
                text = text.replace("\r", "\n")
            out.write(text.lstrip("\ufeff") if out.tell() == 0 else text)
            if left <= 0:
                break
    if bare_returns:
        notes.append(Note("line_ends", reading.LINE_ENDS))
    return notes
