"""Settings, and what can be downloaded."""

from __future__ import annotations

SETTINGS = "Settings"
SETTINGS_KEPT = "They are kept by this browser, for this browser, and change nothing in the library."
SETTINGS_UNITS = "Units"
UNIT_WORDS = {"metric": "°C, km/h, km", "imperial": "°F, mph, miles"}
UNITS_NOTE = "Sentences quote temperatures in °C and speeds in km/h; figures and tables are in °F and mph."
SETTINGS_THEME = "Light or dark"
THEME_WORDS = {"system": "as the system is set", "light": "light", "dark": "dark"}
SETTINGS_PRIVACY = "Privacy"
PRIVACY_HIDE = "Show no map of the course"
PRIVACY_TRIM = "Leave out so many metres at both ends of a ride in what is downloaded"
PRIVACY_NOTE = "A track often begins at home. The map never shows where on earth it lies."
COURSE_HIDDEN = "The map is switched off in the settings."

CUSTOMER_PAGE = "Page for the customer"
REPORT = "Report with technical annex"
DOWNLOADS = "More files"
FILE_WORDS = {
    "csv": "Samples as a table (.csv)",
    "parquet": "Samples (.parquet)",
    "geojson": "Flagged stretches (.geojson)",
    "gpx": "Track (.gpx)",
}
NOT_TRIMMED = "The whole ride, from the first metre on. Ends can be left out:"


def trimmed(metres: float) -> str:
    """What the files leave out."""
    return f"The first and the last {metres:g} m are left out, and all that could tell where they lie."
