"""Complaints: freezing really freezes, what changed since is named, and the tool's own record is counted fairly."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any, get_args

import pytest

import ridelog
import sample_logs
from ridelog import case_findings, cases, study
from ridelog.analysis import diagnosis_table
from ridelog.case_findings import Changed, Frozen, findings, today
from ridelog.effect import Effect
from ridelog.errors import LibraryError, NotInLibrary, UsageError
from ridelog.ingest import ImportOptions, import_files
from ridelog.results import Band
from ridelog.store.complaints import ComplaintRow, FrozenRide
from ridelog.store.library import Library
from ridelog.words import cases as words

SOURCE = sample_logs.folder()
BIKE_FILE = SOURCE / "bikes" / "enduro-12.bike.toml"
DAY = date(2026, 6, 21)


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library with the rides on which one bike's radiators clog."""
    library = Library.open(tmp_path_factory.mktemp("filled") / "library")
    bike = library.add_bike(BIKE_FILE)
    days = {"04-clean-radiators.tsv.gz": 9, "05-first-mud.csv.gz": 24, "06-more-mud.csv.gz": 30}
    for name, day in (*days.items(), ("07-half-blocked.csv.gz", 31)):
        start = datetime(2026, 5, day, 9, 0, tzinfo=UTC) if not name.startswith("05") else None
        options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=24.0, start=start, timezone="+02:00")
        (outcome,) = import_files(library, [SOURCE / "rides" / name], options)
        assert outcome.status == "stored", outcome.reason
    findings(library, newest(library))  # so that the fits of the other rides are kept
    return library.root


@pytest.fixture
def library(filled: Path, tmp_path: Path) -> Library:
    """A copy that a test may change."""
    shutil.copytree(filled, tmp_path / "library")
    return Library.open(tmp_path / "library")


def newest(library: Library) -> str:
    """The ride with half-blocked radiators."""
    return library.list_rides()[0].id


def opened(library: Library) -> ComplaintRow:
    return cases.open_case(library, "enduro-12", "it boils on sand", day=DAY, rides=[newest(library)])


def frozen(case: ComplaintRow) -> Frozen:
    (one,) = cases.frozen_of(case)
    return one


def test_what_is_frozen_is_what_is_found_now_and_all_it_rests_on(library: Library) -> None:
    one = frozen(opened(library))
    document = one.document
    row = library.row(newest(library))
    assert document["diagnosis"]["schema"] == 1
    assert sum(cause["probability"] for cause in document["diagnosis"]["ranked"]) == pytest.approx(1.0)
    assert document["version"] == ridelog.__version__
    assert document["basis"]["files"] == [{"name": row.files[0].name, "sha256": row.files[0].sha256}]
    assert len(document["basis"]["prior_rides"]) == 3
    assert document["key"]["peak_c"] == row.peak_c
    assert document["key"]["notes"] == []
    assert document["key"]["exposure"][0]["observed_s"] > 0.0
    assert one.conclusion in {*one.chances, "not_enough_evidence"}
    assert set(one.chances) == set(diagnosis_table.FAMILY)
    # Worked out again from the same, it is the same to the last digit: that is what "same" rests on.
    assert json.loads(json.dumps(findings(library, newest(library)))) == document
    beside = today(library, one)
    assert (beside.state, beside.changed, beside.conclusion) == ("same", (), one.conclusion)


def change_bike(library: Library, tmp_path: Path) -> None:
    text = BIKE_FILE.read_text(encoding="utf-8")
    changed = re.sub(r"total_kg = [\d.]+", "total_kg = 240.0", text)
    assert changed != text
    path = tmp_path / "changed.toml"
    path.write_text(changed, encoding="utf-8")
    library.add_bike(path)


def add_sheet(library: Library, tmp_path: Path) -> None:
    path = tmp_path / "new.advice.toml"
    path.write_text(
        'schema = 1\nversion = "2026-05"\nvalid_from = 2026-05-01\n[[rule]]\nkind = "wide_open"\ngrace_s = 3.0\n',
        encoding="utf-8",
    )
    library.add_advice(path)


def add_other_bike(library: Library, tmp_path: Path) -> None:
    path = tmp_path / "other.toml"
    path.write_text(BIKE_FILE.read_text(encoding="utf-8").replace('"enduro-12"', '"enduro-13"'), encoding="utf-8")
    library.add_bike(path)
    library.edit(newest(library), bike="enduro-13")


def oldest(library: Library) -> str:
    return library.list_rides()[-1].id


CHANGES: dict[str, Any] = {
    "bike": change_bike,
    "sheet": add_sheet,
    "ride_bike": add_other_bike,
    "baseline": lambda library, _: library.edit(oldest(library), condition="faulty"),
    "notes": lambda library, _: library.add_note(newest(library), 60.0, "coolant_lost", "drops under the bike"),
    "ambient": lambda library, _: library.edit(newest(library), ambient_c=35.0),
    "start": lambda library, _: library.edit(newest(library), start_utc=datetime(2026, 5, 31, 9, 30, tzinfo=UTC)),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_change_afterwards_leaves_what_was_found_and_is_named(library: Library, tmp_path: Path, what: str) -> None:
    case = opened(library)
    before = frozen(case)
    CHANGES[what](library, tmp_path)
    after = frozen(Library.open(library.root).complaint(case.id))
    assert after == before
    beside = today(library, after)
    assert beside.state == "changed"
    assert what in beside.changed
    if what != "ride_bike":
        assert beside.changed == (what,)
    assert beside.conclusion in {*diagnosis_table.FAMILY, "not_enough_evidence"}
    # Today's answer is that of a new analysis, not the one that was kept.
    now = findings(library, after.ride)
    assert now != after.document
    assert beside.conclusion == now["diagnosis"]["conclusion"]
    assert beside.probability == now["diagnosis"]["ranked"][0]["probability"]


def test_another_estimate_of_the_map_is_named_as_that(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    case = opened(library)
    assert frozen(case).document["basis"]["effect_sha256"] is None
    told = Effect(
        bike="enduro-12", build="", level="bike", identified=True, reason=None, heat_ratio=Band(0.9, 0.85, 0.95),
        same_throttle=Band(0.9, 0.85, 0.95), method="", hash="a",
    )  # fmt: skip
    monkeypatch.setattr(study, "known_effect", lambda *_: told)
    assert today(library, frozen(case)).changed == ("effect",)
    assert words.CHANGED_WORDS["effect"] == "the estimate of what the conservative map does"


def test_notes_stay_with_what_was_found(library: Library) -> None:
    library.add_note(newest(library), 60.0, "stop", "gate")
    case = opened(library)
    library.remove(newest(library))
    assert words.noted(frozen(library.complaint(case.id)).document["key"]) == ["Noted at 0:01:00 (a stop): “gate”"]


def test_a_bike_file_put_back_gives_the_same_again(library: Library, tmp_path: Path) -> None:
    case = opened(library)
    change_bike(library, tmp_path)
    assert today(library, frozen(case)).state == "changed"
    library.add_bike(BIKE_FILE)
    assert today(library, frozen(case)).state == "same"
    # A comment is no other bike.
    path = tmp_path / "same.toml"
    path.write_text("# looked through in June\n" + BIKE_FILE.read_text(encoding="utf-8"), encoding="utf-8")
    library.add_bike(path)
    assert today(library, frozen(case)).state == "same"


def test_another_version_and_other_figures_are_named(library: Library, monkeypatch: pytest.MonkeyPatch) -> None:
    case = opened(library)
    with monkeypatch.context() as patch:
        patch.setattr(ridelog, "__version__", "99.0")
        assert today(library, frozen(case)).changed == ("version",)
    with monkeypatch.context() as patch:
        patch.setattr(diagnosis_table, "UNSHOWN", 0.2)
        assert today(library, frozen(case)).changed == ("figures",)
    assert today(library, frozen(case)).state == "same"


def test_what_was_found_stays_when_the_ride_is_removed_and_it_is_known_again_when_it_returns(library: Library) -> None:
    case = opened(library)
    before = frozen(case)
    row = library.row(before.ride)
    library.remove(before.ride)
    after = library.complaint(case.id)
    assert frozen(after) == before
    assert today(library, before).state == "gone"
    assert today(library, before).to_json()["same"] is None
    assert cases.answer_of(after).conclusion == before.conclusion
    bike = library.bike("enduro-12")
    options = ImportOptions(bike=bike, bike_id=bike.id, ambient_c=24.0, start=row.start_utc, timezone="+02:00")
    (outcome,) = import_files(library, [SOURCE / "rides" / "07-half-blocked.csv.gz"], options)
    assert outcome.ride_id == before.ride
    assert today(library, before).state == "same"


def test_a_ride_whose_file_is_damaged_is_told(library: Library, tmp_path: Path) -> None:
    case = opened(library)
    change_bike(library, tmp_path)  # else nothing is run again
    (library.root / "rides" / f"{newest(library)}.parquet").write_bytes(b"PAR1")
    beside = today(library, frozen(case))
    assert (beside.state, beside.to_json()["same"]) == ("unknown", None)
    assert "differs from what the import wrote" in (beside.reason or "")


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"ride": "x"}', '{"ride": 1, "diagnosis": 2}'])
def test_findings_that_can_not_be_read_are_told(library: Library, text: str) -> None:
    case = opened(library)
    with closing(sqlite3.connect(library.root / "library.sqlite")) as db, db:
        db.execute("UPDATE complaint_ride SET findings = ?", (text,))
    with pytest.raises(LibraryError, match="can't be read") as caught:
        cases.frozen_of(library.complaint(case.id))
    assert case.id in caught.value.where
    assert newest(library) in caught.value.where


def test_a_damaged_case_is_named_and_takes_no_other_with_it(library: Library) -> None:
    """It is left out of the record, which says so; what its message says to do makes it whole."""
    hurt, whole = opened(library), opened(library)
    for case in (hurt, whole):
        cases.close_case(library, case, "fins", "airflow_blocked")
    before = cases.tool_record(library)
    with closing(sqlite3.connect(library.root / "library.sqlite")) as db, db:
        db.execute(
            "UPDATE complaint_ride SET findings = ? WHERE complaint_seq = (SELECT seq FROM complaint WHERE id = ?)",
            (whole.rides[0].findings.replace('"probability": 0.', '"probability": 7.', 1), hurt.id),
        )
    assert [one.case for one in cases.unreadable(library)] == [hurt.id]
    record = cases.tool_record(library)
    assert (record["closed"], record["unreadable"]) == (2, 1)
    assert record["first_right"] <= before["first_right"]
    assert "1 damaged and left out" in words.record(record)
    cases.frozen_of(library.complaint(whole.id))
    with pytest.raises(LibraryError, match="entry 1, probability is 7") as caught:
        cases.answer_of(library.complaint(hurt.id))
    for step in ("case reopen", "case drop", "case add"):
        assert f"ridelog {step} {hurt.id}" in caught.value.to_do
    library.reopen_complaint(hurt.id)
    library.drop_from_complaint(hurt.id, newest(library))
    cases.add_rides(library, library.complaint(hurt.id), [newest(library)])
    assert cases.unreadable(library) == []


def test_rides_are_all_looked_at_before_the_first_is_analyzed(
    library: Library, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object) -> dict[str, Any]:
        raise AssertionError("a ride was analyzed")

    case = opened(library)
    library.edit(oldest(library), bike=None)
    monkeypatch.setattr(cases, "findings", never)
    ride = library.list_rides()[1].id
    for rides, error, found in (
        ([ride, oldest(library)], UsageError, "belongs to no bike yet"),
        ([ride, "19990101"], NotInLibrary, "no ride"),
        ([ride, ride], UsageError, "named twice"),
        ([ride, newest(library)], UsageError, "has this ride already"),
        ([ride] * 51, UsageError, "51 rides at once"),
    ):
        with pytest.raises(error, match=found):
            cases.add_rides(library, case, rides)
    library.close_complaint(case.id, "x", None)
    with pytest.raises(UsageError, match="reopen"):
        cases.add_rides(library, library.complaint(case.id), [ride])


def test_the_day_of_a_complaint(library: Library) -> None:
    now = datetime.now(UTC).astimezone().date()
    assert cases.open_case(library, "enduro-12", "hot").day in (now, now + timedelta(days=1))
    for day in (now + timedelta(days=3), date(9999, 12, 31), date(1969, 12, 31), date(1, 1, 1)):
        with pytest.raises(UsageError, match="no day a complaint can be of"):
            cases.open_case(library, "enduro-12", "hot", day=day)
    with pytest.raises(NotInLibrary, match="enduro-99"):
        cases.open_case(library, "enduro-99", "hot")


# -- causes and the record -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", [*diagnosis_table.FAMILY, *dict.fromkeys(diagnosis_table.FAMILY.values()), "none_of_these"]
)
def test_every_cause_and_family_is_taken_however_it_is_spelled(name: str) -> None:
    for typed in (name, name.replace("_", "-"), name.replace("_", " "), name.upper(), f" {name}  "):
        assert cases.cause_of(typed) == name
    assert "_" not in words.cause_words(name)


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        ("airflow", "airflow-blocked"),
        ("thermostat", "thermostat-restricted"),
        ("fan-falt", "fan-fault"),
        ("cap", "cap-leaking"),
    ],
)
def test_an_unknown_cause_names_the_near_ones(typed: str, near: str) -> None:
    with pytest.raises(UsageError, match="no cause ridelog knows") as caught:
        cases.cause_of(typed)
    assert near in caught.value.expected
    assert "none-of-these" in caught.value.to_do
    with pytest.raises(UsageError) as far:
        cases.cause_of("zzzz\x1b[2J")
    assert "airflow-blocked" in far.value.expected
    assert "\x1b" not in str(far.value)


def told(ride: str, conclusion: str, **chances: float) -> FrozenRide:
    """A frozen ride with these probabilities alone."""
    nothing: dict[str, Any] = {"for": [], "against": [], "check_next": []}
    ranked = [
        {"cause": cause, "family": "x", "probability": share, **nothing}
        for cause, share in sorted(chances.items(), key=lambda one: -one[1])
    ]
    rested = {"known_hash": "a", "ride_sha256": "b", "bike": None, "bike_sha256": None, "sheet": "s"}
    document = {
        "schema": 1,
        "ride": ride,
        "version": "1",
        "basis": {**rested, "files": [], "prior_rides": []},
        "key": {"summary": [], "notes": [], "exposure": [], "peak_c": None},
        "diagnosis": {"conclusion": conclusion, "ranked": ranked, "summary": []},
    }
    return FrozenRide(ride, json.dumps(document), datetime(2026, 6, 1, tzinfo=UTC))


def case_of(cause: str | None, *rides: FrozenRide, closed: bool = True) -> ComplaintRow:
    day = datetime(2026, 6, 2, tzinfo=UTC)
    return ComplaintRow(
        "c",
        "b",
        DAY,
        "hot",
        day,
        day if closed else None,
        "found" if closed else None,
        cause if closed else None,
        rides,
    )


AIR = told("one", "airflow_blocked", airflow_blocked=0.7, coolant_flow_low=0.3)
FLOW = told("two", "coolant_flow_low", airflow_blocked=0.2, coolant_flow_low=0.8)
OPEN = told("three", "not_enough_evidence", airflow_blocked=0.4, normal=0.35, coolant_flow_low=0.25)


@pytest.mark.parametrize(
    ("cause", "rides", "outcome"),
    [
        ("airflow_blocked", [AIR], "first_right"),
        ("fan_fault", [AIR], "family_right"),
        ("air_side", [AIR], "family_right"),
        ("coolant_side", [AIR], "not_right"),
        ("coolant_flow_low", [AIR], "not_right"),
        ("none_of_these", [AIR], "not_right"),
        (None, [AIR], "no_cause"),
        ("airflow_blocked", [], "no_rides"),
        ("airflow_blocked", [OPEN], "not_enough_evidence"),
        ("none_of_these", [OPEN], "not_enough_evidence"),
        # Over several rides: 0.45 against 0.55.
        ("airflow_blocked", [AIR, FLOW], "not_right"),
        ("coolant_flow_low", [AIR, FLOW], "first_right"),
        # A ride that names nothing still counts: 0.55 against 0.275.
        ("airflow_blocked", [AIR, OPEN], "first_right"),
    ],
)
def test_what_the_workshop_found_beside_what_was_said(cause: str | None, rides: list[FrozenRide], outcome: str) -> None:
    assert cases.outcome(case_of(cause, *rides)) == outcome
    assert cases.outcome(case_of(cause, *rides, closed=False)) == "open"


def test_the_answer_over_several_rides_is_the_mean_of_their_probabilities() -> None:
    answer = cases.answer_of(case_of(None, AIR, FLOW))
    assert (answer.conclusion, answer.rides) == ("coolant_flow_low", 2)
    assert answer.probability == pytest.approx(0.55)
    assert cases.answer_of(case_of(None)).conclusion is None


def test_the_record_counts_closed_cases_only(library: Library) -> None:
    assert set(cases.tool_record(library).values()) == {0}
    ride = newest(library)

    def kept(frozen_ride: FrozenRide, cause: str | None, *, close: bool = True, rides: bool = True) -> None:
        document = json.loads(frozen_ride.findings) | {"ride": ride}
        attached = [(ride, json.dumps(document))] if rides else []
        name = library.open_complaint("enduro-12", DAY, "hot", attached).id
        if close:
            library.close_complaint(name, "found", cause)

    kept(AIR, "airflow_blocked")
    kept(AIR, "fan_fault")
    kept(AIR, "cap_leaking")
    kept(OPEN, "cap_leaking")
    kept(AIR, None)
    kept(AIR, "normal", rides=False)
    kept(AIR, None, close=False)
    assert cases.tool_record(library) == {
        "closed": 6, "first_right": 1, "family_right": 2, "not_right": 1, "not_enough_evidence": 1, "no_cause": 1,
        "no_rides": 1, "unreadable": 0,
    }  # fmt: skip
    assert cases.tool_record(library, "enduro-12") == cases.tool_record(library)
    assert set(cases.tool_record(library, "another").values()) == {0}
    assert cases.tool_record(library, since=DAY)["closed"] == 6
    assert cases.tool_record(library, since=DAY + timedelta(days=1))["closed"] == 0
    # Opened again, a case is out of the record until it is closed anew.
    library.reopen_complaint(library.complaints()[-1].id)
    assert cases.tool_record(library)["first_right"] == 0


# -- words ------------------------------------------------------------------------------------------------------------


def test_everything_that_can_be_said_has_its_words() -> None:
    assert set(words.CHANGED_WORDS) == set(get_args(Changed))
    assert set(words.OUTCOME_WORDS) == set(get_args(cases.Outcome))
    assert {name for name, _ in case_findings._PARTS} <= set(words.CHANGED_WORDS)


def test_nobody_is_blamed() -> None:
    said = [
        *words.OUTCOME_WORDS.values(), *words.CHANGED_WORDS.values(), words.said("x"), words.found("x", "normal"),
        words.answer("load_without_conservative_map", 0.8, 2), words.GONE, words.SAME, words.NO_RIDES, words.NO_CASES,
        words.changed(["the bike file"], "a", "b", same_answer=False), words.closed("c", None),
        *(words.cause_words(name) for name in (*diagnosis_table.FAMILY, "none_of_these")),
    ]  # fmt: skip
    for text in said:
        assert not re.search(
            r"blame|guilt|your fault|own fault|should have|ignored|careless|wrong use|abuse", text, re.I
        ), text


@pytest.mark.parametrize(
    ("counts", "expected"),
    [
        ((1, 1, 1, 0, 0), "with both a ride and a cause by the workshop. The cause named first was right."),
        ((1, 0, 1, 0, 0), "The cause named first was of the right kind."),
        ((1, 0, 0, 0, 0), "The workshop found another cause."),
        ((1, 0, 0, 1, 0), "From its rides there was not enough evidence for a cause."),
        ((2, 2, 2, 0, 0), "2 closed cases, each with both a ride and a cause by the workshop. "),
        ((2, 2, 2, 0, 0), "The cause named first was right in both."),
        ((5, 1, 3, 1, 1), "5 closed cases, 4 with both a ride and a cause by the workshop. "),
        ((5, 1, 3, 1, 1), "right in 1 of 4, of the right kind in 3 of 4; one gave not enough evidence for a cause."),
        ((3, 0, 0, 2, 0), "right in none of 3; 2 gave not enough evidence for a cause."),
        ((2, 0, 0, 0, 2), "2 closed cases, none with both a ride and a cause by the workshop."),
    ],
)  # fmt: skip
def test_the_record_is_told_in_whole_sentences(counts: tuple[int, ...], expected: str) -> None:
    names = ("closed", "first_right", "family_right", "not_enough_evidence", "no_cause")
    assert expected in words.record({**dict(zip(names, counts, strict=True)), "no_rides": 0})


def test_likelihoods_of_a_case_are_told_in_tenths_and_what_changed_in_any_number() -> None:
    assert words.named("airflow_blocked", 0.61) == "too little air through the radiators (about 6 in 10)"
    once = words.changed(["the notes on the ride"], "a", "a", same_answer=True)
    assert once == "Changed since: the notes on the ride. Today the answer is the same: a."
    twice = words.changed(["the bike file", "the ride's date"], "a", "b", same_answer=False)
    assert twice == "Changed since: the bike file and the ride's date. The answer then: a. The answer today: b."
    assert words.found("Washed.", "airflow_blocked").count(".") == 2
