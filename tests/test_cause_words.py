"""What speaks for and against a cause is said as it is: a shift within what healthy rides differ by is told as none."""

from __future__ import annotations

import numpy as np
import pytest

from ridelog.analysis import thermal
from ridelog.analysis.diagnosis_asked import Asked
from ridelog.analysis.diagnosis_sensor import Sensor
from ridelog.analysis.diagnosis_shift import Apart
from ridelog.analysis.diagnosis_weigh import Evidence
from ridelog.words import cause_evidence, causes
from ridelog.words.cause_signs import Facts, own


def facts(heat: float = 0.0, sd: float = 0.05, *, ordinary_day_s: float | None = None) -> Facts:
    """Seven minutes over 105 C in air of 33 C; heat for each kW shifted by `heat` (natural logarithm)."""
    count = thermal.CORE + 20
    shift, spread = np.zeros(count), np.full(count, 10.0)
    shift[thermal.HEAT], spread[thermal.HEAT] = heat, sd
    apart = Apart(np.eye(count), np.zeros(count), 0.0, shift, spread)
    asked = Asked(105.0, 420.0, 0.0, 0.0, 33.0, ordinary_day_s)
    return Facts(Evidence(Sensor("well", 0.0, {}), asked), apart, None, 6, None)


NO_SHIFT = "no more than healthy rides differ among themselves"


def test_a_hot_ride_of_a_sound_bike_has_no_shift_told_as_if_it_were_one() -> None:
    pro, _ = cause_evidence.speaks("terrain_load", facts(heat=-0.05))
    (told,) = [text for text in pro if "heat into the coolant" in text]
    assert told.startswith("The engine puts 5 % less heat into the coolant for each kW than on the 6 rides")
    assert NO_SHIFT in told


@pytest.mark.parametrize(("heat", "same"), [(0.02, True), (-0.02, True), (-0.5, False)])
def test_a_shift_the_other_way_is_not_called_none(heat: float, same: bool) -> None:
    _, con = cause_evidence.speaks("heat_input_high", facts(heat=heat))
    (told,) = [text for text in con if "heat into the coolant" in text]
    assert (NO_SHIFT in told) is same


@pytest.mark.parametrize(
    ("heat", "ends"),
    [(-0.2, "(95 %: 10 to 26 % less)"), (0.2, "(95 %: 11 to 35 % more)"), (-0.02, "(95 %: 11 % less to 8 % more)")],
)
def test_both_ends_of_a_change_are_told_in_words_like_the_change_itself(heat: float, ends: str) -> None:
    said = [text for part in cause_evidence.speaks("heat_input_high", facts(heat=heat)) for text in part]
    (told,) = [text for text in said if "heat into the coolant" in text]
    assert ends in told


@pytest.mark.parametrize(
    ("left_s", "expected"), [(0.0, "on a day of 25 C none of the 7 min 00 s over 105 C would be left"),
                             (65.0, "about 1 min 05 s of the 7 min 00 s over 105 C would be left")],
)  # fmt: skip
def test_a_hot_day_leaves_none_or_so_much(left_s: float, expected: str) -> None:
    (told,), _ = own("hot_conditions", facts(ordinary_day_s=left_s))
    assert expected in told


@pytest.mark.parametrize(
    ("chances", "expected"),
    [(2.0, "about twice as likely with"), (4.4, "about 4 times as likely"), (340.0, "about 300 times as likely"),
     (2000.0, "over 1,000 times as likely"), (0.5, "about half as likely"), (0.2, "about a fifth as likely"),
     (1 / 96, "about one 100th as likely"), (1e-5, "less than a thousandth as likely"), (1.1, "about as well")],
)  # fmt: skip
def test_how_much_likelier_reads_as_people_say_it(
    monkeypatch: pytest.MonkeyPatch, chances: float, expected: str
) -> None:
    monkeypatch.setattr(cause_evidence, "likelier", lambda *_: chances)
    pro, con = cause_evidence.speaks("cap_leaking", facts())
    assert any(expected in text for text in (*pro, *con))
    assert not any("times less" in text for text in (*pro, *con))


def test_nothing_wrong_is_one_plain_sentence() -> None:
    said = causes.summary("normal", 0.9, healthy=0.95, second=None, reason=None, advice="A.")
    assert (
        said[0] == "Most likely nothing is wrong (about 9 in 10): the bike sheds heat as it does on its healthy rides."
    )


def test_checks_without_a_cause_begin_with_the_level_and_stay_cold() -> None:
    checks = causes.general_checks()
    assert checks[0].startswith("Look at the coolant level")
    assert all("cold engine" in text for text in checks if "cap" in text or "level" in text)
