"""Archives: unpacked under limits, or refused."""

from __future__ import annotations

import errno
import gzip
import io
import lzma
import sys
import zipfile
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from build_logs import Form, write

from ridelog.errors import InputRefused, LimitExceeded, UsageError
from ridelog.ingest import ImportOptions, read_rides
from ridelog.readers.container import unpacked
from ridelog.readers.limits import Limits, setting

LOG = write(Form())


def zipped(**members: bytes) -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return store.getvalue()


@pytest.mark.parametrize(
    ("name", "content"),
    [("a.csv.gz", gzip.compress(LOG)), ("a.csv.xz", lzma.compress(LOG)), ("a.zip", zipped(**{"a.csv": LOG})),
     ("misnamed.csv", gzip.compress(LOG))],
)  # fmt: skip
def test_a_packed_log_reads_as_the_log(name: str, content: bytes, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(content)
    (tmp_path / "plain.csv").write_bytes(LOG)
    packed = read_rides([tmp_path / name], ImportOptions())[0]
    assert packed.samples.equals(read_rides([tmp_path / "plain.csv"], ImportOptions())[0].samples)
    assert packed.sources[0].name == name
    assert packed.sources[0].size_bytes == len(content)


def test_a_zip_of_several_logs_gives_several_rides(tmp_path: Path) -> None:
    (tmp_path / "day.zip").write_bytes(
        zipped(**{"one.csv": LOG, "../two.csv": LOG.replace(b"[C]", b"[degC]"), "__MACOSX/x": b"?"})
    )
    rides = read_rides([tmp_path / "day.zip"], ImportOptions())
    assert len(rides) == 2
    assert len({ride.id for ride in rides}) == 2
    assert "part" in {note.kind for note in rides[0].notes}


def test_members_never_choose_their_path(tmp_path: Path) -> None:
    evil = zipped(**{"../../evil.csv": LOG, "/abs.csv": LOG, "..\\win.csv": LOG})
    (tmp_path / "a.zip").write_bytes(evil)
    with unpacked(tmp_path / "a.zip", Limits()) as found:
        folder = found[0].path.parent
        assert all(one.path.parent == folder for one in found)
        assert [one.name for one in found] == ["evil.csv", "abs.csv", "win.csv"]
    assert not folder.exists()
    assert [path.name for path in tmp_path.iterdir()] == ["a.zip"]


@pytest.mark.parametrize("pack", [gzip.compress, lzma.compress, lambda data: zipped(**{"bomb.csv": data})])
def test_a_bomb_is_stopped_before_it_unfolds(pack, tmp_path: Path) -> None:
    (tmp_path / "bomb").write_bytes(pack(b"0,0,0,0\n" * 12_500_000))
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_UNPACK_RATIO"):
        read_rides([tmp_path / "bomb"], ImportOptions())
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_BYTES"):
        read_rides([tmp_path / "bomb"], ImportOptions(limits=Limits(max_bytes=1_000_000)))


def test_too_many_members(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(zipped(**{f"{n}.csv": b"" for n in range(10)}))
    with pytest.raises(LimitExceeded, match="RIDELOG_MAX_MEMBERS"), unpacked(tmp_path / "a.zip", Limits(max_members=9)):
        pass


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (zipped(**{"inner.zip": zipped(**{"a.csv": LOG})}), "another archive"),
        (gzip.compress(gzip.compress(LOG)), "another archive"),
        (zipped(), "no file"),
        (gzip.compress(LOG)[:-200], "damaged"),
        (lzma.compress(LOG)[:-50], "damaged"),
        (zipped(**{"a.csv": LOG})[:-30], "damaged"),
        (b"PK\x03\x04" + b"\0" * 100, "damaged"),
        (b"\x1f\x8b" + b"\xff" * 100, "damaged"),
    ],
)
def test_archives_that_are_refused(content: bytes, words: str, tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(content)
    with pytest.raises(InputRefused, match=words):
        read_rides([tmp_path / "a.bin"], ImportOptions())


def test_a_table_over_the_limits(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(LOG)
    for name in ("max_bytes", "max_rows", "max_columns"):
        with pytest.raises(LimitExceeded, match=setting(name)):
            read_rides([tmp_path / "a.csv"], ImportOptions(limits=Limits(**{name: 5})))


def test_limits_from_the_environment() -> None:
    assert Limits.from_environment({}) == Limits()
    assert Limits.from_environment({"RIDELOG_MAX_ROWS": "12"}).max_rows == 12
    for text in ("many", "-1", "0", "1.5", ""):
        with pytest.raises(UsageError, match="RIDELOG_MAX_ROWS"):
            Limits.from_environment({"RIDELOG_MAX_ROWS": text})


def _lzma_zip(content: bytes) -> bytes:
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("a.csv", content)
    return store.getvalue()


@pytest.mark.parametrize(
    "whole",
    [gzip.compress(LOG[:300], mtime=0), lzma.compress(LOG[:300]), zipped(**{"a.csv": LOG[:300], "é.csv": b"x"}),
     _lzma_zip(LOG[:300])],
    ids=["gz", "xz", "zip", "zip by lzma"],
)  # fmt: skip
def test_a_changed_byte_anywhere_is_read_or_refused(whole: bytes, tmp_path: Path) -> None:
    # Found by fuzzing: the libraries answer damage with errors of many kinds.
    path = tmp_path / "a.bin"
    refused = 0
    for at in range(3, len(whole)):
        for value in (0, 0xFF, whole[at] ^ 0x40):
            path.write_bytes(whole[:at] + bytes([value]) + whole[at + 1 :])
            try:
                with unpacked(path, Limits(max_bytes=10_000_000)):
                    pass
            except InputRefused:
                refused += 1
    assert refused


def test_trouble_of_the_disk_is_not_called_damage(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def _full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    (tmp_path / "a.gz").write_bytes(gzip.compress(LOG))
    monkeypatch.setattr("ridelog.readers.container._copy", _full)
    with pytest.raises(OSError, match="No space"), unpacked(tmp_path / "a.gz", Limits()):
        pass
