"""The cautions that stand on every report and every page of a ride.

Wording is the project's own; the facts are those of safety data sheets for glycol coolant and of workshop practice.
"""

from __future__ import annotations

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Leave a hot cooling system closed.",
        """Under pressure the coolant is hotter than its boiling point in the open: when the cap comes off, part of it
        turns to steam at once and scalds. Open it only when the engine is cold to the touch.""",
    ),
    (
        "Coolant is poisonous.",
        """Common coolant holds glycol, which tastes sweet and can kill people and animals in small amounts. Keep it
        away from children and pets, wipe up spills, and hand used coolant in where your local rules say.""",
    ),
    (
        "A calm coolant trace does not clear the engine.",
        """A two-stroke that runs lean or detonates can seize without warning. The sensor sits in the coolant and can't
        see the piston. If the engine rattles, loses power or smells hot, stop.""",
    ),
    (
        "These figures are estimates.",
        """They depend on sensors, on the bike file and on what was logged. Decide with a qualified technician, the
        bike's handbook and the rules of the place you ride in; where they say otherwise, they are right.""",
    ),
)
"""Short sentence and what stands behind it, most urgent first. White space inside a text has no meaning."""
