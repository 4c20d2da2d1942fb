"""Tyre pressure from load, width and ground, within what tyre and rim allow."""

from math import erf, floor, hypot, inf, sqrt

from symptomtree.measuring.picture import bars
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool
from symptomtree.measuring.units import Number, convert

HOOKLESS = 5.0
"""bar, the most on a road rim without hooks (ETRTO, as a tyre maker's page on tubeless road tyres reports it)."""
OVERLAP = 5.0
"""mm that a tyre should be wider than the inside of a rim without hooks (ETRTO's rule of 2023, as a cycling magazine
reports it, 15 June 2023; a wheel maker's statement reads it as 29 mm on 25 mm, which is one less)."""
LOAD = (9.0, 100.0)
"""kg on one wheel within which the 15 % rule is used (from memory: the published charts, and somewhat beyond them)."""
DOUBT = 0.12
"""Standard uncertainty of the pressure for 15 % drop, as a share: the figures that others publish lie up to 15 % off,
and one lies 30 % below (the tests have them)."""
LESS = 0.9
"""Share that loose ground leaves of the pressure, and tubeless again (common practice: about a tenth less each)."""
NARROW = 25.0
"""mm up to which a tyre needs more pressure at least (ISO 5775-1, as `least_of`)."""
HOOKS = {"hooked": "with hooks", "hookless": "without hooks", "not-known": "not known"}
GROUND = {"paved": "paved", "loose": "gravel or trail"}
FLAT, HARD = 0.65, 1.4
"""Share of what the load wants below which a tyre is clearly too low, as it drops by nearly a quarter of its height,
above which too high (from memory)."""
WHEELS = {"front": "front wheel", "rear": "rear wheel"}
AIR = {"tube": "with a tube", "tubeless": "tubeless"}


def drop_pressure(load: float, width: float) -> tuple[float, float]:
    """Return the pressure in bar at which a tyre drops by 15 % of its height, and its standard uncertainty.

    Args:
        load: on this wheel, in kg.
        width: of the tyre as it sits on the rim, in mm.

    Source: 120 L / W^1.5 in psi, L in pounds, W in mm, a fit to F. Berto's chart with some geometry, which also holds
    for a tyre of 102 mm (bicycle forum, 4 June 2013).
    """
    wanted = convert(120 * convert(load, "kg", "lb") / width**1.5, "psi", "bar")
    return wanted, DOUBT * wanted


def _tyre_pressure(
    rider_mass: float,
    bike_mass: float,
    rear_share: float,
    tyre_width: float,
    ground: str,
    tube: str,
    tyre_max: float,
    tyre_min: float | None,
    rim_hooks: str,
    rim_max: float | None,
    rim_width: float | None,
    pressure: Number | None,
    wheel: str,
) -> Outcome:
    limit, whose = most_allowed(tyre_max, rim_max, rim_hooks)
    if tyre_min is not None and tyre_min > limit:
        raise BadInput(
            f"tyre-min: the tyre needs {both(tyre_min)}, but no more than {both(limit)} is allowed ({whose}); tyre "
            "and rim do not go together, so do not ride them",
            "tyre-min",
        )
    share = (LESS if ground == "loose" else 1.0) * (LESS if tube == "tubeless" else 1.0)
    loads = {
        "front": (rider_mass + bike_mass) * (1 - rear_share / 100),
        "rear": (rider_mass + bike_mass) * rear_share / 100,
    }
    values = {"pressure-limit": limit}
    errors = {}
    says = []
    for place, load in loads.items():
        if not LOAD[0] <= load <= LOAD[1]:
            raise BadInput(
                f"{load:.0f} kg on the {place} wheel is outside the {LOAD[0]:g} to {LOAD[1]:g} kg of the rule; "
                "keep to the tyre maker's table"
            )
        wanted, doubt = drop_pressure(load, tyre_width)
        wanted, doubt = wanted * share, doubt * share
        least = tyre_min or 0.0
        set_to = min(max(wanted, least), limit)
        values[f"load-{place}"], values[f"pressure-{place}"] = load, set_to
        errors[f"pressure-{place}"] = doubt if set_to == wanted else 0.0
        says.append(_about(place, wanted, set_to, limit, whose))
    if pressure is not None:
        wanted, doubt = (share * one for one in drop_pressure(loads[wheel], tyre_width))
        least = min(max(tyre_min or 0.0, FLAT * wanted), limit)
        most = max(least, min(limit, HARD * max(wanted, tyre_min or 0.0)))
        # A bound that comes from the load is as uncertain as the rule; a printed one is not.
        low, high = (
            Number(pressure.value, hypot(pressure.error, part * doubt if bound == part * wanted else 0.0))
            for bound, part in ((least, FLAT), (most, HARD))
        )
        values["too-low"] = round(chance_below(low, least), 4)
        values["too-high"] = round(1 - chance_below(high, most), 4)
        says.insert(0, _about_now(wheel, pressure.value, values["too-low"], values["too-high"], least, most))
    says += [
        f"Never over {both(limit)}: {whose}. Set it lower by what your gauge may be wrong.",
        "A starting point for that load: ride, and change it by 0.2 bar (3 psi) at a time. Squirming in bends, or "
        "the rim felt on a kerb, wants more; a hard, skipping wheel wants less.",
    ]
    if tyre_min is None:
        says.append(
            "Look for the least pressure on the tyre's side, and do not go below it; without a mark, ISO 5775 is "
            f"reported to ask for {both(least_of(tyre_width, ground))} or more."
        )
    cautions = []
    if rim_hooks != "hooked":
        cautions.append(
            "Rim without hooks, or not known: a tyre can come off at speed. Only a tyre that both makers allow on "
            f"it, with a tube as without, and never over the maker's figure nor over {both(HOOKLESS)}."
        )
        if rim_width is not None and tyre_width - rim_width < OVERLAP:
            cautions.append(
                f"The tyre is only {tyre_width - rim_width:.0f} mm wider than the inside of the rim; without hooks it "
                f"should be {OVERLAP:g} mm: do not ride it before the makers say that it may."
            )

    def picture(width: int, height: int) -> list[str]:
        shown = {"front": values["pressure-front"], "rear": values["pressure-rear"], "most allowed": limit}
        return bars(shown, width, unit=" bar")

    return Outcome(values=values, errors=errors, says=says, cautions=cautions, picture=picture)


def most_allowed(tyre_max: float, rim_max: float | None, rim_hooks: str) -> tuple[float, str]:
    """Return the most pressure that may be in, in bar, and whose limit it is.

    The lower of the marks on tyre and rim (TBIS 4210-1:2018, 2.27), and never over `HOOKLESS` on a rim without hooks,
    nor where that is not known.
    """
    limits = {
        "the tyre's limit": tyre_max,
        "the rim's limit": inf if rim_max is None else rim_max,
        "the limit of rims without hooks": inf if rim_hooks == "hooked" else HOOKLESS,
    }
    whose = min(limits, key=lambda name: limits[name])
    return limits[whose], whose


def least_of(width: float, ground: str) -> float:
    """Return the least pressure in bar of a tyre without a mark.

    Args:
        width: in mm.
        ground: a key of `GROUND`.

    Source: ISO 5775-1, as an encyclopaedia reports it: 3 bar up to 25 mm, else 2 bar on the road and 1.5 bar off it.
    """
    if width <= NARROW:
        return 3.0
    return 1.5 if ground == "loose" else 2.0


def chance_below(reading: Number, limit: float) -> float:
    """Return how likely what was read is below a limit, in the reading's unit.

    Source: JCGM 106:2012, Evaluation of measurement data - The role of measurement uncertainty in conformity
    assessment, 7.2: the normal distribution around the reading.
    """
    if not reading.error:
        return float(reading.value < limit)
    return 0.5 * (1 + erf((limit - reading.value) / (reading.error * sqrt(2))))


def _about_now(wheel: str, pressure: float, low: float, high: float, least: float, most: float) -> str:
    read = f"The {wheel} tyre's {pressure:.2f} bar ({convert(pressure, 'bar', 'psi'):.0f} psi)"
    if max(low, high) < 0.05:
        return f"{read} is between {both(least)} and {both(most)}: neither clearly too low nor clearly too high."
    if low > 0.95:
        return f"{read} is too low: below {both(least)} the tyre folds, and the rim or the tube takes the knocks."
    if high > 0.95:
        return f"{read} is too high: let air out to what is given below."
    if low > high:
        return f"Too close to call: {read[0].lower() + read[1:]} may be below {both(least)}; put a little air in."
    return f"Too close to call: {read[0].lower() + read[1:]} may be over {both(most)}; let a little air out."


def _about(wheel: str, wanted: float, set_to: float, limit: float, whose: str) -> str:
    if wanted > limit:
        return (
            f"{wheel.capitalize()}: this load wants {both(wanted)}, more than the {both(limit)} allowed ({whose}). Set "
            f"{both(set_to)} at most, and better fit a wider tyre: it will drop by more than 15 %."
        )
    if set_to > wanted:
        return f"{wheel.capitalize()}: {both(set_to)}, the least that the tyre may have; the load alone wants less."
    return f"{wheel.capitalize()}: start with {both(set_to)}, where the tyre drops by about 15 % of its height."


def both(pressure: float) -> str:
    """Say a pressure in bar and in psi, rounded down, so that a limit is not passed by rounding."""
    bar, psi = (floor(p + 1e-6) for p in (pressure * 10, convert(pressure, "bar", "psi")))
    return f"{bar / 10:.1f} bar ({psi} psi)"


def _width(name: str, ask: str, most: float, needed: bool = True) -> Field:
    return Field(name=name, ask=ask, unit="mm", least=10, most=most, error=0.5, needed=needed, lasting=True)


TYRE_WIDTH = _width("tyre-width", "How wide is the tyre on the rim (measured pumped up; else as printed)?", 130)
RIM_HOOKS = Field(
    name="rim-hooks",
    ask="Do the rim's inner edges have hooks for the tyre?",
    kind="choice",
    choices=HOOKS,
    lasting=True,
)


def printed(name: str, ask: str, needed: bool) -> Field:
    """Return the field of a pressure that is printed on a part."""
    return Field(name=name, ask=ask, unit="bar", least=0.3, most=16, needed=needed, lasting=True)


TYRE_PRESSURE = Tool(
    name="tyre-pressure",
    title="Tyre pressure for load, width and ground",
    about="Read the limits on both tyre and rim (or in their makers' lists) first. Load: rider in kit, bike, and all "
    "that is carried. Two bathroom scales under the wheels tell the share on the rear better than any rule.",
    fields=(
        Field(
            name="rider-mass",
            ask="How heavy is the rider in kit, with everything carried?",
            unit="kg",
            least=10,
            most=250,
            error=1,
            lasting=True,
        ),
        Field(name="bike-mass", ask="How heavy is the bike?", unit="kg", least=4, most=60, error=0.5, lasting=True),
        Field(
            name="rear-share",
            ask="How much of it all is on the rear wheel?",
            unit="%",
            least=30,
            most=80,
            error=3,
            usual="57",
            lasting=True,
        ),
        TYRE_WIDTH,
        Field(name="ground", ask="On what ground?", kind="choice", choices=GROUND, usual="paved"),
        Field(name="tube", ask="What holds the air?", kind="choice", choices=AIR, usual="tube", lasting=True),
        printed("tyre-max", "What is the highest pressure printed on the tyre?", needed=True),
        printed("tyre-min", "What is the least pressure printed on the tyre?", needed=False),
        RIM_HOOKS,
        printed("rim-max", "What is the highest pressure that the rim's maker allows?", needed=False),
        _width("rim-width", "How wide is the rim inside, between its edges?", 100, needed=False),
        Field(
            name="pressure",
            ask="What does the gauge show now, if it is to be judged?",
            unit="bar",
            least=0,
            most=16,
            error=0.1,
            needed=False,
            with_error=True,
        ),
        Field(name="wheel", ask="In which wheel?", kind="choice", choices=WHEELS, usual="rear"),
    ),
    run=_tyre_pressure,
    gives=(
        Gives(name="pressure-front", words="front", unit="bar", also="psi"),
        Gives(name="pressure-rear", words="rear", unit="bar", also="psi"),
        Gives(name="pressure-limit", words="most allowed", unit="bar", also="psi"),
        Gives(name="too-low", words="chance that the gauge's reading is clearly too low", chance=True),
        Gives(name="too-high", words="chance that it is clearly too high", chance=True),
        Gives(name="load-front", words="load on the front wheel", unit="kg", also="lb"),
        Gives(name="load-rear", words="load on the rear wheel", unit="kg", also="lb"),
    ),
    sources=(
        "Heine, Optimizing your tire pressure for your weight (15 % drop, after Berto's measurements)",
        "Bicycle forum, 4 June 2013 (fit to Berto's chart that holds for wide tyres)",
        "TBIS 4210-1:2018, 2.27 (the lower of the marks on tyre and rim)",
        "Tyre maker's page on tubeless road tyres (ETRTO: 5 bar at most on rims without hooks)",
        "Industry divided over new tyre rim-size regulations, cycling magazine, 15 June 2023 (ETRTO: 5 mm wider than "
        "the inside of a rim without hooks)",
        "ISO 5775, encyclopaedia article (least pressure without a mark)",
        "Marchand, Bicycle tire pressure (55 % on the rear; others have 60 %)",
        "common practice (a tenth less on loose ground, another tenth less tubeless)",
        "from memory (clearly too low under 0.65 of what the load wants, too high over 1.4 times; loads of the rule)",
    ),
    cautions=("The makers' limits of tyre and rim come first; a tyre that bursts off its rim injures.",),
    example={
        "rider-mass": "80 kg",
        "bike-mass": "10 kg",
        "tyre-width": "32 mm",
        "tyre-max": "6 bar",
        "tyre-min": "3 bar",
        "rim-hooks": "hooked",
    },
)
