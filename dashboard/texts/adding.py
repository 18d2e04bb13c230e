"""Adding logs, and the list of imports."""

from __future__ import annotations

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
