"""What is known of one import asked for on a page, as it stands on the disk.

A job is a folder of the inbox: `job.json` and the files it is about. Whoever changes it writes the whole record anew
and puts it in place by a rename, so that a reader sees one state or the next, also after a crash.
"""

from __future__ import annotations

import json
import os
import re
import tempfile
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from typing import Any, Literal

State = Literal["receiving", "waiting", "working", "asking", "joining", "done", "refused", "stopped", "cancelled"]
"""`receiving` the browser is sending; `waiting` for a worker; `working`; `asking` a column fits two meanings; `joining`
how several files lie to each other is shown and waits to be accepted; `done` stored (or there already); `refused` by
the importer; `stopped` the worker ended before its work did; `cancelled`."""

OPEN: frozenset[State] = frozenset({"receiving", "waiting", "working"})
"""States in which something is still going on."""

ASKS: frozenset[State] = frozenset({"asking", "joining"})
"""States in which the user has to say something first."""

JOB_ID = re.compile(r"[0-9a-f]{16}")

_UNSAFE = re.compile(r"[^\w.,+=@ ()\[\]-]")
_DEVICE = re.compile(r"(con|prn|aux|nul|conin\$|conout\$|clock\$|com[0-9¹²³]|lpt[0-9¹²³])(?=[ .]|$)", re.IGNORECASE)
"""Names that are devices for some systems, whatever ending they have."""
NAME_BYTES = 120


@dataclass(frozen=True)
class JobFile:
    """A file of a job: its name as the user knows it, made safe, and how much of it is there."""

    name: str
    size_bytes: int
    received: bool = False


@dataclass(frozen=True)
class Told:
    """What the user said of the files. `columns` as `--column` takes them. `joined`: how files that go together lie to
    each other was accepted; `offsets` are seconds added to the clock of the file of that number."""

    bike: str | None = None
    ambient_c: float | None = None
    start: str | None = None
    timezone: str | None = None
    format: str | None = None
    together: bool = False
    joined: bool = False
    columns: tuple[str, ...] = ()
    offsets: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True)
class Asked:
    """A column that fits two meanings: what it holds, and the answers, as words and as `--column` takes them."""

    where: str
    column: str
    found: str
    seen: str
    options: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Refusal:
    """Why a file was refused: the importer's facts, and what can be done about it on the page. `asks` names what the
    page offers a field for; `missed` is what each reader said of the file."""

    where: str
    found: str
    expected: str = ""
    to_do: str = ""
    asks: tuple[str, ...] = ()
    missed: tuple[str, ...] = ()


@dataclass(frozen=True)
class Added:
    """A ride a job gave: its id, whether it was there before, the importer's notes, and the answer of its analysis."""

    ride: str
    status: str
    notes: tuple[str, ...] = ()
    answer: str | None = None


@dataclass(frozen=True)
class Job:
    """One import. `progress` is what is being done; `reason` why it ended, `refusals` the same for files refused."""

    id: str
    state: State
    files: tuple[JobFile, ...]
    told: Told
    made_utc: str
    progress: str = ""
    reason: str | None = None
    asked: Asked | None = None
    added: tuple[Added, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    tries: int = 0
    worker: int | None = field(default=None)

    @property
    def title(self) -> str:
        """The names of its files."""
        return " + ".join(file.name for file in self.files)


def safe_name(name: str, fallback: str = "log") -> str:
    """The base name of a file as a browser sent it, with nothing in it a file system or a page could stumble over."""
    base = name.replace("\\", "/").rpartition("/")[2]
    base = _UNSAFE.sub("_", base).strip(" .")
    base = f"_{base}" if _DEVICE.match(base) else base
    while len(base.encode()) > NAME_BYTES:
        stem, dot, end = base.rpartition(".")
        base = f"{stem[:-1]}{dot}{end}" if len(stem) > 1 and len(end) < 12 else base[:-1]
    return base.strip(" .") or fallback


def read(folder: Path) -> Job | None:
    """The job in a folder; None where there is none, or what is there is no job."""
    try:
        told = json.loads((folder / "job.json").read_text(encoding="utf-8"))
        return of_record(told)
    except (OSError, ValueError, TypeError, KeyError):
        return None


def write(folder: Path, job: Job) -> Job:
    """Put a job's record in place of the one before."""
    handle, name = tempfile.mkstemp(dir=folder, prefix=".job-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            json.dump(asdict(job), file, ensure_ascii=False)
        Path(name).replace(folder / "job.json")
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return job


def of_record(told: Any) -> Job:
    """A job from its record. Raises ValueError, TypeError or KeyError for what is none."""
    if not isinstance(told, dict):
        raise TypeError("no record")
    known = {one.name for one in fields(Job)}
    made = {key: value for key, value in told.items() if key in known}
    made["files"] = tuple(JobFile(**file) for file in made["files"])
    said = {key: value for key, value in made["told"].items() if key in {one.name for one in fields(Told)}}
    offsets = tuple((int(number), float(seconds)) for number, seconds in said.pop("offsets", ()))
    made["told"] = replace(Told(**said), columns=tuple(said["columns"]), offsets=offsets)
    if made.get("asked") is not None:
        asked = dict(made["asked"])
        asked["options"] = tuple((str(words), str(text)) for words, text in asked["options"])
        made["asked"] = Asked(**asked)
    made["refusals"] = tuple(
        Refusal(**{**one, "asks": tuple(one["asks"]), "missed": tuple(one["missed"])})
        for one in made.get("refusals", ())
    )
    made["added"] = tuple(Added(**{**one, "notes": tuple(one["notes"])}) for one in made.get("added", ()))
    if not JOB_ID.fullmatch(made["id"]):
        raise ValueError("no job id")
    return Job(**made)
