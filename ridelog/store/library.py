"""The library: normalized rides, the logs they came from, bikes and advice sheets, in one folder.

    library.sqlite        catalogue (WAL): rides and what the user said of them, file names, bikes, advice sheets with
                          every text they had before; `PRAGMA user_version` is the version of its tables
    rides/<id>.parquet    one ride file a ride (see store.parquet)
    originals/<sha256>    the logs as they were imported, by content; their names stand in the catalogue only
    incoming/             what is being written just now (see store.incoming)
    inbox/                logs sent by a browser, until they are imported (see dashboard.adding)

A ride is stored whole or not at all. It is written under `incoming/`, flushed to the disk, then put in place by
renames inside the one catalogue transaction that enters it; only the commit of that transaction makes it a ride of
the library. A file in place without an entry is a leaving of a crash, and the next command removes it.
The folders are open to the user alone.
"""

from __future__ import annotations

import difflib
import os
import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from ridelog.errors import LibraryError, NotInLibrary, UsageError
from ridelog.store import catalogue, fits, incoming, overlap, profiles
from ridelog.store.casebook import Casebook
from ridelog.store.checked import RIDE_ID
from ridelog.store.fits import FitRow, KeptFit
from ridelog.store.incoming import Intent
from ridelog.store.kept_parts import KeptParts
from ridelog.store.kept_results import KeptResults
from ridelog.store.rows import KEEP, Condition, Keep, RideRow
from ridelog.store.shelf import Shelf
from ridelog.store.trouble import library_trouble

if TYPE_CHECKING:
    import sqlite3

    from ridelog.ride import Ride

__all__ = ["KEEP", "Library", "RideRow", "default_root"]

_FOLDERS = ("rides", "originals", "incoming")
_OURS = {*_FOLDERS, "inbox", "library.sqlite", "library.sqlite-wal", "library.sqlite-shm", "library.sqlite-journal"}
_SHA256 = re.compile(r"[0-9a-f]{64}")


def default_root() -> Path:
    """`$RIDELOG_LIBRARY`, else the platform's user-data folder."""
    named = os.environ.get("RIDELOG_LIBRARY")
    if named:
        return Path(named)
    import platformdirs

    return Path(platformdirs.user_data_dir("ridelog", appauthor=False)) / "library"


class Library(Casebook, KeptParts, KeptResults, Shelf):
    """One library folder. Open it with `Library.open`; it holds no handle between calls and may be shared by threads.

    Every method raises LibraryError where the folder or the catalogue fails, with what to do.
    """

    @classmethod
    def open(cls, root: Path | None = None) -> Library:
        """The library in `root` (None: `default_root`), created or upgraded where needed, and cleared after a crash.

        Raises LibraryError for a folder that holds something else, can't be written, or was written by a newer
        ridelog.
        """
        folder = Path(os.path.abspath((root or default_root()).expanduser()))  # noqa: PTH100 - keeps links as given
        library = cls(folder)
        with library_trouble(folder):
            if not library._catalogue.is_current():
                library._create_or_upgrade()
            incoming.clear(folder / "incoming", library._settle)
        return library

    def _create_or_upgrade(self) -> None:
        if self.root.exists() and not self.root.is_dir():
            raise LibraryError("is a file", where=str(self.root), expected="a folder", to_do="name a folder")
        self.root.mkdir(mode=0o700, parents=True, exist_ok=True)
        catalogue_file = self.root / "library.sqlite"
        # An empty catalogue beside rides is one that was lost, as much as a missing one.
        if not catalogue_file.exists() or catalogue_file.stat().st_size == 0:
            self._check_may_settle_here()
        for name in _FOLDERS:
            (self.root / name).mkdir(mode=0o700, exist_ok=True)
        with incoming.door(self.root / "incoming"):
            self._catalogue.prepare()
        incoming.sync_folders([self.root])

    def _check_may_settle_here(self) -> None:
        foreign = sorted(path.name for path in self.root.iterdir() if path.name not in _OURS)
        if foreign:
            raise LibraryError(
                f"is not a library, and not empty (it holds {', '.join(foreign[:3])})",
                where=str(self.root),
                expected="a library of ridelog, or an empty or new folder",
                to_do="name another folder with --library",
            )
        if any(any((self.root / name).glob("*")) for name in ("rides", "originals")):
            raise LibraryError(
                "the catalogue library.sqlite is gone or empty, but rides are here",
                where=str(self.root),
                expected="library.sqlite beside rides and originals",
                to_do="put back a saved copy of library.sqlite, or import the files of originals into a new library",
            )

    def mark(self) -> object | None:
        """Equal to one before only where nothing of the library has changed since; None where that can't be told."""
        return self._catalogue.mark()

    # -- rides --------------------------------------------------------------------------------------------------------

    def find_by_content(self, sha256s: Sequence[str]) -> list[str]:
        """Ids of the rides stored from exactly this set of files, in the order they were stored.

        A ride whose file is gone or cut does not count: importing its log again puts it right.
        """
        with library_trouble(self.root), self._catalogue.read() as db:
            found = db.execute(
                "SELECT id FROM ride WHERE content = ? ORDER BY seq", (catalogue.content_key(sha256s),)
            ).fetchall()
            return [ride_id for (ride_id,) in found if self._is_whole(db, ride_id)]

    def add(self, ride: Ride, originals: Sequence[Path]) -> Literal["stored", "already_stored"]:
        """Store a ride with the files it came from, whole or not at all.

        `originals` are the paths of `ride.sources`, in the same order. Raises InputRefused where one of them is no
        longer the file that was read, LibraryError where the library can't take the ride; both leave the library as
        it was.
        """
        if not RIDE_ID.fullmatch(ride.id):
            raise ValueError(f"{ride.id!r} can't be a ride's id")
        if not ride.sources or len(ride.sources) != len(originals):
            raise ValueError(f"{len(originals)} originals for a ride from {len(ride.sources)} files")
        if not all(_SHA256.fullmatch(source.sha256) for source in ride.sources):
            raise ValueError("a source's hash is not a SHA-256")
        paths = dict(zip((source.sha256 for source in ride.sources), originals, strict=True))
        with library_trouble(self.root):
            with self._catalogue.read() as db:
                if self._is_whole(db, ride.id):
                    return "already_stored"
                known = {sha256 for sha256 in paths if self._has_original(db, sha256)}
            done = self._add(ride, paths, known)
            # A file that was there a moment ago went with another command's removal: bring it along this time.
            return done or self._add(ride, paths, set()) or "already_stored"

    def _add(self, ride: Ride, paths: dict[str, Path], known: set[str]) -> Literal["stored", "already_stored"] | None:
        from ridelog.store import parquet
        from ridelog.store.originals import copy_checked

        names = {source.sha256: source.name for source in ride.sources}
        intent = Intent(ride.id, tuple(paths))

        with incoming.writing(self.root / "incoming", intent, self._settle) as space:

            def copy_all() -> None:
                for sha256, path in paths.items():
                    if sha256 not in known:
                        copy_checked(path, space / sha256, sha256, names[sha256])

            waiting = space / "ride.parquet"
            with ThreadPoolExecutor(1) as beside:
                # Hashing and compressing both leave the interpreter free: the copy costs next to nothing in time.
                copied = beside.submit(copy_all)
                parquet.write_ride(ride, waiting)
                incoming.sync_file(waiting)
                copied.result()
            size, digest = waiting.stat().st_size, parquet.sha256_of(waiting)
            with self._catalogue.write() as db:
                if self._is_whole(db, ride.id):
                    return "already_stored"
                if not all(self._has_original(db, sha256) for sha256 in known):
                    return None
                for sha256 in paths:
                    if sha256 not in known and not self._has_original(db, sha256):
                        (space / sha256).replace(self._original(sha256))
                waiting.replace(self._ride_file(ride.id))
                incoming.sync_folders([self.root / "originals", self.root / "rides"])
                if catalogue.stored_file(db, ride.id) is None:
                    catalogue.insert_ride(db, ride, size, digest)
                else:
                    # The ride is known, its file was lost: only the file is put right, the user's words stay.
                    db.execute(
                        "UPDATE ride SET stored_bytes = ?, stored_sha256 = ? WHERE id = ?", (size, digest, ride.id)
                    )
            return "stored"

    def list_rides(self, *, bike: str | None = None, limit: int | None = 50) -> list[RideRow]:
        """Rides, newest first (those without a date last); of one bike where named; None lists all."""
        with library_trouble(self.root), self._catalogue.read() as db:
            if bike is None:
                return catalogue.rows_where(db, limit=limit)
            return catalogue.rows_where(db, "bike = ?", (bike,), limit)

    def bikes_with_rides(self) -> tuple[str, ...]:
        """Ids that rides were imported under, in the order of the alphabet."""
        with library_trouble(self.root), self._catalogue.read() as db:
            found = db.execute("SELECT DISTINCT bike FROM ride WHERE bike IS NOT NULL ORDER BY bike")
            return tuple(bike for (bike,) in found)

    def rides_during(
        self, start: datetime, duration_s: float, *, bike: str | None = None, local: bool = False
    ) -> list[RideRow]:
        """Rides that share time with a stretch, of this bike or of none named (None: of any); see store.overlap."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return overlap.rides_during(db, start, duration_s, bike=bike, local=local)

    def row(self, ride_id: str) -> RideRow:
        """What the catalogue says of one ride. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return self._row(db, ride_id)

    def _row(self, db: sqlite3.Connection, ride_id: str) -> RideRow:
        rows = catalogue.rows_where(db, "id = ?", (ride_id,))
        if not rows:
            raise self._no_such_ride(db, ride_id)
        return rows[0]

    def _known(self, db: sqlite3.Connection, ride_id: str) -> None:
        """Raises NotInLibrary for a ride the library does not hold; its row may be damaged."""
        if not RIDE_ID.fullmatch(ride_id) or not db.execute("SELECT 1 FROM ride WHERE id = ?", (ride_id,)).fetchone():
            raise self._no_such_ride(db, ride_id)

    def resolve(self, text: str) -> str:
        """The id of the one ride whose id is `text` or starts with it. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            if db.execute("SELECT 1 FROM ride WHERE id = ?", (text,)).fetchone():
                return text
            found = db.execute(
                "SELECT id FROM ride WHERE id >= ? AND id < ? ORDER BY id LIMIT 6", (text, text + "\U0010ffff")
            ).fetchall()
            if not text or not found:
                raise self._no_such_ride(db, text)
            if len(found) > 1:
                listed = ", ".join(ride_id for (ride_id,) in found[:5]) + (" and more" if len(found) > 5 else "")
                raise NotInLibrary(
                    f"{text!r} could be several rides: {listed}",
                    where=str(self.root),
                    expected="an id, or so much of its start that it fits one ride",
                    to_do="type more of the id",
                )
            return str(found[0][0])

    def _no_such_ride(self, db: sqlite3.Connection, text: str) -> NotInLibrary:
        latest = [ride_id for (ride_id,) in db.execute("SELECT id FROM ride ORDER BY seq DESC LIMIT 500")]
        near = difflib.get_close_matches(text, latest, n=3, cutoff=0.6)
        return NotInLibrary(
            f"there is no ride {text!r}",
            where=str(self.root),
            expected=f"a ride such as {', '.join(near)}" if near else "the id of a ride, or the start of one",
            to_do="`ridelog rides` lists them" if latest else "import a log first: ridelog import FILE",
        )

    def load(self, ride_id: str) -> Ride:
        """A ride with its samples; what the user said of it as it stands now.

        Raises NotInLibrary, and LibraryError where the ride's file is not what the import wrote.
        """
        import hashlib

        from ridelog.ride import SourceFile
        from ridelog.store import parquet

        path = self._ride_file(ride_id)
        with library_trouble(self.root):
            with self._catalogue.read() as db:
                row = self._row(db, ride_id)
                stored = catalogue.stored_file(db, ride_id)
            data = parquet.bytes_of(path)
        if stored is None or stored[1] != hashlib.sha256(data).hexdigest():
            raise parquet.damaged(path, "it differs from what the import wrote")
        from dataclasses import replace

        return replace(
            parquet.parse_ride(data, path),
            bike=row.bike,
            ambient_c=row.ambient_c,
            start_utc=row.start_utc,
            condition=row.condition,
            sources=tuple(SourceFile(file.name, file.sha256, file.size_bytes, file.format) for file in row.files),
        )

    def edit(
        self,
        ride_id: str,
        *,
        bike: str | Keep | None = KEEP,
        ambient_c: float | Keep | None = KEEP,
        start_utc: datetime | Keep | None = KEEP,
        condition: Condition | Keep = KEEP,
    ) -> RideRow:
        """Change what the user said of a ride; None clears a fact, KEEP leaves it. Returns the ride as it stands then.

        Raises NotInLibrary for an unknown ride or bike, UsageError for a value that can't be.
        """
        changes: dict[str, str | float | None] = {}
        if not isinstance(bike, Keep):
            changes["bike"] = bike
        if not isinstance(ambient_c, Keep):
            if ambient_c is not None and not -40.0 <= ambient_c <= 60.0:
                raise UsageError(f"{ambient_c} C can't be", where="ambient", expected="-40 to 60 C")
            changes["ambient_c"] = ambient_c
        if not isinstance(start_utc, Keep):
            if start_utc is not None and start_utc.tzinfo is None:
                raise UsageError(f"{start_utc} has no time zone", where="start", expected="a time with its zone")
            changes["start_utc"] = catalogue.utc_text(start_utc) if start_utc is not None else None
        if not isinstance(condition, Keep):
            if condition not in {"healthy", "faulty", "unknown"}:
                raise UsageError(f"{condition!r}", where="condition", expected="healthy, faulty or unknown")
            changes["condition"] = condition
        with library_trouble(self.root):
            # What is edited may be what was damaged: the row is looked at once it is as the user wants it.
            with self._catalogue.write() as db:
                self._known(db, ride_id)
                if isinstance(bike, str):
                    profiles.text_of(db, "bike", bike)
                for column, value in changes.items():
                    db.execute(f"UPDATE ride SET {column} = ? WHERE id = ?", (value, ride_id))  # noqa: S608 - own names
            return self.row(ride_id)

    def remove(self, ride_id: str) -> None:
        """Remove a ride, its file, and those of its originals that no other ride rests on. Raises NotInLibrary."""
        with library_trouble(self.root):
            with self._catalogue.read() as db:
                self._known(db, ride_id)
                query = "SELECT sha256 FROM ride_file JOIN ride ON seq = ride_seq WHERE id = ? ORDER BY position"
                files = [str(sha256) for (sha256,) in db.execute(query, (ride_id,))]
            intent = Intent(ride_id, tuple(sha256 for sha256 in files if _SHA256.fullmatch(sha256)))
            with incoming.writing(self.root / "incoming", intent, self._settle):
                with self._catalogue.write() as db:
                    db.execute("DELETE FROM ride WHERE id = ?", (ride_id,))
                self._settle(intent)

    # -- fits of the heat balance -------------------------------------------------------------------------------------

    def fit_rows(self, bike_id: str, channels: Sequence[str]) -> list[FitRow]:
        """Rides of a bike not marked faulty that have all these channels, in the order they were stored."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return fits.rows_of_bike(db, bike_id, channels)

    def kept_fits(self, ride_ids: Sequence[str]) -> dict[str, KeptFit]:
        """The fits kept of these rides; whoever asks looks at what they rest on."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return fits.kept(db, ride_ids)

    def keep_fit(self, ride_id: str, fit: KeptFit) -> None:
        """Keep a ride's fit in place of the one before it."""
        with library_trouble(self.root), self._catalogue.write() as db:
            fits.keep(db, ride_id, fit)

    def original(self, sha256: str) -> Path | None:
        """Path of a kept log by its hash, None where the library does not have it."""
        if not _SHA256.fullmatch(sha256):
            return None
        with library_trouble(self.root), self._catalogue.read() as db:
            return self._original(sha256) if self._has_original(db, sha256) else None

    # -- files and their entries --------------------------------------------------------------------------------------

    def _ride_file(self, ride_id: str) -> Path:
        return self.root / "rides" / f"{ride_id}.parquet"

    def _original(self, sha256: str) -> Path:
        return self.root / "originals" / sha256

    def _is_whole(self, db: sqlite3.Connection, ride_id: str) -> bool:
        """True where the ride is entered and its file has the size it was written with."""
        stored = catalogue.stored_file(db, ride_id)
        if stored is None:
            return False
        try:
            return self._ride_file(ride_id).stat().st_size == stored[0]
        except FileNotFoundError:
            return False

    def _has_original(self, db: sqlite3.Connection, sha256: str) -> bool:
        return catalogue.original_in_use(db, sha256) and self._original(sha256).is_file()

    def _settle(self, intent: Intent) -> None:
        """Remove what a writer put in place, or left to remove, where no entry speaks for it."""
        # The write lock keeps out every writer that is between putting its files in place and its commit.
        with self._catalogue.write() as db:
            if catalogue.stored_file(db, intent.ride_id) is None:
                self._ride_file(intent.ride_id).unlink(missing_ok=True)
            for sha256 in intent.originals:
                if not catalogue.original_in_use(db, sha256):
                    self._original(sha256).unlink(missing_ok=True)
