"""An independent simulator of a liquid-cooled two-stroke bike's cooling: a referee for the project's heat model.

It shares nothing with that model but the bike file's wide-open power curve and the project's data types. See
`simulate.simulate` for rides and `truth` for the definitions of what it knows.
"""

from __future__ import annotations

from plant.bikes import BIKES, Fault, Machine, bike_of, machine_of
from plant.sensors import Sensors
from plant.simulate import MapPlan, Simulated, simulate
from plant.truth import Estimands, Settle, Trace, Truth

__all__ = [
    "BIKES", "Estimands", "Fault", "Machine", "MapPlan", "Sensors", "Settle", "Simulated", "Trace", "Truth",
    "bike_of", "machine_of", "simulate",
]  # fmt: skip
