"""What is told of units that no label gives, or that a label gives wrongly."""

from __future__ import annotations

# temperatures of the engine; each begins with what the header says


def unit_not_known(column: str, unit: str) -> str:
    """The header gives a text that is no unit."""
    return f"{column}: the unit {unit!r} is not known"


def unit_missing(column: str) -> str:
    """The header gives none."""
    return f"{column} has no unit"


def kelvin_alone(begin: str, low: float, high: float) -> str:
    """Values that only kelvin explains."""
    return f"{begin}; its values ({low:g} to {high:g}) fit kelvin alone"


def taken_as_c(begin: str, low: float, high: float) -> str:
    """Values that were taken as C."""
    return f"{begin}; its values ({low:g} to {high:g}) were taken as C"


def as_f(range_c: str, column: str, channel: str) -> str:
    """What they would be if they were F."""
    return f" (as F they would be {range_c} C; if so: --column '{column}={channel}:F')"


def f_alone(begin: str, high: float) -> str:
    """Values that only F explains."""
    return f"{begin}; its values (up to {high:g}) fit F alone"


def label_wrong_f(column: str, label: str, middle: float) -> str:
    """A label of C over values in F."""
    return (
        f"ATTENTION: {column} is labelled {label}, but half of its values are above {middle:g}, which is possible in F "
        "only; it was read as F"
    )


def label_wrong_k(column: str, label: str, middle: float) -> str:
    """A label of C over values in kelvin."""
    return (
        f"ATTENTION: {column} is labelled {label}, but half of its values are above {middle:g}, which is possible in "
        "kelvin only; it was read as kelvin"
    )


def label_impossible(column: str, label: str, middle: float) -> str:
    """Values that no unit explains."""
    return (
        f"ATTENTION: {column} is labelled {label}, but half of its values are above {middle:g}, which is possible in "
        "no unit; it was kept as it is, unnamed"
    )


def label_doubted(column: str, label: str, high: float, celsius: float) -> str:
    """A label of F over values that would be warm in C."""
    return (
        f"ATTENTION: {column} is labelled {label} and reaches {high:g}, {celsius:.0f} C; if the engine did get warm "
        "the label is wrong and the column is in C"
    )


# other channels


def unit_not_of(column: str, unit: str, channel: str) -> str:
    """A unit that this channel can't have."""
    return (
        f"{column} has the unit {unit!r}, which is not known for {channel}; it was kept as it is: --column "
        f"'{column}={channel}:UNIT' tells"
    )


def thousands_of_turns(column: str) -> str:
    """Engine speed in thousands."""
    return f"{column} has no unit; its values fit thousands of turns a minute"


def fits_alone(column: str, unit: str) -> str:
    """One unit fits."""
    return f"{column} has no unit; its values fit {unit} alone"


def no_air_pressure(column: str) -> str:
    """Values that are no air pressure."""
    return f"{column} has no unit and fits none of air pressure; kept as it is"


def outside(column: str, low: float, high: float, unit: str) -> str:
    """Values that the channel can't have."""
    return f"{column} has no unit and most of its values are outside {low:g} to {high:g} {unit}; it was kept as it is"


def taken_as(column: str, unit: str) -> str:
    """The channel's own unit was taken."""
    return f"{column} has no unit and was taken as {unit}"


def coolants_unit(column: str, unit: str) -> str:
    """The coolant's unit was taken."""
    return f"{column} has no unit and was taken as {unit}, the coolant's unit"


def not_coolants_unit(column: str, unit: str, coolant: str) -> str:
    """The coolant's unit does not fit, another does."""
    return f"{column} has no unit; its values fit {unit}, not the coolant's {coolant}"


def fits_none(column: str) -> str:
    """No unit fits."""
    return f"{column} has no unit and fits none; it was kept as it is"


# throttle


def raw_counts(column: str, high: float) -> str:
    """Numbers as a converter gives them."""
    return f"{column} reaches {high:g}, as raw counts do; it was kept as it is"


def counts_to_255(column: str, high: float) -> str:
    """Numbers of one byte."""
    return f"{column} has no unit; its whole numbers up to {high:g} were read as counts to 255"


def share_of_one(column: str, low: float, high: float) -> str:
    """A share of 1."""
    return f"{column} has no unit; its values from {low:g} to {high:g} were read as a share of 1"


def volts_of_five(column: str, low: float, high: float) -> str:
    """The voltage of the sensor."""
    return f"{column} has no unit; its values from {low:g} to {high:g} were read as volts of 5"


def never_percent(column: str, low: float, high: float, *, stated: bool) -> str:
    """Values that no ridden throttle has in percent; `stated` where the header says percent."""
    says = "is labelled %" if stated else "has no unit"
    return (
        f"ATTENTION: {column} {says}, but lies between {low:g} and {high:g} while engine or road speed vary, which no "
        "throttle in percent does"
    )


def read_as_share(begin: str) -> str:
    """Reads on after `never_percent`."""
    return f"{begin}; it was read as a share of 1"


def read_as_volts(begin: str) -> str:
    """As before."""
    return f"{begin}; it was read as volts of a 5 V supply, so that shut and open are only known roughly"


def kept_unnamed(begin: str, column: str) -> str:
    """As before."""
    return (
        f"{begin}, and no other scale clearly fits; it was kept as it is, unnamed: --column "
        f"'{column}=throttle_pct:UNIT' tells (%, V or 1 for a share of 1)"
    )


# speed


def no_speed(column: str, unit: str) -> str:
    """A unit that is none of a speed."""
    return f"{column} has the unit {unit!r}, which is no speed; it was kept as it is"


def by_positions(column: str, unit: str) -> str:
    """The unit that the positions tell."""
    return f"{column} has no unit; beside the positions its values are {unit}"


def label_wrong_speed(column: str, label: str, unit: str, option: str) -> str:
    """A label that the positions contradict."""
    return (
        f"ATTENTION: {column} is labelled {label}, but beside the positions its values can only be {unit}; it was read "
        f"so. {option} keeps to the label"
    )
