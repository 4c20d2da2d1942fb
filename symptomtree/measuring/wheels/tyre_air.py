"""What weather and height do to the pressure in a tyre."""

from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import convert
from symptomtree.measuring.wheels.tyres import printed

ATMOSPHERE = 1.01325
"""bar, standard atmosphere at sea level (ISO 2533:1975)."""
ZERO_CELSIUS = 273.15


def air_pressure(height: float) -> float:
    """Return the pressure of the air in bar at a height in m (standard atmosphere, ISO 2533:1975, up to 11 km)."""
    return float(ATMOSPHERE * (1 - 2.25577e-5 * height) ** 5.25588)


def pressure_then(
    pressure: float, warm: float, warm_then: float, around: float = ATMOSPHERE, around_then: float = ATMOSPHERE
) -> float:
    """Return what a gauge will show when the temperature, or the air around the tyre, has changed.

    Args:
        pressure: what it shows now, in bar.
        warm, warm_then: the tyre's temperature, in degrees Celsius.
        around, around_then: the pressure of the air around it, in bar.

    Source: the gas law at constant volume (Gay-Lussac), with gauge pressure made absolute first.
    """
    return (pressure + around) * (warm_then + ZERO_CELSIUS) / (warm + ZERO_CELSIUS) - around_then


def _tyre_air(
    pressure: float,
    temperature: float,
    temperature_then: float,
    altitude: float,
    altitude_then: float,
    tyre_max: float | None,
) -> Outcome:
    around, around_then = air_pressure(altitude), air_pressure(altitude_then)
    then = pressure_then(pressure, temperature, temperature_then, around, around_then)
    if then <= 0:
        raise BadInput(
            "pressure: the tyre would be flat there; pump it up, or look at the temperatures again", "pressure"
        )
    says = []
    if tyre_max is not None and pressure > tyre_max:
        says.append("It is over the limit of tyre and rim as it stands: let air out now.")
    says += [
        f"A gauge will show {abs(then - pressure):.2f} bar ({abs(convert(then - pressure, 'bar', 'psi')):.1f} psi) "
        f"{'more' if then > pressure else 'less'} there than now.",
        "Set the pressure on the spot and at the temperature of the ride, and the question is gone. A tyre also "
        "loses air of itself, a narrow one with a light tube within days.",
    ]
    verdicts = []
    if tyre_max is not None:
        verdicts.append(
            Verdict(
                value="pressure-then",
                limits=(tyre_max,),
                says=(
                    "Then it is below the limit of tyre and rim.",
                    "That is over the limit of tyre and rim: let air out before, not after.",
                ),
                closer="Let a little air out before.",
            )
        )

    def picture(width: int, height: int) -> list[str]:
        span = sorted((temperature, temperature_then))
        at = [span[0] - 5 + n * (span[1] - span[0] + 10) / 50 for n in range(51)]
        heights = {"at the height of then": around_then}
        if around_then != around:
            heights["at the height of now"] = around
        lines = {
            name: (at, [pressure_then(pressure, temperature, t, around, air) for t in at])
            for name, air in heights.items()
        }
        points = {"now": ([temperature], [pressure]), "then": ([temperature_then], [then])}
        return curves(lines, width, height, "degrees Celsius", "gauge, bar", points)

    return Outcome(values={"pressure-then": then}, verdicts=verdicts, says=says, picture=picture)


def _temperature(name: str, ask: str) -> Field:
    return Field(name=name, ask=ask, unit="degC", least=-50, most=120, error=2)


def _altitude(name: str, ask: str) -> Field:
    return Field(name=name, ask=ask, unit="m", least=-500, most=6000, usual="0", error=30)


TYRE_AIR = Tool(
    name="tyre-air",
    title="Tyre pressure in another temperature or at another height",
    about="Read the pressure when the tyre is as warm as the air around it. Long braking with rim brakes heats the "
    "tyre far over the air.",
    fields=(
        Field(name="pressure", ask="What does the gauge show now?", unit="bar", least=0.3, most=16, error=0.1),
        _temperature("temperature", "How warm is it now?"),
        _temperature("temperature-then", "How warm will it be?"),
        _altitude("altitude", "How high above the sea is it now?"),
        _altitude("altitude-then", "How high above the sea will it be?"),
        printed("tyre-max", "What is the highest pressure that tyre and rim both allow?", needed=False),
    ),
    run=_tyre_air,
    gives=(Gives(name="pressure-then", words="a gauge will show", unit="bar", also="psi"),),
    sources=(
        "Gay-Lussac's law, any physics handbook (absolute pressure in proportion to absolute temperature)",
        "ISO 2533:1975, Standard atmosphere (pressure at a height)",
    ),
    example={"pressure": "2 bar", "temperature": "20", "temperature-then": "-5", "altitude-then": "1800"},
)
