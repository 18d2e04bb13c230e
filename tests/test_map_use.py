"""Where the map in use is known from: its switch, the ignition angle, notes; and what may then be said of the rider."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plant.ignition import Control, tables, with_ignition
from plant.simulate import MapPlan, Simulated, simulate

from ridelog.advice import Advice, default_advice
from ridelog.analysis.adherence import CONSERVATIVE, STANDARD, UNKNOWN
from ridelog.analyze import Analyzed, analyzed
from ridelog.analyze_drive import Doubts
from ridelog.analyze_map_use import NOTE_S, MapUse, map_use, with_fair_verdicts
from ridelog.bike import Bike
from ridelog.diagnose_advice import followed
from ridelog.grid import make_grid
from ridelog.ignition_table import IgnitionTable
from ridelog.results import Analysis, to_json
from ridelog.ride import Ride, RideNote
from ridelog.words.terms import verdict_words

MINUTES = 25.0
CONTROL = Control("mixed", 6.0, "lines", 0.2, 0.1, 0.0, 0.1, 5.0, 0.0, 0.0, 1.0)


@cache
def sandy(plan: MapPlan = "standard") -> Simulated:
    """A ride with much on which the sheet advises the conservative map."""
    return simulate(8, map_plan=plan, duration_s=60.0 * MINUTES, kinds=_sand())


def _sand() -> tuple[str, ...]:
    from plant.course import GROUNDS

    names = [ground.name for ground in GROUNDS]
    soft = [ground.name for ground in GROUNDS if ground.surge]
    firm = [name for name in names if name not in soft]
    return (soft[0], firm[0], soft[0], firm[1])


@cache
def angled(plan: MapPlan = "standard") -> tuple[Ride, Bike]:
    """The same with an ignition angle in place of the switch, and the bike file with both tables."""
    made = sandy(plan)
    ride, standard, conservative = with_ignition(made, 8, CONTROL)
    bike = made.truth.machine.bike
    return ride, replace(bike, ignition_standard=standard, ignition_conservative=conservative)


def without_switch(ride: Ride) -> Ride:
    channels = {name: one for name, one in ride.channels.items() if name != "map_slot"}
    return replace(ride, samples=ride.samples.drop("map_slot"), channels=channels)


def note(at_s: float, about: str) -> RideNote:
    return RideNote(at_s, about, "told on the way")  # type: ignore[arg-type]


def run(ride: Ride, bike: Bike | None, notes: Sequence[RideNote] = ()) -> Analyzed:
    return analyzed(ride, bike, default_advice(), notes=notes)


def told(result: Analysis) -> dict[str, object]:
    assert result.facts is not None
    found: dict[str, object] = result.facts["map"]
    return found


def reasons(result: Analysis) -> str:
    return " ".join(item.reason for item in result.cannot_tell if item.question == "map_in_use")


def test_a_logged_switch_comes_before_everything_else() -> None:
    made = sandy()
    _, bike = angled()
    result = run(made.ride, bike, [note(10.0, "map_conservative")]).analysis
    assert (told(result)["source"], told(result)["origin"]) == ("logged", "logged")
    assert told(result)["conservative_s"] == 0.0
    assert told(result)["known_s"] == pytest.approx(made.ride.duration_s, rel=0.01)
    assert reasons(result) == ""
    assert any(one.verdict == "missed" for one in result.segments)


def test_the_ignition_angle_tells_the_map_and_its_confidence() -> None:
    ride, bike = angled("advice")
    made = sandy("advice")
    found = run(ride, bike, [note(10.0, "map_standard")])
    result = found.analysis
    facts = told(result)
    assert (facts["source"], facts["origin"]) == ("inferred", "estimated")
    assert facts["known_s"] > 0.4 * ride.duration_s  # type: ignore[operator]
    assert facts["confidence"] > 0.99  # type: ignore[operator]
    channel = result.ride.channels["map_conservative"]
    assert channel.origin == "estimated"
    assert channel.coverage == pytest.approx(facts["known_s"] / ride.duration_s)  # type: ignore[operator]
    used, sure = found.traces.series["map_conservative"], found.traces.series["map_confidence"]
    known = np.isfinite(used)
    assert (sure[known] >= 0.99).all()
    truth = np.interp(found.traces.t_s, made.truth.drive.t_s, made.truth.drive.conservative.astype(float))
    clear = known & ((truth == 0.0) | (truth == 1.0))
    assert (used[clear] == truth[clear]).mean() >= 0.99
    assert "ignition angle" in reasons(result)
    assert "swapped" in reasons(result)
    to_json(result)


def test_the_verdicts_of_an_inferred_map_say_what_they_rest_on() -> None:
    for plan, never in (("standard", "followed"), ("conservative", "missed")):
        ride, bike = angled(plan)  # type: ignore[arg-type]
        result = run(ride, bike).analysis
        verdicts = {one.verdict for one in result.segments}
        assert never not in verdicts
        for one in result.segments:
            if one.verdict in ("followed", "late", "missed"):
                assert "by the ignition angle" in verdict_words(one, result)


def test_the_diagnosis_never_says_no_of_a_map_that_was_not_logged() -> None:
    advice = default_advice()
    ride, bike = angled()
    inferred = run(ride, bike)
    noted = run(without_switch(sandy().ride), bike, [note(0.0, "map_standard")])
    assert told(inferred.analysis)["source"] == "inferred"
    assert told(noted.analysis)["source"] == "notes"
    for found in (inferred, noted):
        answer = followed(found.analysis, found.traces, advice)
        assert answer.followed == "unknown"
        assert answer.missed == ()


def test_notes_tell_the_map_from_one_switch_to_the_next() -> None:
    ride = without_switch(sandy().ride)
    bike = sandy().truth.machine.bike
    notes = [note(300.0, "map_conservative"), note(310.0, "stop"), note(700.0, "map_standard")]
    found = run(ride, bike, notes)
    used, t_s = found.traces.series["map_conservative"], found.traces.t_s
    assert np.isnan(used[t_s < 300.0 + NOTE_S - 1.0]).all()
    assert (used[(t_s > 300.0 + NOTE_S) & (t_s < 700.0 - NOTE_S)] == 1.0).all()
    assert np.isnan(used[np.abs(t_s - 700.0) < NOTE_S - 1.0]).all()
    assert (used[(t_s > 700.0 + NOTE_S) & (t_s < ride.duration_s)] == 0.0).all()
    facts = told(found.analysis)
    assert (facts["source"], facts["origin"], facts["confidence"]) == ("notes", "estimated", None)
    assert facts["conservative_s"] == pytest.approx(400.0 - 2.0 * NOTE_S)
    assert "nobody noted" in reasons(found.analysis)
    assert "map_confidence" not in found.traces.series


def test_nothing_is_missed_by_notes_alone() -> None:
    bike = sandy().truth.machine.bike
    logged = run(sandy().ride, bike).analysis
    noted = run(without_switch(sandy().ride), bike, [note(0.0, "map_standard")]).analysis
    assert any(one.verdict == "missed" for one in logged.segments)
    assert not any(one.verdict == "missed" for one in noted.segments)
    # nor do seconds count where no verdict stands
    assert (logged.adherence.share, noted.adherence.share, noted.adherence.conservative_s) == (0.0, None, None)
    assert noted.adherence.unknown_s == pytest.approx(noted.adherence.advised_s)
    assert "which map was on can't be told" in " ".join(noted.summary)
    on = run(without_switch(sandy().ride), bike, [note(0.0, "map_conservative")]).analysis
    assert on.adherence.share == 1.0
    assert ", by the notes" in " ".join(on.summary)
    assert any(one.verdict == "followed" for one in on.segments)


def test_an_inferred_map_that_is_not_sure_enough_accuses_nobody() -> None:
    ride, bike = angled()
    result = run(ride, bike).analysis
    doubts = Doubts()
    used = map_use(ride, bike, doubts, grid=make_grid(ride), opening=_opening(ride))
    assert used.conservative is not None
    missed = tuple(one for one in run(sandy().ride, bike).analysis.segments if one.verdict == "missed")
    assert missed
    for chance, verdict in ((0.00001, "missed"), (0.005, "unknown")):
        unsure = replace(used, conservative=np.full_like(used.conservative, chance))
        known = replace(unsure, track=replace(used.track, start_s=np.zeros(1), state=np.zeros(1, dtype=np.int8)))
        fair = with_fair_verdicts(missed, known, default_advice())
        assert {one.verdict for one in fair} == {verdict}
        assert all((one.conservative_share is None) == (verdict == "unknown") for one in fair)
    assert result.adherence is not None


def _opening(ride: Ride) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    from ridelog.analysis.throttle import learn_stops

    grid = make_grid(ride)
    grip = grid.channels["throttle_pct"]
    return learn_stops(grip, grid.step_s).opening(grip)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"ignition_standard": None, "ignition_conservative": None}, "both maps' tables in the bike file"),
        (
            {"ignition_standard": None, "ignition_conservative": None, "unread_tables": ("a.csv",)},
            "without the ignition tables it names (a.csv)",
        ),
        ({"ignition_conservative": "same"}, "both maps fire alike"),
        ({"ignition_standard": "other", "ignition_conservative": "other"}, "follows neither map's table"),
    ],
)
def test_an_angle_that_tells_nothing_leaves_the_map_unknown_with_its_reason(
    change: dict[str, object], says: str
) -> None:
    ride, bike = angled()
    assert bike.ignition_standard is not None
    # an engine that fires earlier the faster it turns, by more than any offset
    rpm = (1e3, 3e3, 5e3, 8e3, 1e4)
    other = IgnitionTable(rpm, (0.0, 50.0, 100.0), tuple((one / 200.0,) * 3 for one in rpm))
    later = replace(other, advance_deg=tuple((one / 200.0 - 6.0,) * 3 for one in rpm))
    for key, value in change.items():
        given = {"same": bike.ignition_standard, "other": other if key == "ignition_standard" else later}.get(
            value if isinstance(value, str) else "", value
        )
        bike = replace(bike, **{key: given})
    result = run(ride, bike).analysis
    assert told(result)["source"] is None
    assert told(result)["known_s"] == 0.0
    assert says in reasons(result)
    assert "no map switch" in reasons(result)
    assert {one.verdict for one in result.segments} <= {"unknown", "not_advised"}
    assert "map_conservative" not in result.ride.channels


def test_an_angle_without_throttle_says_so() -> None:
    ride, bike = angled()
    channels = {name: one for name, one in ride.channels.items() if name != "throttle_pct"}
    result = run(replace(ride, samples=ride.samples.drop("throttle_pct"), channels=channels), bike).analysis
    assert told(result)["source"] is None
    assert "beside engine speed and throttle" in reasons(result)


changes = st.lists(
    st.tuples(st.floats(-50.0, 1700.0), st.sampled_from(["map_conservative", "map_standard", "stop"])), max_size=6
)


@given(changes)
def test_notes_in_any_order_give_a_track_that_fits_them(given_notes: list[tuple[float, str]]) -> None:
    ride = without_switch(sandy().ride)
    grid = make_grid(ride)
    notes = [note(at_s, about) for at_s, about in given_notes]
    used: MapUse = map_use(ride, None, Doubts(), grid=grid, opening=None, notes=notes)
    states = {"map_conservative": CONSERVATIVE, "map_standard": STANDARD}
    marks = sorted((one.at_s, states[one.about]) for one in notes if one.about in states)
    seconds = [used.track.seconds(state, 0.0, ride.duration_s) for state in (STANDARD, CONSERVATIVE, UNKNOWN)]
    assert sum(seconds) == pytest.approx(ride.duration_s)
    if used.source is None:
        return
    starts = used.track.start_s
    assert (np.diff(starts) > 0.0).all()
    for t_s in np.linspace(0.5, ride.duration_s - 0.5, 60):
        state = used.track.at(float(t_s))
        before = [one for at_s, one in marks if at_s <= t_s]
        near = {one for at_s, one in marks if abs(at_s - t_s) < NOTE_S}
        if state != UNKNOWN:
            assert before
            assert state == before[-1]
            assert near <= {state}
    assert list(marks) or used.source is None


def test_another_table_and_another_note_are_another_result() -> None:
    from ridelog.analyze_settings import fit_hash, settings_hash
    from ridelog.study import Known

    _, bike = angled()
    other, _ = tables(np.random.default_rng(1), CONTROL)
    changed = replace(bike, ignition_standard=other)
    advice: Advice = default_advice()
    assert settings_hash(bike, advice) != settings_hash(changed, advice)
    assert fit_hash(bike) != fit_hash(changed)
    assert Known(bike, advice).hash != Known(bike, advice, notes=(note(1.0, "map_standard"),)).hash
