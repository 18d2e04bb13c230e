"""Comparisons on open car logs: one car on three days, up to 25 C of air apart, is never told hotter or cooler than
itself.

KIT Automotive OBD-II Dataset, DOI 10.35097/1130, CC BY 4.0; what is assumed of the car stands in
test_heat_open_data.py. Nothing is known of faults; that the car was sound on all three days is ASSUMED.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from open_data.test_heat_open_data import PERSISTENCE_C, read, the_car

from ridelog.advice import default_advice
from ridelog.compare import Asked, compare
from ridelog.ride import Ride
from ridelog.study import Known, Study, study

pytestmark = pytest.mark.open_data

ASKED = Asked("rides", "the first", "the others")


def analyzed(ride: Ride) -> Study:
    return study(ride, Known(the_car(), default_advice()))


@pytest.mark.parametrize("file", PERSISTENCE_C)
def test_a_car_is_the_same_as_itself_on_another_day(file: str, open_data: Path) -> None:
    folder = open_data / "obd"
    others = [analyzed(read(folder / other)) for other in PERSISTENCE_C if other != file]
    found = compare([analyzed(read(folder / file))], others, ASKED)
    print(found.summary)
    # After 21 C of difference in the air the band reaches a little over what counts as the same.
    assert found.verdict == "same" or (file == "car_cold_warmup.csv" and "no difference shows" in found.summary[0])
    assert found.overall is not None
    # The logged coolant itself, in windows of twenty seconds, after a difference in the air of 4 to 25 C.
    assert abs(60.0 * found.overall.rate.difference.value) < 0.8
    assert found.ambient_stretch == (file != "car_gap524s.csv")
