"""Files that are something else: told apart by their first bytes, so that the refusal can say what they are."""

from __future__ import annotations

import re

from ridelog.errors import InputRefused

_MAGIC: tuple[tuple[bytes, str, str], ...] = (
    (b"%PDF-", "a PDF document", "export the log itself from the logger, not a printed page of it"),
    (b"\x89PNG", "a picture", "give the log file, not a picture of it"),
    (b"\xff\xd8\xff", "a picture", "give the log file, not a picture of it"),
    (b"GIF8", "a picture", "give the log file, not a picture of it"),
    (b"RIFF", "a sound or video file", "give the log file"),
    (
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
        "an old spreadsheet or office document",
        "export it as CSV, better: use the logger's own file, since spreadsheets damage times",
    ),
    (b"SQLite format 3\x00", "a database file", "export the log as CSV"),
    (b"\x7fELF", "a program", "give the log file"),
    (b"MZ\x90", "a program", "give the log file"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", "unpack it and give the log inside (.zip, .gz and .xz are unpacked here)"),
    (b"Rar!", "a RAR archive", "unpack it and give the log inside (.zip, .gz and .xz are unpacked here)"),
    (b"BZh", "a bzip2 file", "unpack it and give the log inside (.zip, .gz and .xz are unpacked here)"),
    (b"\x28\xb5\x2f\xfd", "a zstd file", "unpack it and give the log inside (.zip, .gz and .xz are unpacked here)"),
)

_HTML = re.compile(
    rb"\A\s*(?:<!--.{0,500}?-->\s*)?<(?:!doctype\s+html|html|head|body|table)\b", re.IGNORECASE | re.DOTALL
)
_XML_WORKBOOK = re.compile(rb"\A\s*<\?xml[^>]{0,200}\?>.{0,1000}?<(?:\w+:)?Workbook\b", re.DOTALL)
_JSON = re.compile(rb'\A\s*(?:\{\s*["}]|\[\s*(?:\{|"|-?\d|\[\s*[-"\d{]))')
"""Not just any bracket: a preamble may begin with [log] or {settings}."""


def refuse_foreign(head: bytes, file_name: str) -> None:
    """Raise InputRefused where the first bytes are those of something that is no log at all."""
    if not head:
        raise InputRefused(
            "the file is empty", where=file_name, expected="a log with rows", to_do="copy it from the logger again"
        )
    for magic, what, to_do in _MAGIC:
        if head.startswith(magic):
            raise InputRefused(f"this is {what}", where=file_name, expected="a log", to_do=to_do)
    if not head.strip(b"\0"):
        raise InputRefused(
            f"the first {len(head):,} bytes are all zero, as after a power cut while writing",
            where=file_name,
            expected="a log with rows",
            to_do="copy it from the logger again",
        )
    text = head[3:] if head.startswith(b"\xef\xbb\xbf") else head
    if _HTML.match(text):
        raise InputRefused(
            "this is a web page",
            where=file_name,
            expected="a log",
            to_do="download the log itself; the page may say why it was shown instead",
        )
    if _XML_WORKBOOK.match(text):
        raise InputRefused(
            "this is a spreadsheet workbook written as XML",
            where=file_name,
            expected="a log as text",
            to_do="use the logger's own file; if there is none any more, export the sheet as CSV",
        )
    if _JSON.match(text):
        raise InputRefused(
            "this is JSON, which no reader here reads",
            where=file_name,
            expected="a table of rows and columns, or a GPX track",
            to_do="export the log as CSV",
        )


def looks_binary(head: bytes) -> bool:
    """True for bytes that are no text in any encoding a log is written in."""
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return False
    sample = head.rstrip(b"\0")[:65_536]
    if not sample:
        return True
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    if (even + odd) and max(even, odd) > 0.3 * len(sample) / 2 and min(even, odd) < 0.02 * len(sample):
        return False  # UTF-16 without a mark: every other byte is zero
    # A block of zeros is what a power cut leaves in a text; other control characters, or zeros all over, are no text.
    control = sum(sample.count(code) for code in range(1, 32) if code not in (9, 10, 12, 13, 27))
    return control > 0.005 * len(sample) + 1 or even + odd > 0.3 * len(sample)
