"""How long a bearing's load lets it last (ISO 281), as orientation: on a bike water and grit mostly end it first."""

from bisect import bisect_left

from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict

_AXIAL = (
    # (Fa / C0, e, Y): radial deep groove ball bearings, X = 0.56 where Fa / Fr > e. Budynas and Nisbett, Shigley's
    # Mechanical Engineering Design, 10th ed. 2015, table 11-1, after ISO 281.
    (0.014, 0.19, 2.30),
    (0.021, 0.21, 2.15),
    (0.028, 0.22, 1.99),
    (0.042, 0.24, 1.85),
    (0.056, 0.26, 1.71),
    (0.070, 0.27, 1.63),
    (0.084, 0.28, 1.55),
    (0.110, 0.30, 1.45),
    (0.170, 0.34, 1.31),
    (0.280, 0.38, 1.15),
    (0.420, 0.42, 1.04),
    (0.560, 0.44, 1.00),
)
RELIABILITY = {"90": 1.0, "95": 0.64, "96": 0.55, "97": 0.47, "98": 0.37, "99": 0.25}
"""How much shorter the life that so many percent of bearings reach (ISO 281:2007, table 12)."""
OUTER_TURNS = 1.2
"""What the radial load counts where the outer ring turns (Shigley, as above; ISO 281:2007 no longer has it)."""


def rating_life(rating: float, load: float, exponent: float = 3.0) -> float:
    """Return the basic rating life in millions of turns: nine of ten bearings reach it (ISO 281:2007, (C / P)^p).

    Args:
        rating: basic dynamic load rating C.
        load: equivalent load P, in the same unit.
        exponent: 3 for balls, 10/3 for rollers.
    """
    return float((rating / load) ** exponent)


def hours(life: float, turns: float) -> float:
    """Return a life in hours.

    Args:
        life: in millions of turns.
        turns: per minute.
    """
    return life * 1e6 / (60 * turns)


def axial_factors(share: float) -> tuple[float, float]:
    """Return e and Y of a deep groove ball bearing, between the lines of the table, which end where they end.

    Args:
        share: axial load over static load rating.
    """
    shares = [row[0] for row in _AXIAL]
    if share <= shares[0]:
        return _AXIAL[0][1:]
    if share >= shares[-1]:
        return _AXIAL[-1][1:]
    n = bisect_left(shares, share)
    (low, e_low, y_low), (high, e_high, y_high) = _AXIAL[n - 1], _AXIAL[n]
    t = (share - low) / (high - low)
    return e_low + t * (e_high - e_low), y_low + t * (y_high - y_low)


def equivalent_load(radial: float, axial: float, static: float, outer_turns: bool = False) -> float:
    """Return the equivalent dynamic load of a deep groove ball bearing: X V Fr + Y Fa, at least V Fr.

    All in the same unit. Source: Shigley, 10th ed. 2015, 11-6, after ISO 281.
    """
    counted = radial * (OUTER_TURNS if outer_turns else 1.0)
    e, y = axial_factors(axial / static)
    if axial <= e * counted:
        return counted
    return max(counted, 0.56 * counted + y * axial)


def static_load(radial: float, axial: float) -> float:
    """Return the equivalent static load of a deep groove ball bearing (ISO 76:2006: 0.6 Fr + 0.5 Fa, at least Fr)."""
    return max(radial, 0.6 * radial + 0.5 * axial)


def _bearing_life(
    dynamic_rating: float,
    static_rating: float | None,
    radial_load: float,
    axial_load: float,
    ring_turns: str,
    reliability: str,
    wheel_circumference: float | None,
    turns: float | None,
) -> Outcome:
    if radial_load + axial_load <= 0:
        raise BadInput("radial-load: without any load there is no life to work out; give one of the two", "radial-load")
    if axial_load and static_rating is None:
        raise BadInput(
            "static-rating is missing: with a load along the axle the static rating of the data sheet is needed",
            "static-rating",
        )
    outer = ring_turns == "outer"
    load = radial_load * (OUTER_TURNS if outer else 1.0)
    if static_rating is not None:
        load = equivalent_load(radial_load, axial_load, static_rating * 1000, outer)
    life = RELIABILITY[reliability] * rating_life(dynamic_rating * 1000, load)
    values = {"equivalent-load": load, "life-turns": life}
    verdicts = []
    if wheel_circumference is not None:
        values["life-distance"] = life * wheel_circumference  # millions of turns of so many mm are so many km
    if turns is not None:
        values["life-hours"] = hours(life, turns)
    if static_rating is not None:
        values["static-factor"] = static_rating * 1000 / static_load(radial_load, axial_load)
        verdicts.append(
            Verdict(
                value="static-factor",
                limits=(1.0, 2.0),
                says=(
                    "The load is over the static rating: it dents the rings. A larger bearing, or one full of balls.",
                    "Little is left for knocks: a hard landing may dent the rings.",
                    "Standing still and in ordinary knocks the load leaves no dents.",
                ),
                closer="Take the hardest hit there is, not the usual load.",
            )
        )
    says = [
        f"{reliability} of 100 bearings last longer than this under this load; half of them last about five times "
        "as long as 90 of 100 do.",
        "Twice the load leaves an eighth of that, so a load that is only guessed leaves the life open.",
        "It is orientation: it holds for fatigue in clean grease. On a bike water, grit and wrong preload end "
        "a bearing long before, so go by how it turns and moves.",
        "It does not hold for a joint that only swings, as in a linkage: there the same few balls dent the same spots.",
    ]
    if load > dynamic_rating * 500:
        says.append("The load is over half the dynamic rating, for which the formula is not made: do not rely on it.")
    return Outcome(values=values, verdicts=verdicts, says=says)


BEARING_LIFE = Tool(
    name="bearing-life",
    title="How long a ball bearing's load lets it last",
    about="Take both ratings from the bearing's data sheet. Of a bike with its rider about half stands on each wheel, "
    "and half of that on each of its two bearings; bumps easily double it.",
    fields=(
        Field(name="dynamic-rating", ask="What is its dynamic load rating C?", unit="kN", least=0.1, most=200),
        Field(
            name="static-rating",
            ask="What is its static load rating C0?",
            unit="kN",
            least=0.05,
            most=200,
            needed=False,
        ),
        Field(
            name="radial-load",
            ask="What load does it carry across its axle?",
            unit="N",
            least=0,
            most=100_000,
            error=50,
        ),
        Field(name="axial-load", ask="What load along its axle?", unit="N", least=0, most=100_000, usual="0", error=0),
        Field(
            name="ring-turns",
            ask="Which ring turns?",
            kind="choice",
            choices={"inner": "the inner one, as at the cranks", "outer": "the outer one, as in a wheel"},
            usual="inner",
        ),
        Field(
            name="reliability",
            ask="How many of 100 shall last longer?",
            kind="choice",
            choices={name: f"{name} of 100" for name in RELIABILITY},
            usual="90",
        ),
        Field(
            name="wheel-circumference",
            ask="In a wheel: how far does the wheel roll in one turn?",
            unit="mm",
            least=500,
            most=3000,
            error=10,
            needed=False,
            lasting=True,
        ),
        Field(name="turns", ask="How many turns a minute?", unit="per min", least=0.1, most=20_000, needed=False),
    ),
    run=_bearing_life,
    gives=(
        Gives(name="equivalent-load", words="load that counts", unit="N", also="lbf"),
        Gives(name="life-turns", words="life in millions of turns"),
        Gives(name="life-distance", words="life as distance", unit="km", also="mile"),
        Gives(name="life-hours", words="life at this speed", unit="h", also="day"),
        Gives(name="static-factor", words="static rating over static load"),
    ),
    sources=(
        "ISO 281:2007, Rolling bearings - Dynamic load ratings and rating life (life, reliability, load up to C/2)",
        "ISO 76:2006, Rolling bearings - Static load ratings (static load)",
        "Budynas and Nisbett, Shigley's Mechanical Engineering Design, 10th ed. 2015, chapter 11 (equivalent load)",
        "a bearing maker's page, Capacity and fatigue life of ball bearings (half last about five times as long)",
        "common practice (what ends a bearing on a bike; a static factor of 1 at least, 2 with knocks)",
    ),
    example={
        "dynamic-rating": "4.32 kN",
        "static-rating": "2.26 kN",
        "radial-load": "400 N",
        "ring-turns": "outer",
        "wheel-circumference": "2105 mm",
    },
)
