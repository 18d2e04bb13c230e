"""How bytes and whole files go wrong: encodings, line ends, cuts, other formats, the same ride again."""

from __future__ import annotations

import gzip
import io
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from corpus_files import HEADER, Form, kinds, lines, note, read, refused, rides, same_ride, text, write

from ridelog.errors import LimitExceeded
from ridelog.ingest import ImportOptions, import_files, read_rides
from ridelog.readers.limits import Limits
from ridelog.store.library import Library

LOG = write(Form())


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_two_bytes_a_letter(encoding: str, newline: str, tmp_path: Path) -> None:
    ride = read(tmp_path, write(Form(encoding=encoding, newline=newline)))
    same_ride(ride)
    note(ride, "encoding")


@pytest.mark.parametrize("times", [1, 2])
def test_a_mark_before_the_first_letter(times: int, tmp_path: Path) -> None:
    ride = read(tmp_path, b"\xef\xbb\xbf" * times + LOG)
    same_ride(ride)
    assert ride.notes == ()


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1"])
def test_one_byte_a_letter(encoding: str, tmp_path: Path) -> None:
    names = ("Zeit [s]", "Kühlmitteltemperatur [°C]", *HEADER[2:])
    ride = read(tmp_path, write(Form(header=names, encoding=encoding)))
    same_ride(ride)
    note(ride, "encoding")


@pytest.mark.parametrize("times", [1, 2])
def test_a_degree_sign_saved_wrongly(times: int, tmp_path: Path) -> None:
    name = "Coolant temp [°C]"
    for _ in range(times):
        name = name.encode().decode("cp1252")
    ride = read(tmp_path, write(Form(header=(HEADER[0], name, *HEADER[2:]))))
    same_ride(ride)
    note(ride, "mended_names")


@pytest.mark.parametrize("end", [b"\r", b"\r\r\n", b"\n\r"])
def test_line_ends_of_any_kind(end: bytes, tmp_path: Path) -> None:
    ride = read(tmp_path, LOG.replace(b"\n", end))
    same_ride(ride)
    note(ride, "line_ends")


@pytest.mark.parametrize("size", [1, 4096, 100_000])
def test_zeros_behind_the_last_row(size: int, tmp_path: Path) -> None:
    ride = read(tmp_path, LOG + b"\0" * size)
    same_ride(ride)
    assert f"{size:,} empty bytes" in note(ride, "nul_tail").sentence() or size == 1


def test_zeros_behind_a_torn_row(tmp_path: Path) -> None:
    ride = read(tmp_path, LOG[: LOG[:-1].rindex(b"\n") + 9] + b"\0" * 4096)
    same_ride(ride, rows=range(599))
    assert "nul_tail" in kinds(ride)
    assert note(ride, "left_out_cut_line").rows == 1


def test_zeros_inside_leave_one_ride(tmp_path: Path) -> None:
    # The torn row's first cell is a number that is no time of the ride.
    ride = read(tmp_path, LOG[:9000] + b"\0" * 512 + LOG[9000:])
    assert ride.duration_s == 299.5
    assert 598 <= ride.samples.height <= 600
    assert "nul_bytes" in kinds(ride)


def test_a_last_row_cut_in_its_last_number(tmp_path: Path) -> None:
    order = (0, 5, 4, 3, 1, 2)
    whole = write(Form(order=order))
    ride = read(tmp_path, whole[:-2])
    same_ride(ride, rows=range(599))
    assert note(ride, "left_out_cut_line").rows == 1


@pytest.mark.parametrize("content", [b"", b" \n\n", b"\0" * 512, f"{','.join(HEADER)}\n".encode()])
def test_nothing_in_it(content: bytes, tmp_path: Path) -> None:
    refused(tmp_path, content, "")


def workbook() -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w") as archive:
        archive.writestr("[Content_Types].xml", "<x/>")
        archive.writestr("xl/workbook.xml", "<x/>")
    return store.getvalue()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (workbook(), "spreadsheet"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 512, "spreadsheet"),
        (b"\n <!DOCTYPE html><html><body>Please log in</body></html>", "web page"),
        (b"<table><tr><td>Time</td></tr></table>", "web page"),
        (b'<?xml version="1.0"?>\n<Workbook xmlns="urn:x"><Worksheet/></Workbook>', "spreadsheet"),
        (b"%PDF-1.7\n", "PDF"),
        (b'{"rows": []}', "JSON"),
    ],
)
def test_something_else_under_the_name_of_a_log(content: bytes, words: str, tmp_path: Path) -> None:
    refused(tmp_path, content, words)


def test_an_archive_that_unfolds_without_end(tmp_path: Path) -> None:
    path = tmp_path / "log.csv.gz"
    path.write_bytes(gzip.compress(LOG + b"0" * 40_000_000))
    with pytest.raises(LimitExceeded):
        read_rides([path], ImportOptions(limits=Limits(max_unpack_ratio=50)))
    with pytest.raises(LimitExceeded):
        read_rides([path], ImportOptions(limits=Limits(max_bytes=1_000_000)))


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_an_inch_sign_in_the_header_loses_no_row(separator: str, tmp_path: Path) -> None:
    form = Form(separator=separator, header=(*HEADER[:5], "Gear"))
    found = lines(form)
    found = [found[0] + separator + 'wheel 21" travel', *(row + f"{separator}4" for row in found[1:])]
    ride = read(tmp_path, text(found))
    same_ride(ride)


def test_an_inch_sign_in_every_note_loses_no_row(tmp_path: Path) -> None:
    found = lines()
    ride = read(tmp_path, text([found[0] + ",Note", *(row + ',21" rim' for row in found[1:])]))
    same_ride(ride)
    assert set(ride.samples["raw.Note"]) == {'21" rim'}


def test_the_same_file_under_another_name_is_stored_once(tmp_path: Path) -> None:
    library = Library.open(tmp_path / "library")
    for name, expected in (("a.csv", "stored"), ("renamed.csv", "already_stored"), ("a.csv", "already_stored")):
        (tmp_path / name).write_bytes(LOG)
        outcomes = import_files(library, [tmp_path / name], ImportOptions())
        assert [outcome.status for outcome in outcomes] == [expected]


@pytest.mark.parametrize(
    "glue",
    [
        lambda log: [*log, *log],
        lambda log: [*log, *log[1:]],
        lambda log: ["First", *log, "", "Second", *log],
    ],
)
def test_two_recordings_in_one_file_are_two_rides(glue: Callable[[list[str]], list[str]], tmp_path: Path) -> None:
    found = rides(tmp_path, text(glue(lines())))
    assert len(found) == 2
    for ride in found:
        same_ride(ride)
        note(ride, "part")
