"""The logs as they came, for the pages: given out only while they still have the hash they were kept under."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING, Protocol

from ridelog.errors import LibraryError, NotInLibrary
from ridelog.told import quoted

if TYPE_CHECKING:
    from ridelog.store.library import Library


class OriginalDoor(Protocol):
    """What pages and downloads know of the logs behind a ride."""

    def original(self, ride_id: str, number: int) -> tuple[str, bytes]:
        """Base name and bytes of a ride's log, counted from 1. Raises NotInLibrary, LibraryError."""


class OriginalLibrary:
    """The same over a library folder."""

    _library: Library

    def original(self, ride_id: str, number: int) -> tuple[str, bytes]:
        """Base name and bytes of a ride's log, counted from 1. Raises NotInLibrary where there is none of that number
        or it is gone, LibraryError where it no longer has its hash."""
        files = self._library.row(ride_id).files
        if not 1 <= number <= len(files):
            raise NotInLibrary(
                f"the ride was imported from {len(files)} files, not from {number}", where=f"ride {ride_id}"
            )
        file = files[number - 1]
        path = self._library.original(file.sha256)
        if path is None:
            raise NotInLibrary(
                f"the log {quoted(file.name)} is no longer in the library", where=f"ride {ride_id}",
                to_do="put it back from a saved copy of the library's folder originals",
            )  # fmt: skip
        try:
            held = path.read_bytes()
        except OSError as error:
            raise LibraryError(
                f"the log {quoted(file.name)} can't be read: {error.strerror or error}", where=f"ride {ride_id}",
                to_do="look at the disk and the rights of the library's folder originals",
            ) from error  # fmt: skip
        seen = hashlib.sha256(held).hexdigest()
        if seen != file.sha256:
            raise LibraryError(
                f"the kept log {quoted(file.name)} was changed: its SHA-256 is {seen}", where=f"ride {ride_id}",
                expected=file.sha256, to_do="put it back from a saved copy of the library's folder originals",
            )  # fmt: skip
        return file.name, held
