"""Every text of the dashboard's own frame and forms, in one place, so that it can be read at once, and translated."""

from __future__ import annotations

RIDES = "Rides"

ADD = "Add a log"
ADD_HINT = "Drop log files or a folder anywhere on the page, or choose them."
ADD_CHOOSE = "Choose files"
ADD_CHOOSE_FOLDER = "Choose a folder"
ADD_CLOSE = "Close"
ADD_BIKE = "Which bike is it?"
ADD_NO_BIKE = "not named yet"
ADD_AMBIENT = "Air temperature of the day, °C (if you know it)"
ADD_TOGETHER = "These files are one ride, from several devices"
ADD_SEND = "Import"
ADD_CLEAR = "Clear the list"
ADD_DROP = "Drop the logs here"
ADD_LIST = "Imports"
ADD_LOCAL = "The files go to this program's own library on the machine it runs on, and nowhere else."

EMPTY_DROP = "This library is empty. Drop a log of your own anywhere on this page, or choose it with “Add a log” above."
EMPTY_TERMINAL = "It also works from a terminal, then load this page again:"
EMPTY_DEMO = "Or look around first with the sample rides, which are invented:"

JOB_STATES: dict[str, str] = {
    "receiving": "being sent",
    "waiting": "waiting for its turn",
    "working": "being imported",
    "asking": "has a question",
    "done": "stored",
    "refused": "not imported",
    "stopped": "stopped",
    "cancelled": "called off",
}
JOB_THERE_BEFORE = "was in the library already"
JOB_OPEN = "Open the ride"
JOB_RETRY = "Try again"
JOB_CALL_OFF = "Call off"
JOB_DISMISS = "Remove from this list"
JOB_WAY_OUT = "What the importer did"


def job_question(column: str) -> str:
    """The question what a column holds."""
    return f"The column “{column}” fits more than one meaning. Which is it?"


def job_holds(seen: str) -> str:
    """What stands in it."""
    return f"It holds {seen}."


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


BIKES = "Bikes and advice"
BIKES_TITLE = {"bike": "Bikes", "advice": "Advice sheets"}
BIKES_NONE = {
    "bike": "No bike yet. Without its mass, gearing and power curve neither drag nor heat can be worked out.",
    "advice": "None yet: rides are judged by the sheet that comes with ridelog.",
}
BIKES_NEW = {"bike": "Write a new bike file", "advice": "Write a new advice sheet"}
NEW_NAME = {"bike": "new-bike", "advice": "next"}
THE_TEXT = "the text above"
EDIT_HINT = {
    "bike": "A line behind a # is not used: its default holds, and every result says so. Units stand in the names.",
    "advice": "A sheet holds from the day in valid_from on. Earlier rides stay judged by the one before it.",
}
EDIT_LABEL = "The file"
EDIT_LOOK = "See what would change"
EDIT_SAVE = "Save"
EDIT_SAVED = "Saved."
EDIT_OPEN = "Open it"
EDIT_VALID = "The text is valid."
EDIT_EMPTY = "There is no text."
EDIT_OTHER = "This text names itself {}: saving it makes or replaces that one, and leaves {} as it is."
HISTORY = "Earlier texts"
HISTORY_NONE = "This is the first text."
HISTORY_TAKE = "Put this text above"
FLIPS_TITLE = "What would be told otherwise"


def bike_told(bike: object) -> str:
    """A bike in a few words."""
    build, kg, kw = (getattr(bike, name) for name in ("build", "total_kg", "peak_power_kw"))
    levels = ", ".join(f"{name} {value:g} °C" for name, value in getattr(bike, "thresholds", ()))
    return f"build {build}, {kg:g} kg, {kw:g} kW; {levels}"


def sheet_told(sheet: object) -> str:
    """A sheet in a few words."""
    advised = sum(rule.map == "conservative" for rule in getattr(sheet, "rules", ()))
    return f"from {getattr(sheet, 'valid_from', None)} on; the conservative map on {advised} kinds of stretch"


def flips_head(looked: int, left: int, changed: int) -> str:
    """How many rides were looked at, and of how many something changes."""
    rides = "One ride was" if looked == 1 else f"{looked} rides were"
    more = f" {left} older ones were not." if left else ""
    return f"{rides} looked at, of {changed} something would be told otherwise.{more}"


def version_told(added: object, replaced: object) -> str:
    """When a text was in use."""
    since = f"{added:%-d %B %Y, %H:%M}"
    return f"in use since {since} UTC" if replaced is None else f"from {since} to {replaced:%-d %B %Y, %H:%M} UTC"


REVIEW = "Advice review"
REVIEW_EMPTY = "There are no rides here to review. Drop logs on this page, and name their bikes."
REVIEW_FILTERS = "Which rides"
REVIEW_STRIPS = "Ride by ride"
REVIEW_STRIPS_NOTE = (
    "Each line is a ride, all to one scale of time. Above, the flagged stretches, outlined where the map was not on in "
    "time; below, the map in use."
)
REVIEW_BY_MONTH, REVIEW_BY_KIND = "By month", "By kind of stretch"
REVIEW_BY_BIKE, REVIEW_BY_SHEET = "By bike", "By advice sheet"
REVIEW_OUTCOME = "Time above, by how far the advice was followed"
REVIEW_EFFECT = "What the conservative map does to heat"
REVIEW_UNJUDGED = "What could not be judged"
REVIEW_RECORD = "Closed cases"
ALL_BIKES, ALL_DAYS, NO_BIKE, NO_DAY = "all bikes", "all days", "bike not named", "day not known"
ALL_JUDGED = "Every ride could be judged."
FIGURES = "The figures"
ABOVE, ON_THE_MAP = "Above", "On the map"
MAP_CONSERVATIVE, MAP_STANDARD, MAP_UNKNOWN = "conservative map", "standard map", "map not known"
HOT = "coolant above the highest threshold it passed"


def since(month: str) -> str:
    """From a month on."""
    return f"from {month} on"


def on_map(share: str) -> str:
    """How much of the advised time was on the map."""
    return f"{share} on the map where advised"


def strips_left(count: int) -> str:
    """Rides that are not drawn."""
    return f"{count} older rides are in the figures, but not drawn."


def strip_said(day: str, lasted: str, advised: int, followed: int) -> str:
    """A strip in words."""
    return f"Ride of {day}, {lasted}: {advised} stretches asked for the conservative map, {followed} of them followed."


def sheet_starts(sheets: str) -> str:
    """Since when which sheet holds."""
    return f"Advice sheets: {sheets}."
