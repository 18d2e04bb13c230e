"""Every text of the dashboard's own frame and forms, in one place, so that it can be read at once, and translated."""

from __future__ import annotations

from ridelog.told import quoted
from ridelog.words import notes as note_words

RIDES = "Rides"
RIDES_FILTER = "Show the rides of"
RIDES_PAGES = "Pages of the list"
RIDES_OLDER, RIDES_NEWER = "Older rides", "Newer rides"


def rides_count(count: int, first: int, bike: str | None, *, whole: bool) -> str:
    """How many rides stand there; `whole`: there are no others."""
    of_bike = f" of {bike}" if bike is not None else ""
    if whole:
        return f"One ride{of_bike}." if count == 1 else f"{count} rides{of_bike}, latest first."
    return f"Rides {first} to {first + count - 1}{of_bike}, latest first."


def no_rides_of(bike: str) -> str:
    """A bike nobody imported a ride of."""
    return f"The library has no ride of {bike} yet. Add a log, and name the bike there."


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
    "joining": "to be looked at and accepted",
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
EDIT_MEANWHILE = (
    "Not saved yet: another text of {} was saved after this page was opened, in another window or by a command. Your "
    "text is still here. Save again to put it in that one's place; that one stays among the earlier texts."
)
EDIT_OTHER = "This text names itself {}: saving it makes or replaces that one, and leaves {} as it is."
HISTORY = "Earlier texts"
HISTORY_NONE = "This is the first text."
HISTORY_TAKE = "Put this text above"
FLIPS_TITLE = "What would be told otherwise"
FLIPS_SHOW = "Show this part of the ride"


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
    told = f", of {changed} something would be told otherwise" if changed else ""
    return f"{rides} looked at{told}.{more}"


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
STRIP_DAY, STRIP_SHARE, ON_MAP = "Ride", "On the map where advised", "on the map where advised"
NOTHING_ADVISED = "nothing advised"
HOT = "coolant above the highest threshold it passed"


def since(month: str) -> str:
    """From a month on."""
    return f"from {month} on"


def strips_left(count: int) -> str:
    """Rides that are not drawn."""
    return f"{count} older rides are in the figures, but not drawn."


def strip_said(day: str, lasted: str, advised: int, followed: int) -> str:
    """A strip in words."""
    return f"Ride of {day}, {lasted}: {advised} stretches asked for the conservative map, {followed} of them followed."


def sheet_starts(sheets: str) -> str:
    """Since when which sheet holds."""
    return f"Advice sheets: {sheets}."


BEHIND = "What may be behind it"
BEHIND_OPEN = "Open a case with this ride"
BEHIND_NOTHING_SETTLED = "No likelihoods are told: without a heat balance they would rest on nothing of this ride."
CAUSES_REST = "The less likely ones"
CAUSES_FOR, CAUSES_AGAINST, CAUSES_CHECK = "Speaks for it", "Speaks against it", "Check next"
CAUSES_NONE = "Nothing in this log."
CHECK_FIRST = "What to look at, the cheapest and safest first"
FOLLOWED = "Was the advice followed?"
FOLLOWED_WORDS = {
    "yes": "Yes.",
    "no": "No.",
    "unknown": "Can't tell.",
    "not_advised": "There was nothing to follow.",
}

NOTES = "Notes on this ride"
NOTES_NONE = (
    "No note yet. What was seen on the way (coolant at the overflow, a stop, a change of map) helps to explain."
)
NOTES_HOW = "Click the picture at the moment, or type its time. Notes on the map and on lost coolant count as evidence."
NOTE_NEW = "Add a note"
NOTE_AT = "When: from the start (+0:12:34), or the time of day (10:31)"
NOTE_TEXT = "What happened"
NOTE_ABOUT = "It counts as"
NOTE_BY_WORDS = "what its words say"
NOTE_SAVE = "Add the note"
NOTE_CHANGE = "Correct or remove"
NOTE_CORRECT = "Save the correction"
NOTE_REMOVE = "Remove this note"
NOTE_HERE = "Note at the middle of this view"
NOTE_OTHERWISE = "Choose a meaning with “Correct or remove” if it is another."
NOTE_GONE = "This note is no longer there. Load the page again."
NOTES_ANEW = "Analyzing the ride with its notes …"


def note_written(at_s: float, text: str) -> str:
    """A note was written."""
    return f"Noted at {note_words.elapsed(at_s)}: {quoted(text)}."


def note_corrected(at_s: float, text: str) -> str:
    """A note was changed."""
    return f"Corrected. Now at {note_words.elapsed(at_s)}: {quoted(text)}."


def note_removed(at_s: float, text: str) -> str:
    """A note was removed."""
    return f"Removed: {quoted(text)} at {note_words.elapsed(at_s)}."


def note_taken(about: str, why: str | None) -> str:
    """What a note counts as."""
    return note_words.taken(about, why, NOTE_OTHERWISE)


CASES = "Cases"
CASES_WHAT = (
    "A case holds what a rider said, the rides behind it with what was found of them on that day, and what the "
    "workshop found in the end."
)
CASES_NONE = "No case yet. Open one when somebody comes with a hot bike: it keeps the evidence as it was on that day."
CASES_NEW = "Open a case"
CASES_COLUMNS = ("Case", "Bike", "The rider said", "State", "Rides", "Workshop's cause")
CASES_ALL = "All cases"
CASES_NO_BIKE = "A case is about a bike, and this library has none yet."
CASE_BIKE = "Which bike is it about?"
CASE_BIKE_OF = "The ride you came from belongs to no bike yet, so it can't be attached. Name its bike first: "
CASE_DAY = "Day of the complaint (year-month-day)"
CASE_SAID = "What the rider said, in the rider's words"
CASE_RIDES = "Rides behind it; what is found of each now is kept with the case"
CASE_CHOOSE_BIKE = "Choose the bike: its rides are then listed here."
CASE_NO_RIDES = "The library has no ride of this bike yet. The case can be opened without, and rides attached later."
CASE_OPEN = "Open the case"
CASE_FREEZING = "Analyzing the rides and keeping what is found …"
CASE_THEN = "What was found then"
CASE_EVIDENCE = "Causes with what speaks for and against them"
CASE_BASIS = "What it rests on"
CASE_TODAY = "The same today?"
CASE_COMPARING = "Comparing with today …"
CASE_NO_RIDE_YET = "No ride is attached yet, so nothing was found."
TAKE_CARE = "Take care"
CASE_ATTACH = "Attach rides"
CASE_ATTACH_NOW = "Attach and keep what is found now"
CASE_ALL_ATTACHED = "Every ride of this bike that the library holds is attached."
CASE_CLOSE = "Close the case"
CASE_FOUND = "What the workshop found"
CASE_CAUSE = "The same as one of the causes; with it, the case counts in ridelog's own record"
CASE_NO_CAUSE = "none named"
CASE_CLOSE_NOW = "Close the case with this"
CASE_REOPEN = "Open the case again"
CASE_REOPEN_WHAT = "What the workshop found stays with it, among its earlier findings."
CASE_PRINT = "Print this case"
CASE_OUT = "Take this ride out of the case"
CASE_OUT_WHAT = "What was found of it on that day goes with it. The ride itself stays in the library."
CASE_OUT_NOW = "Take it out"
CASE_REMOVE = "Remove this case"
CASE_REMOVE_WHAT = (
    "The complaint goes, with all that was found of its rides then and what the workshop wrote, and can't be brought "
    "back. The rides stay in the library."
)
CASE_REMOVE_NOW = "Remove it for good"
CASE_BEFORE = "What the workshop had found before"
CASE_COMPLAINT = "The complaint"
CASE_RIDER_SAID = "The rider said:"
CASE_NAMED = "Cause:"
CASE_BIKE_MISSING = "Choose the bike it is about."
CASE_RIDES_MISSING = "Choose at least one ride."
CASE_RIDE_GONE = "The ride is no longer in this case. Load the page again."
NONE_GIVEN = "none"
CASE_FACTS = ("Bike", "Day", "State", "Opened")
NO_DAY = "day not known"
NO_PEAK = "coolant not logged"
BASIS_WORDS = {
    "version": "ridelog",
    "files": "Files of the log (SHA-256)",
    "ride_sha256": "Ride as stored (SHA-256)",
    "bike": "Bike",
    "bike_sha256": "Bike file (SHA-256)",
    "sheet": "Advice sheet",
    "sheet_sha256": "Sheet (SHA-256)",
    "settings_hash": "Figures of the analysis (SHA-256)",
    "diagnosis_sha256": "Figures of the diagnosis (SHA-256)",
    "prior_rides": "Rides it was held against",
    "prior_hash": "Their fits (SHA-256)",
    "notes_sha256": "Notes (SHA-256)",
    "effect_sha256": "The map's effect by the rides on both maps (SHA-256)",
    "ambient_c": "Air temperature given for the ride",
    "start_utc": "Start of the ride (UTC)",
    "known_hash": "All of it together (SHA-256)",
}


def case_ride(number: int, frozen: object) -> str:
    """A ride of a case."""
    return f"Ride {number}: what was found on {frozen:%-d %B %Y}"


def ride_taken_out(ride: str) -> str:
    """A ride left a case."""
    return f"Ride {ride} was taken out of this case. It can be attached again, with what is found of it then."


def found_before(cause: str, closed: object, reopened: object) -> str:
    """An earlier finding of the workshop."""
    return f"Cause: {cause}. Closed on {closed:%-d %B %Y}, opened again on {reopened:%-d %B %Y}."


def some_of_kind(family: str) -> str:
    """A whole kind of causes, to choose."""
    return f"kind of cause: {family}"


def case_title(name: str) -> str:
    """A case by its name."""
    return f"Case {name}"


COMPARE = "Compare"
COMPARE_WHICH = "What to compare"
COMPARE_EMPTY = "There are no rides here to compare. Drop logs on this page, and name their bikes."
COMPARE_CHOSEN = "Chosen; the first is set beside the others"
COMPARE_ADD = "Choose a ride"
COMPARE_ADD_MORE = "Add another ride"
COMPARE_OUT = "Take out"
COMPARE_FIRST = "Set first"
COMPARE_HINT = "Choose two rides or more above. One alone shows its own laps."
COMPARE_SERVICES = "Before and after work on a bike"
COMPARE_BUILD = "Set this ride's bike beside the other bikes of its build"
COMPARE_PLACES = "By place: ground ridden more than once"
COMPARE_PASSES = "Passes compared"
COMPARE_RIDING = "How the rides were ridden"
COMPARE_OPEN = "What can't be told, and why"
COMPARE_LEFT_OUT = "Left out"
COMPARE_WITH = "Compare with another ride"


def compare_plot(kind: str) -> str:
    """What a picture of passes shows."""
    return f"{kind}: coolant of each pass against the way along it"


def compare_passes(kind: str) -> str:
    """What a table of passes holds."""
    return f"{kind}: each pass"


def compare_service(bike: str, day: str, what: str) -> str:
    """A piece of work to compare around."""
    return f"{bike}, {day}: {what}"


RIDE_PICTURE = "The heat of the ride, and what it came from"
RIDE_PICTURE_SAID = (
    "Coolant and where it would settle, heat in and out, flagged stretches and the map in use, speed, throttle and "
    "terrain drag against elapsed time"
)
RIDE_PASSES = "Its laps, and ground ridden again"
WHAT_IF = "Show it with the conservative map where advised"
WHAT_IF_LEGEND = "on the conservative map, with its band"
DOUBT_LEGEND = "doubtful data"
DOUBTFUL = "Doubtful data"
DOUBTFUL_HOW = "Press a time to show it in the picture, where each of these has a mark."
NOTE_SHOW = "Show this moment in the picture"


def doubts_more(count: int) -> str:
    """Doubtful stretches that wait behind one more press."""
    return f"{count} more"


def stretches_left(count: int) -> str:
    """Advised stretches that have no row here."""
    return f"{count} later ones are not listed here: the table of flagged stretches has them all."


def address_part(asked: str, lasted: str) -> str:
    """The address asks for a part that can't be shown."""
    return (
        f"The address asks for {quoted(asked)}, which is no part of this ride of {lasted}, so it is left aside. "
        "Seconds from the start are expected, such as from=120 and to=300."
    )


def address_stretch(asked: str, count: int) -> str:
    """The address asks for a stretch that is not there."""
    there = f"its flagged stretches are numbered 1 to {count}" if count else "it has no flagged stretch"
    return f"The address asks for stretch {quoted(asked[:20])} of this ride; {there}."


def address_switch(asked: str) -> str:
    """The address says something else than on or off."""
    return f"The address sets what-if to {quoted(asked[:20])}, where on or off is expected, so it is left aside."


PLACES = "Hot places"
PLACES_TITLE = "Where it gets hot"
PLACES_STARTING = "Looking at the rides of this library …"
PLACES_ANEW = "Rides that were not looked at before are analyzed once; this page goes on by itself."
PLACES_NONE = "There are no rides here to look at. Drop logs on this page."
PLACES_MAP = "The places, among all the ground that was ridden"
PLACES_MAP_SAID = "Hot places by their numbers over the ground ridden, from above, without positions on earth"
PLACES_WIDE = "The rides lie too far apart for one map. Choose a bike above, or go by the table."
PLACES_TABLE = "The places, the surest first"
PLACES_PASSES = "Each pass"
PLACES_LEFT_OUT = "Left out"
PLACES_FILTERS = "Whose rides"
PLACES_UNITS = "Temperatures are in °C and lengths in kilometres here; the map is in miles."
PASS_HOT, PASS_NOT, PASS_UNKNOWN = "hot", "not hot", "can't tell"


def place_head(number: int, what: str) -> str:
    """A place over its passes."""
    return f"Place {number}: {what}"


def passes_of(count: int) -> str:
    """So many passes to open."""
    return "One pass" if count == 1 else f"{count} passes"
