"""What is said of complaints: the customer's words as such, what was found, and how it compares. Nobody is to blame."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from ridelog.told import quoted
from ridelog.words.causes import CAUSE_WORDS, FAMILY_WORDS
from ridelog.words.causes import chance as odds
from ridelog.words.notes import listed
from ridelog.words.terms import degrees, duration

CHANGED_WORDS: dict[str, str] = {
    "version": "ridelog itself",
    "ride_bike": "the bike the ride belongs to",
    "bike": "the bike file",
    "sheet": "the advice sheet in force on that day",
    "baseline": "the bike's rides it is held against",
    "effect": "the estimate of what the conservative map does",
    "notes": "the notes on the ride",
    "ambient": "the air temperature given for the ride",
    "start": "the ride's date or time of day",
    "ride_file": "the ride as it is stored, imported anew",
    "figures": "figures ridelog works with",
    "other": "something else that is known of the bike",
}

OUTCOME_WORDS: dict[str, str] = {
    "open": "open",
    "first_right": "The cause named first is what the workshop found.",
    "family_right": "The cause named first is of the kind the workshop found.",
    "not_right": "The workshop found something else than the cause named first.",
    "not_enough_evidence": "From the rides alone there was not enough evidence for a cause.",
    "no_cause": "No cause of ridelog's list was named, so the case tells nothing of how right ridelog was.",
    "no_rides": "No ride was attached, so the case tells nothing of how right ridelog was.",
}

NO_CASES = "There are no cases yet. Open one: ridelog case open --bike BIKE --said TEXT"
NO_RIDES = "No ride is attached yet: ridelog case add CASE RIDE"
GONE = "Today: the ride is no longer in the library, so it can't be run again. What was found then stands above."
SAME = "Today: the same. All that the answer rests on is as it was."


def cause_words(name: str) -> str:
    """A cause, a family or a conclusion in words."""
    if name == "not_enough_evidence":
        return "not enough evidence"
    if name == "none_of_these":
        return "none of ridelog's causes"
    return CAUSE_WORDS.get(name) or FAMILY_WORDS.get(name, name.replace("_", " "))


def chance(probability: float | None) -> str:
    """` (about 7 in 10)`, or nothing."""
    return "" if probability is None else f" ({odds(probability)})"


def named(conclusion: str, probability: float | None) -> str:
    """An answer with its chance. Where none is given, the chance of the first cause says nothing of it."""
    return cause_words(conclusion) + ("" if conclusion == "not_enough_evidence" else chance(probability))


def state(closed_utc: datetime | None) -> str:
    """Whether a case is closed, and since when."""
    return "open" if closed_utc is None else f"closed {closed_utc:%-d %B %Y}"


def said(text: str) -> str:
    """The customer's words."""
    return f"The rider said: {quoted(text)}"


def found(text: str, cause: str | None, before: bool = False) -> str:
    """The workshop's finding."""
    named = f" Cause: {cause_words(cause)}." if cause is not None else ""
    return f"The workshop {'had first found' if before else 'found'}: {quoted(text)}{_end(text)}{named}"


def _end(text: str) -> str:
    """A full stop behind words that do not bring one."""
    return "" if text.rstrip().endswith((".", "!", "?", "…")) else "."


def answer(conclusion: str | None, probability: float | None, rides: int) -> str:
    """The tool's answer over all rides of a case."""
    if conclusion is None:
        return NO_RIDES
    over = "From its ride" if rides == 1 else f"From its {rides} rides together"
    if conclusion == "not_enough_evidence":
        return f"{over}: not enough evidence for a cause."
    return f"{over}, most likely: {cause_words(conclusion)}{chance(probability)}."


def figures(key: Mapping[str, object]) -> str:
    """Peak and longest look at the thresholds, as they were found."""
    peak = key.get("peak_c")
    if not isinstance(peak, int | float):
        return "Coolant was not logged, so nothing was measured of its temperature."
    told = [f"coolant peaked at {degrees(float(peak))}"]
    rows = key.get("exposure")
    above = rows if isinstance(rows, list) else []
    told += [f"{duration(row['observed_s'])} above {row['threshold_c']:g} C" for row in above if row["observed_s"]]
    text = ", ".join(told)
    return f"{text[0].upper()}{text[1:]}."


def noted(key: Mapping[str, object]) -> list[str]:
    """The notes on the ride as they were then."""
    rows = key.get("notes")
    told = [listed(float(row["at_s"]), row["about"], row["text"]) for row in (rows if isinstance(rows, list) else [])]
    return [f"Noted at {text}" for text in told]


def rested_on(version: str, basis: Mapping[str, object]) -> str:
    """What the findings rest on, in brief."""
    rides = basis.get("prior_rides")
    count = len(rides) if isinstance(rides, list) else 0
    held = f"{count} other ride{'' if count == 1 else 's'}" if count else "no other ride"
    bike = _short(basis.get("bike_sha256"))
    return f"Rests on: ridelog {version}, advice sheet {basis.get('sheet')}, bike file {bike}, {held}."


def _short(sha256: object) -> str:
    return str(sha256)[:8] if sha256 is not None else "none"


def versions(then: str, now: str) -> str:
    """Another version of ridelog."""
    return f"ridelog itself (then {then}, now {now})"


def rides_beside(then: Sequence[str], now: Sequence[str]) -> str:
    """Which rides came and went among those it is held against."""
    came, went = [one for one in now if one not in then], [one for one in then if one not in now]
    told = [*([f"new: {_some(came)}"] if came else []), *([f"no longer: {_some(went)}"] if went else [])]
    return f"{CHANGED_WORDS['baseline']} ({'; '.join(told) or 'the same rides with other figures'})"


def _some(names: Sequence[str]) -> str:
    return ", ".join(names[:3]) + (f" and {len(names) - 3} more" if len(names) > 3 else "")


def changed(parts: Sequence[str], then: str, now: str, *, same_answer: bool) -> str:
    """Today beside then. `parts` are what changed, in words; `then` and `now` the answers."""
    what = parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"
    if same_answer and then == now:
        return f"Changed since: {what}. Today the answer is the same: {now}."
    if same_answer:
        return f"Changed since: {what}. Today the answer is the same cause: then {then}, now {now}."
    return f"Changed since: {what}. The answer then: {then}. The answer today: {now}."


def unknown(reason: str) -> str:
    """It can't be told."""
    return f"Today: can't tell whether it gives the same: {reason}"


def opened(name: str, rides: int) -> str:
    """A case was opened."""
    return f"Case {name} opened{_with(rides)}."


def added(name: str, rides: int) -> str:
    """Rides were attached."""
    return f"Case {name}: {rides} ride{'' if rides == 1 else 's'} added, findings kept as they are now."


def _with(rides: int) -> str:
    return "" if rides == 0 else f" with {rides} ride{'' if rides == 1 else 's'}, findings kept as they are now"


def closed(name: str, cause: str | None) -> str:
    """A case was closed."""
    if cause is None:
        return f"Case {name} closed. Without --cause it does not count in ridelog's own record."
    return f"Case {name} closed: {cause_words(cause)}."


def reopened(name: str) -> str:
    """A case was opened again."""
    return f"Case {name} is open again; what the workshop had found stays with it."


def losing(name: str, ride: str | None) -> str:
    """What is lost, for the question."""
    return f"case {name} with all that was found" if ride is None else f"{ride} and its findings"


def dropped(name: str, ride: str | None) -> str:
    """A case, or a ride of it, was removed."""
    return f"Case {name} removed." if ride is None else f"Case {name}: {ride} taken out."


def damaged(names: Sequence[str], reason: str) -> str:
    """Cases of which what was found can't be read, with the reason of the first."""
    more = f" Left out as well: {', '.join(names[1:])}." if len(names) > 1 else ""
    return f"Left out: {reason}{more}"


def record(counts: Mapping[str, int]) -> str:
    """The tool's own record in a sentence."""
    total = counts["closed"]
    if not total:
        return "No case is closed yet, so there is no record of how often ridelog was right."
    damaged = counts.get("unreadable", 0)
    asked = total - counts["no_cause"] - counts["no_rides"] - damaged
    head = f"{total} closed case{'' if total == 1 else 's'}"
    if damaged:
        head += f", {damaged} damaged and left out"
    if not asked:
        return f"{head}, none with both a ride and a cause by the workshop."
    whole = "with both a ride and a cause by the workshop"
    if asked < total:
        whole = f"{asked} {whole}"
    elif asked > 1:
        whole = f"each {whole}"
    return f"{head}, {whole}. {_right(counts, asked)}"


def _right(counts: Mapping[str, int], asked: int) -> str:
    """In how many cases the cause named first was right, its kind, or none was named."""
    untold, first, kind = counts["not_enough_evidence"], counts["first_right"], counts["family_right"]
    if asked == 1:
        if untold:
            return "From its rides there was not enough evidence for a cause."
        if first:
            return "The cause named first was right."
        return "The cause named first was of the right kind." if kind else "The workshop found another cause."
    told = f"The cause named first was right in {_of(first, asked)}"
    if kind > first:
        told += f", of the right kind in {_of(kind, asked)}"
    if untold:
        told += f"; {'one' if untold == 1 else untold} gave not enough evidence for a cause"
    return f"{told}."


def _of(count: int, total: int) -> str:
    if count == total:
        return "both" if total == 2 else f"all {total}"
    return f"{'none' if count == 0 else count} of {total}"
