"""The drive's battery from outside: how full it is, how far its voltage sinks under load, how far it will go."""

from math import hypot, isfinite

import numpy as np

from symptomtree.measuring.life import left
from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number

# Volts at rest of one cell, and how full it is in percent; measured by slow charge and discharge, and thinned to a few
# points by the authors: Sunil, Pattipati and Balasingam, Piecewise linear approximation of battery open-circuit voltage
# characteristics using dynamic programming, IEEE Transactions on Instrumentation and Measurement, 2025.
CURVES = {
    "lithium-ion": (
        (2.5061, 2.8981, 3.1461, 3.3231, 3.4218, 3.5737, 3.7017, 4.0637, 4.1009, 4.1932),
        (0.0, 1.51, 4.52, 9.55, 15.08, 29.15, 45.73, 83.42, 94.97, 100.0),
    ),
    "iron-phosphate": (
        (2.0102, 2.4177, 2.7405, 2.9299, 3.0872, 3.1942, 3.2772, 3.3511, 3.4180, 3.5981),
        (0.0, 0.33, 1.17, 2.67, 5.34, 8.85, 29.72, 98.33, 99.50, 100.0),
    ),
}
FULL = {"lithium-ion": 4.2, "iron-phosphate": 3.65}
"""Volts to which a cell is charged."""
LOWEST = {"lithium-ion": 2.5, "iron-phosphate": 2.0}
"""Volts below which a cell has been emptied too far."""
OVERCHARGED = 0.05
"""Volts over full from which a cell is charged too far, or the reading or the number of cells is wrong (from memory:
where a cell's protection steps in)."""
BARELY = 3.0
"""Volts at rest below which a lithium-ion cell is so empty that the number of cells is looked at first: protection cuts
off at 2.8 to 3.0 V under load already (E-bike voltage sag guide, electrical guide site)."""
HIGH, TOO_HIGH = 20.0, 30.0
"""Milliohm for each cell in the row, from which a pack's resistance is high, and too high (from memory: three to five
cells side by side, of 20 to 80 milliohm when fresh, come to 4 to 27)."""
FLAT = (3.19, 3.36)
"""Volts between which an iron phosphate cell says next to nothing."""
APART, APART_FLAT, UNRESTED = {"lithium-ion": 3.0, "iron-phosphate": 5.0}, 20.0, 10.0
"""How far off a charge read from the voltage is, in percent: as far as published curves of cells of one kind differ, in
the flat part of iron phosphate too, and where the voltage has not settled (the last from memory)."""
_TYPICAL = 10.0, 0.15
"""Amperes and ohms of a hill on an electric bike, for the example of what load does."""

_CLOSED = (
    "Never open a battery, motor or charger: that is for the maker's service. Stay outside, at the display or at "
    "plugs that the manual allows to be measured."
)
_SHORT = (
    "A lithium battery gives hundreds of amperes: probes with insulated tips and a fuse, one hand, no rings, nothing "
    "of metal near the contacts. If it is hot, swollen, hissing, wet or smells, leave it, go outside, and call for "
    "help."
)
_EMPTY = (
    "This is below what a cell survives: do not charge it, keep it away from what burns, and leave it to its maker's "
    "service. A battery whose own electronics have switched it off shows so little too; that service can tell."
)


# Formulas


def charge_of(cell: float, chemistry: str) -> float:
    """Return how full a cell is, in percent, from its voltage at rest (see `CURVES`).

    Args:
        cell: volts, after a rest.
        chemistry: a key of `CURVES`.
    """
    volts, percent = CURVES[chemistry]
    return float(np.interp(cell, volts, percent))


def resistance(voltage_light: float, current_light: float, voltage_heavy: float, current_heavy: float) -> float:
    """Return a battery's inner resistance in ohms, from two loads: (V1 - V2) / (I2 - I1).

    Battery loaded voltage, battery engineering formula page; the two-step load of IEC 61960-3.

    Args:
        voltage_light, voltage_heavy: volts.
        current_light, current_heavy: amperes.
    """
    return (voltage_light - voltage_heavy) / (current_heavy - current_light)


def sag(current: float, ohms: float) -> float:
    """Return by how many volts a load pulls a battery down: I R (E-bike voltage sag guide, electrical guide site)."""
    return current * ohms


# How full


def _battery_charge(voltage: float, cells: float, chemistry: str, rest_time: float | None) -> Outcome:
    cell = voltage / cells
    if cell > FULL[chemistry] + OVERCHARGED:
        raise BadInput(
            f"voltage: {voltage:g} V over {cells:g} cells is {cell:.2f} V each, more than such a cell is ever charged "
            "to; take the charger off, see the label for the cells in a row and their kind, and if those are right, "
            "leave the battery to its maker's service",
            "voltage",
        )
    charge = charge_of(cell, chemistry)
    flat = chemistry == "iron-phosphate" and FLAT[0] < cell < FLAT[1]
    doubt = APART_FLAT if flat else APART[chemistry]
    if rest_time is None or rest_time < 30:
        doubt = hypot(doubt, UNRESTED)
    empty = cell < LOWEST[chemistry]
    verdict = Verdict(
        value="charge",
        limits=(10, 25),
        says=(
            "Nearly empty: charge it before looking for anything else.",
            "Low: weak help may be no more than that. Charge it, and try again.",
            "Enough in it: its charge is not why the help is weak.",
        ),
        closer="Charge it fully, and see whether the trouble is still there.",
    )

    def picture(width: int, height: int) -> list[str]:
        volts, percent = CURVES[chemistry]
        return curves(
            {"at rest": (percent, volts)},
            width,
            height,
            "full, %",
            "volts of a cell",
            points={"yours": ([charge], [min(max(cell, volts[0]), volts[-1])])},
        )

    return Outcome(
        values={"charge": charge, "cell-voltage": cell},
        errors={"charge": doubt},
        verdicts=() if empty else (verdict,),
        says=("Below its lowest voltage: it is not to be charged as it is.",)
        if empty
        else _charge_said(voltage, cells, chemistry, rest_time, flat),
        cautions=(_EMPTY,) if empty else (),
        picture=picture,
    )


def _charge_said(voltage: float, cells: float, chemistry: str, rest_time: float | None, flat: bool) -> list[str]:
    says = []
    if chemistry == "lithium-ion" and voltage / cells < BARELY:
        says.append(
            f"Under {BARELY:g} V a cell most batteries have switched themselves off: see the label for the cells in a "
            "row. If they are right, charge it soon, with its own charger and somebody there."
        )
    if flat:
        says.append(
            "Iron phosphate keeps its voltage from a tenth to nearly full: charge it fully, and count from there."
        )
    if rest_time is None or rest_time < 30:
        says.append(
            "Without half an hour of rest the voltage is not that of its charge: after a ride it still climbs, after "
            "charging it still sinks. Measure again."
        )
    amperes, ohms = _TYPICAL
    at_rest, loaded = (charge_of((voltage - drop) / cells, chemistry) for drop in (0, sag(amperes, ohms)))
    says.append(
        f"Under load it says less than it has: {amperes:g} A through {ohms:g} ohm take {sag(amperes, ohms):g} V off, "
        f"and the same battery would read {loaded:.0f} % instead of {at_rest:.0f} %."
    )
    return says


BATTERY_CHARGE = Tool(
    name="battery-charge",
    title="How full the drive's battery is, from its voltage",
    about="Switched off, off the charger, at rest for half an hour at least, better for hours, at room temperature. "
    "Read the voltage on the display or in its menu; else at plugs that the manual allows to be measured. The label "
    "says the nominal voltage: lithium-ion has 10 cells in a row for 36 V, 13 for 48 V, 14 for 52 V; iron phosphate "
    "12 for 36 V, 16 for 48 V.",
    fields=(
        Field(name="voltage", ask="Volts at rest?", unit="V", least=0, most=120, error=0.1),
        Field(name="cells", ask="How many cells in a row?", least=1, most=28, whole=True, lasting=True),
        Field(
            name="chemistry",
            ask="What kind of cells?",
            kind="choice",
            choices={
                "lithium-ion": "lithium-ion with nickel (3.6 or 3.7 V on the label, full at 4.2 V)",
                "iron-phosphate": "lithium iron phosphate (3.2 V on the label, full at 3.65 V)",
            },
            usual="lithium-ion",
            lasting=True,
        ),
        Field(
            name="rest-time", ask="How long has nothing drawn or charged?", unit="min", least=0, most=1e6, needed=False
        ),
    ),
    run=_battery_charge,
    gives=(
        Gives(name="charge", words="full to", unit="%"),
        Gives(name="cell-voltage", words="volts of each cell", unit="V"),
    ),
    sources=(
        "Sunil, Pattipati and Balasingam, Piecewise linear approximation of battery open-circuit voltage "
        "characteristics using dynamic programming, IEEE Transactions on Instrumentation and Measurement, 2025 "
        "(voltage and charge)",
        "E-bike voltage sag guide, electrical guide site (cells in a row, sag)",
        "Pack specification sheet, 36/48 V, battery supplier, 2017 (42 and 54.6 V full, 2.5 V lowest)",
        "from memory (half an hour of rest; what counts as low, and as charged too far)",
    ),
    cautions=(_CLOSED, _SHORT),
    example={"voltage": "38.6 V", "cells": "10", "rest-time": "120 min"},
)


# Under load


def _battery_sag(
    voltage_light: float, current_light: float, voltage_heavy: float, current_heavy: float, cells: float | None
) -> Outcome:
    if current_heavy <= current_light:
        raise BadInput("current-heavy: it must be more than the light one; ride a hill for it", "current-heavy")
    if voltage_heavy >= voltage_light:
        raise BadInput(
            "voltage-heavy: every battery's voltage sinks under load; were the two swapped, or the load too small?",
            "voltage-heavy",
        )
    ohms = resistance(voltage_light, current_light, voltage_heavy, current_heavy)
    values = {
        "resistance": ohms * 1000,
        "sag": sag(current_heavy, ohms),
        "rest-voltage": voltage_light + sag(current_light, ohms),
        "heat": current_heavy**2 * ohms,
    }
    if cells:
        values["cell-resistance"] = ohms * 1000 / cells
    row = cells or 10
    high, too_high = HIGH * row, TOO_HIGH * row
    of = f"a battery of {row:g} cells in a row" if cells else "a battery of 36 V"
    verdict = Verdict(
        value="resistance",
        limits=(high, too_high),
        says=(
            f"Usual for {of} in use (up to {high:g} milliohm), as an orientation.",
            f"High for {of} ({high:g} to {too_high:g} milliohm): cold, aged, or small; its capacity is worth having "
            "read.",
            f"Too high for {of} (over {too_high:g} milliohm): warm it, charge it and measure again; if it stays so, "
            "have the maker's service read it.",
        ),
        closer="Take both readings again with a heavier load between them.",
    )
    return Outcome(
        values=values,
        verdicts=(verdict,),
        says=(
            "Plugs and cables between battery and meter are in it too, and cold raises it: compare it with the same "
            "battery, warm and full, a year before.",
            f"At {current_heavy:g} A the display may fall by {values['sag']:.1f} V and come back; that is no lost "
            "charge.",
        ),
    )


BATTERY_SAG = Tool(
    name="battery-sag",
    title="How far the battery's voltage sinks under load",
    about="Where the display shows volts and amperes: read both rolling with little help, then both on a hill with "
    "much, within a minute. Somebody else reads, or a recording; do not stare at a display in traffic.",
    fields=(
        Field(name="voltage-light", ask="Volts at little load?", unit="V", least=1, most=120, error=0.1),
        Field(
            name="current-light",
            ask="Amperes at little load?",
            unit="A",
            least=0,
            most=100,
            error=0.2,
            usual="0 +- 0 A",
        ),
        Field(name="voltage-heavy", ask="Volts at much load?", unit="V", least=1, most=120, error=0.1),
        Field(name="current-heavy", ask="Amperes at much load?", unit="A", least=1, most=150, error=0.3),
        Field(name="cells", ask="How many cells in a row?", least=1, most=28, whole=True, needed=False, lasting=True),
    ),
    run=_battery_sag,
    gives=(
        Gives(name="resistance", words="inner resistance", unit="mohm"),
        Gives(name="sag", words="under the heavy load its voltage sinks by", unit="V"),
        Gives(name="rest-voltage", words="without load it would have", unit="V"),
        Gives(name="heat", words="turned to heat inside it", unit="W"),
        Gives(name="cell-resistance", words="of that, for each cell in the row", unit="mohm"),
    ),
    sources=(
        "Battery loaded voltage, battery engineering formula page (two loads; 20 to 80 milliohm of a fresh cell)",
        "E-bike voltage sag guide, electrical guide site (sag is current times resistance)",
        "from memory (20 and 30 milliohm for each cell in the row)",
    ),
    cautions=(_CLOSED, _SHORT),
    example={
        "voltage-light": "38.9",
        "current-light": "1",
        "voltage-heavy": "36.7",
        "current-heavy": "15",
        "cells": "10",
    },
)


# How far


def _range(charge_before: Number, charge_now: Number, distance: float, battery_energy: float | None) -> Outcome:
    if charge_now.value >= charge_before.value:
        raise BadInput("charge-now: it must be less than before; ride further, then read again", "charge-now")
    gone = [Number(100 - charge.value, charge.error) for charge in (charge_before, charge_now)]
    found = left(gone[0], gone[1], distance, 100)
    values = {"remaining": found.likeliest, "at-least": found.least}
    used = charge_before.value - charge_now.value
    ratio = charge_now.value / used
    errors = {"remaining": distance / used * hypot((1 + ratio) * charge_now.error, ratio * charge_before.error)}
    if battery_energy is not None:
        values["use"] = used / 100 * battery_energy / distance
        errors["use"] = hypot(charge_before.error, charge_now.error) / 100 * battery_energy / distance
    more = f"up to {found.most:.0f} km" if isfinite(found.most) else "how far at most cannot be told yet"
    return Outcome(
        values=values,
        errors=errors,
        says=(
            f"Count on {found.least:.0f} km, {more}, ridden as before.",
            "Hills, headwind, cold, soft tyres, a high level and a heavy load take more; the last tenth gives less "
            "help.",
        ),
    )


RANGE = Tool(
    name="range",
    title="How far the battery will go, from what it used",
    about="Read how full the battery says it is, ride, and read it again. The further, the surer.",
    fields=(
        Field(
            name="charge-before",
            ask="How full was it?",
            unit="%",
            least=0,
            most=100,
            error=2,
            usual="100 +- 1 %",
            with_error=True,
        ),
        Field(name="charge-now", ask="How full is it now?", unit="%", least=0, most=100, error=3, with_error=True),
        Field(name="distance", ask="How far was it ridden between the two?", unit="km", least=0.5, most=400, error=0.2),
        Field(
            name="battery-energy",
            ask="How much does the battery hold when full?",
            unit="Wh",
            least=50,
            most=4000,
            needed=False,
            lasting=True,
        ),
    ),
    run=_range,
    gives=(
        Gives(name="remaining", words="left to ride", unit="km", also="mile"),
        Gives(name="at-least", words="at least (19 times out of 20)", unit="km", also="mile"),
        Gives(name="use", words="used for each kilometre, in watt hours"),
    ),
    sources=(
        "What range can I expect from an electric bicycle, a maker's help page (capacity by what a kilometre takes)",
        "E. C. Fieller, Some problems in interval estimation, Journal of the Royal Statistical Society B 16, 1954",
    ),
    example={"charge-now": "60 %", "distance": "28 km", "battery-energy": "500 Wh"},
)
