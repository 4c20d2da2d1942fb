"""An air spring in the workshop: the pressure for a sag, and what one volume reducer more or fewer makes of it."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from symptomtree.measuring.picture import curves
from symptomtree.measuring.suspension.air_model import QUICK, SLOW, Described, described, force, pressure_for, sag_under
from symptomtree.measuring.suspension.sag import (
    END,
    HOW,
    LEVERAGE,
    RANGE,
    ROOM,
    SAG,
    STROKE,
    TARGET,
    TIPS,
    TRAVEL,
    doubted,
    mean_sag,
    moves,
    wanted,
)
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import convert

LARGE = 0.3
"""Share of the pressure from which a change is gone in two steps (from memory)."""


def _air_pressure(
    end: str,
    travel: float | None,
    stroke: float | None,
    leverage: float | None,
    pressure: float,
    sag: Sequence[float],
    sag_target: float | None,
    pressure_limit: float | None,
    exponent: float,
    reducers: float,
    **shape: float | None,
) -> Outcome:
    room, _ = moves(end, travel, stroke, leverage)
    mean, doubt = mean_sag(sag, room)
    target = sum(RANGE[end]) / 2 if sag_target is None else sag_target
    filled = described(end, room, reducers, **shape)

    def make(mean: float, **figures: float) -> dict[str, float]:
        spring = filled.spring(**figures)
        load = float(force(spring, pressure, mean, exponent))
        new = pressure_for(spring, load, target / 100 * room, exponent)
        return {
            "pressure-new": new,
            "pressure-change": new - pressure,
            "sag-percent": mean / room * 100,
            "spring-force": load,
        }

    values, errors = doubted(make, {"mean": mean, **filled.figures}, {"mean": doubt, **filled.doubts})
    if values["pressure-new"] <= 0:
        raise BadInput(
            "pressure: even without any air it would not sag as far as is wanted; is pressure, sag or travel a slip?",
            "pressure",
        )
    low, high = wanted(end, sag_target)
    if pressure_limit is not None and values["pressure-new"] >= pressure_limit:
        over = pressure >= pressure_limit
        says = [
            "It holds as much already: let air out below that now, and do not ride it till it is settled."
            if over
            else "Leave the pressure as it is until that is settled."
        ]
    elif low <= values["sag-percent"] < high:
        says = [f"The sag is within {low:g} to {high:g} % already: leave it, or take the new pressure as fine tuning."]
    else:
        step = "Pump up" if values["pressure-change"] > 0 else "Let air out"
        says = [f"{step} to the new pressure, and change nothing else."]
        if abs(values["pressure-change"]) > LARGE * pressure:
            says.append(
                "That is a large step: go half of the way, and measure the sag again. A sag so far off may also come "
                "from friction, a lockout, a chamber that leaks into the other, or a slip in the figures."
            )
    says += [
        "Then press it slowly ten times through the first part of its travel, so that both chambers fill, and measure "
        "the sag again: the reading decides, the model only starts you near it.",
        "Read both pressures with the same pump: filling its hose takes a little air, most in a small shock.",
        f"Reckoned with the exponent {exponent:g} (1 is slow, as in set-up). {_assumptions(filled)}",
    ]
    verdicts = []
    if pressure_limit is not None:
        printed = f"{pressure_limit:.1f} bar ({convert(pressure_limit, 'bar', 'psi'):.0f} psi)"
        verdicts.append(
            Verdict(
                value="pressure-new",
                limits=(pressure_limit,),
                says=(
                    f"Below the {printed} that are printed on it.",
                    f"Not to be set: over the {printed} that are printed on it. Ask the maker or a qualified workshop "
                    "for a spring for this load.",
                ),
                closer=f"Stay below {printed} in any case, and see what sag that gives.",
            )
        )

    def picture(width: int, height: int) -> list[str]:
        spring = filled.spring()
        ends = sorted((pressure, values["pressure-new"]))
        along = np.linspace(max(0.1, ends[0] * 0.85), ends[1] * 1.15, 40)
        sags = [sag_under(spring, float(p), values["spring-force"], exponent) / room * 100 for p in along]
        return curves(
            {"sag with this rider": (along, sags)},
            width,
            height,
            "bar",
            "sag, %",
            {"now": ([pressure], [values["sag-percent"]]), "wanted": ([values["pressure-new"]], [target])},
        )

    return Outcome(values=values, errors=errors, verdicts=verdicts, says=says, picture=picture)


def _assumptions(filled: Described) -> str:
    words = {
        "bore": "bore",
        "chamber": "chamber volume",
        "negative": "negative volume",
        "back": "negative area",
        "reducer": "reducer volume",
    }
    names = [words[name] for name in filled.doubts if name != "reducer" or filled.reducers]
    if not names:
        return "All of the spring's figures are yours."
    return f"Assumed, with its doubt carried into the results: {', '.join(names)}."


def _spring_curve(
    end: str,
    travel: float | None,
    stroke: float | None,
    leverage: float | None,
    pressure: float,
    sag: Sequence[float],
    exponent: float,
    reducers: float,
    **shape: float | None,
) -> Outcome:
    room, _ = moves(end, travel, stroke, leverage)
    filled = described(end, room, reducers, **shape)
    filled.spring()  # so that it is the reducers given that are refused, and not one more
    others = {name: more for name, more in (("more", 1.0), ("fewer", -1.0)) if _fits(filled, more)}
    mean, doubt = mean_sag(sag, room) if sag else (0.0, 0.0)

    def make(mean: float, **figures: float) -> dict[str, float]:
        now = filled.spring(**figures)
        full = float(force(now, pressure, room, exponent))
        values = {"end-force": full}
        for name, more in others.items():
            other = filled.spring(more, **figures)
            values[f"end-force-{name}"] = float(force(other, pressure, room, exponent))
            values[f"end-change-{name}"] = (values[f"end-force-{name}"] / full - 1) * 100
            if mean:
                load = float(force(now, pressure, mean, SLOW))
                values[f"sag-{name}"] = sag_under(other, pressure, load, SLOW) / room * 100
                values[f"pressure-{name}"] = pressure_for(other, load, mean, SLOW)
        if mean:
            values["sag-percent"] = mean / room * 100
        return values

    values, errors = doubted(make, {"mean": mean, **filled.figures}, {"mean": doubt, **filled.doubts})
    ways = {"more": "one reducer more", "fewer": "one reducer fewer"}
    says = [
        f"At the same pressure {ways[name]} makes the end of the travel {abs(values[f'end-change-{name}']):.0f} % "
        f"{'harder' if more > 0 else 'softer'}; the beginning hardly changes."
        for name, more in others.items()
    ]
    if "more" not in others:
        says.append("There is no room for one reducer more: the piston would come too near the end of its chamber.")
    if "fewer" not in others:
        says.append("No reducer is in that could come out.")
    says.append(
        "One more if it bottoms too easily with the sag right, one fewer if full travel is never reached; then back to "
        "the same pressure. One reducer at a time, nothing else with it, and never more than the maker allows."
    )
    if sag and others:
        shift = max(abs(values[f"sag-{name}"] - values["sag-percent"]) for name in others)
        off = max(abs(values[f"pressure-{name}"] - pressure) for name in others)
        says.append(
            f"The sag then moves by {shift:.1f} % of the travel; keeping it exactly would take {off:.2f} bar. "
            + ("That is less than sag can be read to: keep the pressure." if shift < ROOM / 2 else "Measure it again.")
        )
    says.append(f"Reckoned with the exponent {exponent:g} for the curve, 1 for the sag. {_assumptions(filled)}")

    def picture(width: int, height: int) -> list[str]:
        at = np.linspace(0, room, 80)
        springs = {ways[name]: filled.spring(more) for name, more in others.items()}
        springs[f"now, {reducers:g} in"] = filled.spring()
        return curves(
            {name: (at, force(spring, pressure, at, exponent)) for name, spring in springs.items()},
            width,
            height,
            "pressed in, mm",
            "force, N",
        )

    return Outcome(values=values, errors=errors, says=says, picture=picture)


def _fits(filled: Described, more: float) -> bool:
    if filled.reducers + more < 0:
        return False
    try:
        filled.spring(more)
    except BadInput:
        return False
    return True


_PRESSURE = Field(
    name="pressure", ask="What does the pump show at full length?", unit="bar", least=0.3, most=25, error=0.1
)


def _exponent(usual: float) -> Field:
    ask = "Polytropic exponent (1 for slow set-up, 1.3 to 1.4 in quick riding)?"
    return Field(name="exponent", ask=ask, least=1, most=1.67, usual=f"{usual:g}", error=0.05 if usual > 1 else 0)


_SHAPE = (
    Field(name="reducers", ask="How many volume reducers are in it?", least=0, most=15, usual="0"),
    Field(
        name="reducer-volume", ask="How large is one reducer?", unit="cm3", least=0.5, most=60, error=0.5, needed=False
    ),
    Field(name="bore", ask="How wide is the air piston?", unit="mm", least=15, most=70, error=0.3, needed=False),
    Field(
        name="chamber-volume",
        ask="How large is the positive chamber at full length, without reducers?",
        unit="cm3",
        least=20,
        most=800,
        error=5,
        needed=False,
    ),
    Field(
        name="negative-volume",
        ask="How large is the negative chamber at full length?",
        unit="cm3",
        least=2,
        most=400,
        error=3,
        needed=False,
    ),
    Field(
        name="negative-area",
        ask="How much of the piston's area does the negative chamber press on?",
        unit="%",
        least=10,
        most=100,
        error=2,
        needed=False,
    ),
)
_SOURCES = (
    "Young and Freedman, University Physics, 13th ed. 2012, 19.8 (gas law, adiabatic)",
    "Bauer, Hydropneumatic Suspension Systems, 2011 (polytropic gas spring)",
    "ISO 2533:1975 (pressure of the air outside)",
    "common practice (about 20 % sag at the fork, 25 to 30 % at the rear; one reducer at a time at the same pressure; "
    "exponent 1.3 to 1.4 in riding)",
    "from memory (the figures assumed for a spring that is not described; more than 30 % of the pressure in two steps)",
)
_CAUTIONS = ("Never above the pressure printed on the spring or in the maker's manual.",)


def _with_force(name: str, words: str) -> Gives:
    return Gives(name=name, words=words, unit="N", also="lbf")


AIR_PRESSURE = Tool(
    name="air-pressure",
    title="New pressure for the sag that is wanted",
    about=f"From the pressure and the sag as they are. {HOW}",
    fields=(
        END,
        TRAVEL,
        STROKE,
        LEVERAGE,
        _PRESSURE,
        SAG,
        TARGET,
        replace(_PRESSURE, name="pressure-limit", ask="What pressure is printed as the most?", error=0.0, needed=False),
        _exponent(SLOW),
        *_SHAPE,
    ),
    run=_air_pressure,
    gives=(
        Gives(name="pressure-new", words="pressure for the sag wanted", unit="bar", also="psi"),
        Gives(name="pressure-change", words="change from now", unit="bar", also="psi"),
        Gives(name="sag-percent", words="sag now, of the travel or stroke", unit="%"),
        _with_force("spring-force", "force that the spring holds at rest"),
    ),
    sources=_SOURCES,
    cautions=(*_CAUTIONS, TIPS),
    example={"end": "front", "travel": "150 mm", "pressure": "75 psi", "sag": "39 41 40", "reducers": "2"},
)
SPRING_CURVE = Tool(
    name="spring-curve",
    title="Air spring's force over its travel, with one reducer more and one fewer",
    about="At the same pressure. Give bore and volumes where the maker's sheet has them; sag, if what keeps it is "
    "wanted too.",
    fields=(
        END,
        TRAVEL,
        STROKE,
        LEVERAGE,
        _PRESSURE,
        *_SHAPE,
        replace(SAG, needed=False),
        _exponent(QUICK),
    ),
    run=_spring_curve,
    gives=(
        _with_force("end-force", "force at the end of the travel now"),
        _with_force("end-force-more", "with one reducer more"),
        _with_force("end-force-fewer", "with one fewer"),
        Gives(name="end-change-more", words="harder at the end with one more", unit="%"),
        Gives(name="end-change-fewer", words="harder at the end with one fewer", unit="%"),
        Gives(name="sag-percent", words="sag now", unit="%"),
        Gives(name="sag-more", words="sag with one more at the same pressure", unit="%"),
        Gives(name="sag-fewer", words="sag with one fewer at the same pressure", unit="%"),
        Gives(name="pressure-more", words="pressure that keeps the sag with one more", unit="bar", also="psi"),
        Gives(name="pressure-fewer", words="pressure that keeps the sag with one fewer", unit="bar", also="psi"),
    ),
    sources=_SOURCES,
    cautions=(
        *_CAUTIONS,
        "All air out, and the valve pressed again, before an air cap or sleeve is unscrewed. A shock that stays short "
        "with its air out is not opened. Shocks are opened only where their manual gives that work to the user; else a "
        "qualified workshop does it.",
    ),
    example={"end": "front", "travel": "150 mm", "pressure": "80 psi", "sag": "30 31 29", "reducers": "2"},
)
