"""Which map was on, and the verdict on a stretch."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.analysis.adherence import CONSERVATIVE, NO_TRACK, STANDARD, UNKNOWN, Judgement, MapTrack, judge, track


def used(*pieces: tuple[float, int], end_s: float = 1000.0) -> MapTrack:
    """A map track from (start, state) pairs."""
    return MapTrack(
        np.array([start for start, _ in pieces]), np.array([state for _, state in pieces], dtype=np.int8), end_s
    )


def verdict(track_: MapTrack, start_s: float = 100.0, end_s: float = 200.0, *, advised: bool = True) -> Judgement:
    return judge(track_, start_s, end_s, grace_s=10.0, advised=advised)


def test_switched_in_time() -> None:
    found = verdict(used((0.0, STANDARD), (104.0, CONSERVATIVE), (203.5, STANDARD)))
    assert found.verdict == "followed"
    assert (found.advised_s, found.conservative_s, found.share) == (90.0, 90.0, 1.0)
    assert (found.switched_after_s, found.held_after_s) == (4.0, 3.5)


def test_on_already() -> None:
    found = verdict(used((0.0, CONSERVATIVE)))
    assert (found.verdict, found.switched_after_s, found.held_after_s) == ("followed", 0.0, 800.0)


def test_switched_late() -> None:
    found = verdict(used((0.0, STANDARD), (150.0, CONSERVATIVE)))
    assert (found.verdict, found.switched_after_s) == ("late", 50.0)
    assert found.share == pytest.approx(50.0 / 90.0)


def test_never_switched() -> None:
    found = verdict(used((0.0, STANDARD)))
    assert (found.verdict, found.share, found.switched_after_s, found.held_after_s) == ("missed", 0.0, None, None)


def test_switched_back_too_early_is_not_followed() -> None:
    found = verdict(used((0.0, CONSERVATIVE), (150.0, STANDARD)))
    assert (found.verdict, found.held_after_s) == ("late", 0.0)


def test_a_map_left_over_from_before_that_ends_in_the_grace_time_is_no_switch() -> None:
    found = verdict(used((0.0, CONSERVATIVE), (105.0, STANDARD)))
    assert (found.verdict, found.share) == ("missed", 0.0)


@pytest.mark.parametrize(("switch_s", "expected"), [(127.9, "followed"), (128.1, "late")])
def test_the_line_between_followed_and_late(switch_s: float, expected: str) -> None:
    assert verdict(used((0.0, STANDARD), (switch_s, CONSERVATIVE))).verdict == expected


@pytest.mark.parametrize(("unknown_s", "expected"), [(17.9, "missed"), (18.1, "unknown")])
def test_the_line_to_unknown(unknown_s: float, expected: str) -> None:
    found = verdict(used((0.0, STANDARD), (150.0, UNKNOWN), (150.0 + unknown_s, STANDARD)))
    assert found.verdict == expected
    assert found.unknown_s == pytest.approx(unknown_s)
    assert (found.share is None) == (expected == "unknown")


def test_no_map_channel_is_unknown_never_missed() -> None:
    found = verdict(NO_TRACK)
    assert (found.verdict, found.unknown_s, found.share, found.conservative_s) == ("unknown", 90.0, None, None)


def test_time_outside_the_channel_is_unknown() -> None:
    assert verdict(used((0.0, CONSERVATIVE), end_s=150.0)).verdict == "unknown"


def test_either_map_is_not_judged() -> None:
    found = verdict(used((0.0, STANDARD)), advised=False)
    assert (found.verdict, found.advised_s, found.conservative_s) == ("not_advised", 0.0, None)


@pytest.mark.parametrize(
    ("pieces", "expected"),
    [
        ([(0.0, STANDARD)], "not_advised"),
        ([(0.0, CONSERVATIVE)], "followed"),
        ([(0.0, UNKNOWN)], "unknown"),
    ],
)
def test_a_stretch_within_the_grace_time_asks_nothing(pieces: list[tuple[float, int]], expected: str) -> None:
    found = verdict(used(*pieces), 100.0, 108.0)
    assert (found.verdict, found.advised_s) == (expected, 0.0)


def slot_of(value: float) -> int | None:
    return {1.0: 1, 2.0: 2}.get(value)


def test_the_track_of_a_channel() -> None:
    t_s = np.array([0.0, 1.0, 2.0, 3.0, 10.0, 11.0, 12.0])
    slot = np.array([1.0, 2.0, 2.0, 2.0, 7.0, 1.0, 1.0])
    joined = np.array([True, True, True, False, True, True])
    found = track(t_s, slot, joined, 2, slot_of)
    assert found.start_s.tolist() == [0.0, 1.0, 3.0, 11.0]
    assert found.state.tolist() == [STANDARD, CONSERVATIVE, UNKNOWN, STANDARD]
    assert found.end_s == 12.0


def test_a_bouncing_contact_is_not_a_switch() -> None:
    t_s = np.arange(0.0, 20.0, 0.1)
    slot = np.ones(t_s.size)
    slot[50:52] = 2.0  # 0.2 s
    slot[100:140] = 2.0  # a real press
    slot[110:112] = 1.0  # 0.2 s inside it
    found = track(t_s, slot, np.ones(t_s.size - 1, dtype=np.bool_), 2, slot_of)
    assert found.state.tolist() == [STANDARD, CONSERVATIVE, STANDARD]
    assert found.start_s[1:] == pytest.approx([10.0, 14.0])


def test_one_sample_says_nothing() -> None:
    assert track(np.array([0.0]), np.array([1.0]), np.zeros(0, dtype=np.bool_), 2, slot_of) is NO_TRACK


tracks = st.lists(
    st.tuples(st.floats(0.5, 60.0), st.sampled_from([STANDARD, CONSERVATIVE, UNKNOWN])), min_size=1, max_size=12
).map(
    lambda parts: used(
        *zip(np.concatenate([[0.0], np.cumsum([s for s, _ in parts])[:-1]]), [s for _, s in parts], strict=True),
        end_s=float(sum(s for s, _ in parts)),
    )
)


@given(tracks, st.floats(0.0, 300.0), st.floats(0.1, 200.0), st.floats(0.0, 30.0))
def test_the_seconds_of_all_states_add_up(found: MapTrack, start_s: float, length_s: float, grace_s: float) -> None:
    end_s = start_s + length_s
    parts = [found.seconds(state, start_s, end_s) for state in (STANDARD, CONSERVATIVE, UNKNOWN)]
    assert sum(parts) == pytest.approx(end_s - start_s, abs=1e-6)
    judged = judge(found, start_s, end_s, grace_s=grace_s, advised=True)
    assert judged.share is None or -1e-9 <= judged.share <= 1.0 + 1e-9
    assert judged.advised_s == pytest.approx(max(0.0, length_s - grace_s), abs=1e-6)
    if judged.verdict in ("late", "followed"):
        assert judged.switched_after_s is not None
        assert 0.0 <= judged.switched_after_s <= length_s
