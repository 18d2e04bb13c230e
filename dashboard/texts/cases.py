"""Cases."""

from __future__ import annotations

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
