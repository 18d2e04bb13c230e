"""The part of a library that holds what users write and say: bikes, advice sheets, what a bike's columns hold."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from ridelog.errors import ProfileError
from ridelog.store import mappings, profiles
from ridelog.store.catalogue import Catalogue
from ridelog.store.mappings import Mapping
from ridelog.store.trouble import library_trouble

if TYPE_CHECKING:
    from ridelog.advice import Advice
    from ridelog.bike import Bike
    from ridelog.store.sheets import Sheets


class Shelf:
    """Bikes and advice sheets of the library in `root`. Every method raises LibraryError where the catalogue fails."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self._catalogue = Catalogue(root / "library.sqlite")

    # -- columns of a bike's logs -------------------------------------------------------------------------------------

    def column_mappings(self, bike_id: str) -> list[Mapping]:
        """What users confirmed of the columns of this bike's logs, header by header; empty for an unknown bike."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return mappings.of_bike(db, bike_id)

    def confirm_columns(
        self,
        bike_id: str,
        header: str,
        columns: Sequence[tuple[str, str | None]],
        meanings: Sequence[tuple[str, str, str | None]],
    ) -> None:
        """Remember what columns hold, as (name, channel, unit), in a bike's logs with this header.

        `header` is its fingerprint, `columns` its names and units. A column confirmed before is replaced, others stay.
        """
        with library_trouble(self.root), self._catalogue.write() as db:
            mappings.put(db, bike_id, header, columns, meanings)

    def forget_columns(self, bike_id: str) -> int:
        """Forget what users confirmed of the columns of this bike's logs. Returns how many columns that were."""
        with library_trouble(self.root), self._catalogue.write() as db:
            return mappings.forget(db, bike_id)

    # -- bikes and advice sheets --------------------------------------------------------------------------------------

    def bikes(self) -> list[Bike]:
        """The library's bikes, by id, without lost ones: those whose stored file can't be used any more."""
        return [bike for bike in self.bike_files().values() if not isinstance(bike, ProfileError)]

    def bike_files(self) -> dict[str, Bike | ProfileError]:
        """All bikes by id, each as it is, or with what is wrong with its stored file and what to do."""
        with library_trouble(self.root), self._catalogue.read() as db:
            texts = profiles.texts(db, "bike")
        return {name: _bike_in(name, text) for name, text in texts}

    def bikes_of_build(self, build: str) -> list[Bike]:
        """The library's bikes of a build, by id, without lost ones; of a large library the others are not read."""
        with library_trouble(self.root), self._catalogue.read() as db:
            texts = profiles.texts(db, "bike")
        likely = (_bike_in(name, text) for name, text in texts if build in text)
        alike = (bike for bike in likely if not isinstance(bike, ProfileError) and bike.build == build)
        return sorted(alike, key=lambda bike: bike.id)

    def bike(self, bike_id: str) -> Bike:
        """A bike by its id. Raises NotInLibrary that names near ids, ProfileError for a lost one."""
        bike = _bike_in(bike_id, self.bike_text(bike_id))
        if isinstance(bike, ProfileError):
            raise bike
        return bike

    def bike_text(self, bike_id: str) -> str:
        """The bike file as it was added. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return profiles.text_of(db, "bike", bike_id)

    def add_bike(self, path: Path) -> Bike:
        """Check a bike file and add it, with the tables it names; one of the same id is replaced, its text kept.
        Raises ProfileError."""
        from ridelog import profile_file

        return self.put_bike(profile_file.read_text(path), path.name, path.parent)

    def put_bike(self, text: str, where: str, folder: Path | None = None) -> Bike:
        """The same from the text of a file; `folder` is where files it names are, None where there is none."""
        from ridelog.bike import parse_bike, with_tables_inside

        bike = parse_bike(text, where, folder)
        text = with_tables_inside(text, bike)
        with library_trouble(self.root), self._catalogue.write() as db:
            profiles.put(db, "bike", bike.id, text)
        return bike

    def sheets(self) -> Sheets:
        """The library's advice sheets: those that can be used, and the lost ones."""
        from ridelog.store.sheets import sheets_of

        with library_trouble(self.root), self._catalogue.read() as db:
            return sheets_of(profiles.texts(db, "advice"))

    def advice_sheets(self) -> list[Advice]:
        """The library's advice sheets, the earliest in force first. Raises ProfileError for a lost one: whoever needs
        them all must not take what is left for all."""
        found = self.sheets()
        for lost in found.lost:
            raise lost.error
        return list(found.usable)

    def advice(self, version: str) -> Advice:
        """A sheet by its version. Raises NotInLibrary that names near versions, ProfileError for a lost one."""
        from ridelog.store.sheets import sheets_of

        found = sheets_of([(version, self.advice_text(version))])
        for lost in found.lost:
            raise lost.error
        return found.usable[0]

    def advice_text(self, version: str) -> str:
        """The sheet as it was added. Raises NotInLibrary."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return profiles.text_of(db, "advice", version)

    def add_advice(self, path: Path) -> Advice:
        """Check a sheet and add it; one of the same version is replaced, its text kept. Raises ProfileError."""
        from ridelog import profile_file

        return self.put_advice(profile_file.read_text(path), path.name)

    def put_advice(self, text: str, where: str) -> Advice:
        """The same from the text of a file."""
        from ridelog.advice import default_advice, parse_advice

        sheet = parse_advice(text, where)
        if sheet.version == default_advice().version:
            raise ProfileError(
                f"version is {sheet.version!r}, the name of the sheet that comes with ridelog",
                where=where,
                expected="a version of your own, such as 2026-01",
                to_do="correct the file",
            )
        with library_trouble(self.root), self._catalogue.write() as db:
            profiles.put(db, "advice", sheet.version, text)
        return sheet

    def profile_history(self, kind: profiles.Kind, name: str) -> list[profiles.Version]:
        """Every text a bike or a sheet had, the one in use first; empty where there is none of that name."""
        with library_trouble(self.root), self._catalogue.read() as db:
            return profiles.history(db, kind, name)


def _bike_in(name: str, text: str) -> Bike | ProfileError:
    """The bike of a stored file, or why it can't be used."""
    from ridelog.store.sheets import add_again

    where = f"bike {name} of the library"
    try:
        bike = _parsed(text, where)
    except ProfileError as error:
        return add_again(error, "bikes")
    if bike.id == name:
        return bike
    other = ProfileError(f"its file is that of bike {bike.id[:40]!r}", where=where, expected=f"the file of bike {name}")
    return add_again(other, "bikes")


@lru_cache(maxsize=1024)
def _parsed(text: str, where: str) -> Bike:
    """Commands over many rides ask for the same few hundred files again and again."""
    from ridelog.bike import parse_bike

    return parse_bike(text, where)
