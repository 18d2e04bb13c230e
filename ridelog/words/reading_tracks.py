"""What a reader notes of a track or of a satellite receiver's log (GPX, NMEA 0183)."""

from __future__ import annotations

# GPX

BAD_POSITION = "points without usable coordinates were left out"
NO_TIME = "points without a time were left out"
LONGITUDE_180 = "longitude 180 stands for -180"
TIME_WITHOUT_T = "times without the T between date and time were read"
UNKNOWN_FIX = "a fix that GPX does not know counts as no value"
CUT_FILE = "the file breaks off or is damaged; the points before were kept"
NO_VERSION = "the file names no GPX version or namespace; it was read as GPX all the same"
VERSION_1_0 = "the file is GPX 1.0, whose speeds are in m/s"
SPEED_ELEMENTS = "speed elements, which GPX 1.1 does not have, were read as in 1.0, in m/s"
FOREIGN_ELEMENTS = "elements that GPX 1.1 does not have were passed over"
OTHER_ORDER = "elements stand in another order than GPX wants"
PLAIN_EXTENSIONS = "extensions stand in no namespace of their own"


def empty_elements(name: str) -> str:
    """Elements of a point without text."""
    return f"empty {name} elements count as no value"


def unreadable_elements(name: str) -> str:
    """Elements that hold something else than a number."""
    return f"{name} elements that hold no number count as no value"


def odd_elements(name: str) -> str:
    """Numbers written otherwise than XML's decimals."""
    return f"{name} values in a form GPX does not allow were read"


# NMEA 0183: why a sentence is no sample of its own

NMEA = "NMEA 0183 sentences of a satellite receiver (RMC, GGA, VTG, GLL, ZDA)"
JOINED = "sentences were joined to the sample of the same moment"
OTHER_SENTENCES = "sentences of kinds that hold no position, speed or date were passed over"
PROPRIETARY = "sentences of a maker's own were passed over"
CHECKSUM = "sentences whose checksum is wrong were not believed"
UNVERIFIED = "sentences without a checksum were not believed"
TORN = "torn pieces of sentences were left out"
MALFORMED = "sentences with a right checksum but fields out of the standard were left out"
VOID = "sentences of moments without a fix were left out: no position, no speed"
NULL_ISLAND = "sentences of moments at latitude 0, longitude 0 were left out"
NO_POSITION = "sentences of moments without a position were left out"
NO_MOMENT = "sentences that belong to no time were left out"
STRAY_TIME = "sentences whose time fits neither neighbour were left out"
CUT_MOMENT = "sentences of a moment a recording begins or ends in were left out"

# and what else was seen

WEEKS_MOVED = "dates 1024 weeks too early, as of a receiver whose week number has run over, were moved forward"
WEEKS_KEPT = "dates are before 1999-08-22, as of a receiver whose week number has run over; they were kept as written"
ODD_DATES = "dates that are none, or that the times around them contradict, were replaced"
BORROWED_DATES = "samples without a date near them go by the one across a hole"
DISORDERED = "samples were put in the order of time"
GLUED = "sentences glued to another one were taken apart"
LOWER_CASE = "checksums in lower case were accepted"
TEXT_LINES = "lines without a sentence were passed over"
NO_DATE = "no sentence in it has a date; only the time of day is known"


def clock_back(times: str, longest_s: float) -> str:
    """The receiver's clock went back."""
    return f"the clock goes back {times}, by up to {longest_s:,.1f} s; a new recording begins there"


def odd_bytes(count: int) -> str:
    """Bytes that are no text."""
    if count == 1:
        return "a byte that is no plain text was passed over"
    return f"{count:,} bytes that are no plain text were passed over"
