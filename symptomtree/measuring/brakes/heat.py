"""How hot a stop or a descent makes a disc or rim, and at what its fluid boils; for orientation."""

from collections.abc import Sequence
from math import exp

import numpy as np

from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict

STEEPEST = 10.0
"""m/s of height that no bicycle rides down (from memory: a slope of 30 % at 80 km/h is 6.4)."""
GRAVITY = 9.80665
"""m/s2, standard (SI Brochure, 9th ed. 2019)."""
MATERIALS = {"steel": "steel disc", "aluminium": "aluminium rim or disc"}
HEAT = {"steel": 500.0, "aluminium": 900.0}
"""J/(kg K), rounded (Maximum brake temperatures, questions and answers, 2017, for steel; aluminium from memory)."""
FLUIDS = {"none": "none, a cable", "dot3": "DOT 3", "dot4": "DOT 4", "dot5.1": "DOT 5.1", "mineral": "mineral oil"}
BOILS = {"dot3": (140.0, 205.0), "dot4": (155.0, 230.0), "dot5.1": (180.0, 260.0)}
"""Degrees C, least allowed with 3.7 % of water in it and dry (49 CFR 571.116, Motor vehicle brake fluids, S5.1)."""
MINERAL = 190.0
"""Degrees C; it is each maker's own oil (a bicycle maker's support page says about 190; others up to 260)."""


# Formulas


def energy_of_stop(mass: float, speed: float) -> float:
    """Return the energy in J that a stop turns into heat; mass in kg, speed in m/s."""
    return mass * speed**2 / 2


def energy_of_descent(mass: float, drop: float) -> float:
    """Return the energy in J that holding the speed down a descent turns into heat; mass in kg, drop in m."""
    return mass * GRAVITY * drop


def rise(energy: float, capacity: float) -> float:
    """Return by how much something warms, in K, that keeps all of the energy (J); capacity in J/K.

    Source: Maximum brake temperatures, questions and answers, 2017.
    """
    return energy / capacity


def warmed(power: float, capacity: float, cooling: float, time: float) -> float:
    """Return by how much something is warmer than the air, in K, that is heated and loses heat to it.

    Args:
        power: that heats it, in W.
        capacity: in J/K.
        cooling: s in which it loses all but 1/e (37 %) of what it is warmer.
        time: s since it was as cold as the air.

    Source: lumped capacity with Newton's law of cooling (Incropera and others, Fundamentals of heat and mass transfer,
    6th ed. 2007, chapter 5).
    """
    return power * cooling / capacity * (1 - exp(-time / cooling))


# The tool


def _rotor_heat(
    rider_mass: float,
    bike_mass: float,
    speed: float | None,
    drop: float | None,
    descent_time: float | None,
    brake_share: float,
    material: str,
    disc_mass: float,
    air: float,
    cooling: float,
    fluid: str,
    boiling: float | None,
) -> Outcome:
    if speed is None and drop is None:
        raise BadInput("speed is missing: give the speed of the stop, or drop and descent-time of a descent", "speed")
    if drop is not None and descent_time is None:
        raise BadInput("descent-time is missing: how many minutes did the descent take?", "descent-time")
    if drop is None and descent_time is not None:
        raise BadInput("drop is missing: how far down did the descent go in that time?", "drop")
    mass, share = rider_mass + bike_mass, brake_share / 100
    capacity = disc_mass / 1000 * HEAT[material]
    stop = share * energy_of_stop(mass, (speed or 0) / 3.6)
    values = {"stop-rise": rise(stop, capacity)} if speed is not None else {}
    peak, down, time = air + rise(stop, capacity), 0.0, 0.0
    if drop is not None and descent_time is not None:
        time = descent_time * 60
        if drop / time > STEEPEST:
            raise BadInput(
                f"descent-time: {drop:g} m in {descent_time:g} min is a fall, not a ride; look at both and their units",
                "descent-time",
            )
        power = share * energy_of_descent(mass, drop) / time
        down = warmed(power, capacity, cooling, time)
        values |= {"power": power, "descent-rise": down}
        peak += down
    values["peak"] = peak
    boils = _boils(fluid, boiling)
    says = [
        "Orientation only: the wind on rider and bike, which takes a good part at speed, is left out, and how fast "
        "it cools is a guess, so the true figure may be half of it."
    ]
    if material == "aluminium":
        says.append("A hot rim raises the tyre's pressure and can lift it off: on long descents stop and let it cool.")
    if peak > 200:
        says.append(
            "At such heat pads fade and glaze: both brakes in turns, shorter and harder, and rests on the way down."
        )

    def picture(width: int, height: int) -> list[str]:
        if time:
            across, unit = np.linspace(0, time / 60, 60), "minutes of descent"
            drawn = [air + warmed(values["power"], capacity, cooling, t * 60) for t in across]
        else:
            across, unit = np.linspace(0, max(40.0, 1.2 * (speed or 0)), 60), "km/h, one stop"
            drawn = [air + rise(share * energy_of_stop(mass, s / 3.6), capacity) for s in across]
        lines = {"at most": (across, drawn)}
        for words, at in zip(("old fluid boils", "new fluid boils"), boils, strict=False):
            lines[words if len(boils) > 1 else "oil boils"] = (across, [at] * len(across))
        return curves(lines, width, height, unit, "degrees C")

    return Outcome(values=values, verdicts=_boil_verdict(boils), says=says, picture=picture)


def _boils(fluid: str, boiling: float | None) -> tuple[float, ...]:
    if boiling is not None:
        return (boiling,)
    if fluid == "none":
        return ()
    return BOILS.get(fluid, (MINERAL,))


def _boil_verdict(boils: Sequence[float]) -> list[Verdict]:
    if not boils:
        return []
    closer = "Reckon with the warmer; such figures are no better than that."
    below = "Less than the fluid boils at, so this heat alone does not boil it."
    far = (
        "The fluid stays cooler than the disc, as the pads keep heat off it; but a lever that grows soft on a descent "
        "means stop, let it cool, and have the fluid changed."
    )
    if len(boils) == 1:
        above = "More than the fluid boils at."
        return [Verdict(value="peak", limits=boils, says=(below, f"{above} {far}"), closer=closer)]
    return [
        Verdict(
            value="peak",
            limits=boils,
            says=(
                f"{below} That holds for old fluid too, with water in it ({boils[0]:g} degrees C).",
                f"More than old fluid with water in it boils at ({boils[0]:g} degrees C). {far}",
                f"More than new fluid boils at ({boils[1]:g} degrees C). {far}",
            ),
            closer=closer,
        )
    ]


ROTOR_HEAT = Tool(
    name="rotor-heat",
    title="How hot a stop or a descent makes the brake",
    about="All that the brake takes off the bike becomes heat, most of it in the disc or rim. For a stop give the "
    "speed; for a descent how far it goes down and how long it took, holding the speed with the brakes; the speed "
    "then is that of a stop at its foot.",
    fields=(
        Field(
            name="rider-mass",
            ask="How heavy is the rider in kit, with everything carried?",
            unit="kg",
            least=15,
            most=250,
            error=1,
            lasting=True,
        ),
        Field(name="bike-mass", ask="How heavy is the bike?", unit="kg", least=5, most=150, error=0.5, lasting=True),
        Field(name="speed", ask="Stop: from what speed?", unit="km/h", least=1, most=120, error=2, needed=False),
        Field(name="drop", ask="Descent: how far down?", unit="m", least=1, most=4000, error=5, needed=False),
        Field(
            name="descent-time",
            ask="Descent: in how many minutes?",
            unit="min",
            least=0.05,
            most=300,
            needed=False,
        ),
        Field(
            name="brake-share",
            ask="How much of it does this brake take?",
            unit="%",
            least=1,
            most=100,
            error=10,
            usual="70 %",
        ),
        Field(
            name="material",
            ask="What takes the heat?",
            kind="choice",
            choices=MATERIALS,
            usual="steel",
        ),
        Field(
            name="disc-mass",
            ask="How heavy is the disc, or the rim?",
            unit="g",
            least=40,
            most=2000,
            error=10,
            usual="150 g",
        ),
        Field(name="air", ask="How warm is the air?", unit="degC", least=-40, most=55, error=2, usual="20"),
        Field(
            name="cooling",
            ask="In how many seconds does it lose two thirds of its heat, riding?",
            unit="s",
            least=5,
            most=900,
            usual="60 +- 30 s",
        ),
        Field(name="fluid", ask="What fluid is in the brake?", kind="choice", choices=FLUIDS, usual="none"),
        Field(
            name="boiling",
            ask="At what temperature does its maker say it boils?",
            unit="degC",
            least=80,
            most=400,
            needed=False,
        ),
    ),
    run=_rotor_heat,
    gives=(
        Gives(name="stop-rise", words="one stop warms it by, in degrees C"),
        Gives(name="power", words="heat on the descent", unit="W"),
        Gives(name="descent-rise", words="the descent warms it by, in degrees C"),
        Gives(name="peak", words="so at most about", unit="degC", also="degF"),
    ),
    sources=(
        "Maximum brake temperatures, questions and answers, 2017 (formula; steel 500 J/(kg K); disc of 150 g)",
        "Incropera and others, Fundamentals of heat and mass transfer, 6th ed. 2007 (heating with cooling)",
        "49 CFR 571.116, Motor vehicle brake fluids, S5.1 (boiling points of DOT 3, DOT 4 and DOT 5.1)",
        "A bicycle maker's support page on brake fluids (mineral oil about 190 degrees C; others say up to 260)",
        "from memory (a front brake's share 70 %; how fast a disc cools; aluminium 900 J/(kg K))",
    ),
    cautions=(
        "A disc or rim after a descent burns skin: let it cool before touching.",
        "Only the fluid that the brake's maker names; DOT fluid and mineral oil ruin each other's seals.",
        "A lever that goes soft or to the bar on a descent: stop, and do not ride on until it is found.",
    ),
    example={
        "rider-mass": "80",
        "bike-mass": "15",
        "drop": "200 m",
        "descent-time": "12 min",
        "speed": "25",
        "fluid": "dot4",
    },
)
