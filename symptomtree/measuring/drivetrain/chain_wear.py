"""How far the chain is worn, and how long it will last."""

from math import hypot, inf, isfinite

from symptomtree.measuring.life import left
from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict, needed
from symptomtree.measuring.units import Number

PITCH = 12.7
"""Millimetres from pin to pin of a bicycle chain: half an inch (ISO 9633:2001)."""
ROLLER, ROLLER_DIFFERS = 7.75, 0.05
"""Millimetres across a roller of a bicycle chain, and how much it differs (from memory)."""
NEW = Number(0.025, 0.07)
"""How much longer than 12.7 mm a link of a new chain is, in percent: readings of new chains lie evenly between -0.1 and
0.15 (Measuring chain stretch, independent cycling page)."""
FASTEST = 10.0
"""Percent in 1000 km that no chain wears, whatever the mud (from memory)."""

SPEEDS = Field(
    name="speeds",
    ask="How many sprockets has the back wheel?",
    least=1,
    most=14,
    needed=False,
    lasting=True,
    whole=True,
)
FINGERS = "Cranks still: nobody touches pedals or wheel while fingers are at the chain."
_LIMITS = (
    "When should a chain be replaced, owners' discussion (0.5 % from eleven sprockets on, else 0.75 %)",
    "Drivetrain longevity, a cyclists' association's advice (0.75 to 1 %; past 1 % the sprockets wear with it)",
    "common practice (with eleven sprockets or more they are likely worn at 0.75 %; 1 % with one sprocket)",
)


# Formulas


def elongation(length: float, links: float) -> float:
    """Return how much longer a chain is than new, in percent.

    Args:
        length: from pin to pin over `links` links, in mm.
        links: half links, that is pitches of 12.7 mm (ISO 9633:2001).
    """
    return (length / (links * PITCH) - 1) * 100


def less_roller_play(reading: float, links: float, play: float) -> float:
    """Return the elongation, in percent, of which a gauge that pushes two rollers apart shows too much.

    Each roller gives way by half its play, so the span grows by one play (Chain wear gauges are inaccurate, independent
    technical page, 2004).

    Args:
        reading: what the gauge shows, in percent.
        links: half links between its two ends.
        play: of a roller on its bush, from one end to the other, in mm.
    """
    return reading - play / (links * PITCH) * 100


def roller_play(gap: float) -> float:
    """Return the play of a roller in mm, from the gap between the two rollers of one inner link pushed apart, in mm.

    The inner link's holes stay a pitch apart, so what the gap has more than pitch less roller is play.
    """
    return gap - (PITCH - ROLLER)


def between_rollers(inside: float, outside: float) -> float:
    """Return the length over the links between two rollers in mm, from both sides of them: the mean of both.

    Jaws inside push the rollers apart, jaws outside press them together, so that roller and play cancel (Notes on
    measuring chain elongation, a hoist supplier's technical note).
    """
    return (inside + outside) / 2


def limits_of(speeds: float | None) -> tuple[float, float] | None:
    """Return the elongation in percent to replace the chain at, and at which the sprockets are likely worn with it."""
    if speeds is None:
        return None
    if speeds >= 11:
        return 0.5, 0.75
    return (0.75, 1.0) if speeds > 1 else (1.0, 1.5)


# Chain wear


def _chain_wear(
    how: str,
    length: float | None,
    links: float | None,
    gauge_reading: float | None,
    roller_gap: float,
    inside: float | None,
    outside: float | None,
    speeds: float | None,
) -> Outcome:
    links = links or (24 if how == "rule" else 10)
    if links % 2:
        raise BadInput(
            f"links: {links:g} is not even; inner and outer links wear apart, so measure over an even number", "links"
        )
    values, errors, says = {}, {}, []
    if how == "rule":
        worn = elongation(needed(length, "length", "lay a rule along the chain"), links)
    elif how == "caliper":
        a = needed(inside, "inside", "measure between two rollers, pushing them apart")
        b = needed(outside, "outside", "measure over the same two rollers, pressing them together")
        if b <= a:
            raise BadInput(
                f"outside: {b:g} mm is not more than inside ({a:g} mm), but a roller at each end lies between; were "
                "the two swapped?",
                "outside",
            )
        worn = elongation(between_rollers(a, b), links)
        values["roller-play"], errors["roller-play"] = max(0.0, ROLLER - (b - a) / 2), ROLLER_DIFFERS
        says.append("Inside and outside together: width and play of the rollers cancel.")
    else:
        worn = needed(gauge_reading, "gauge-reading", "hang the gauge into the taut upper run")
        if how == "gauge":
            play = max(0.0, roller_play(roller_gap))
            corrected = less_roller_play(worn, links, play)
            values["roller-play"], errors["roller-play"] = play, ROLLER_DIFFERS
            errors["elongation"] = ROLLER_DIFFERS / (links * PITCH) * 100
            says.append(
                f"Such a gauge counts the rollers' play as wear: {worn - corrected:.2f} % was taken off, for "
                f"{play:.2f} mm over {links:g} half links. Confirm what it says with a rule from pin to pin."
            )
            worn = corrected
    if not -0.5 <= worn <= 6:
        raise BadInput(
            f"{_FIELD[how]}: that makes the chain {worn:.2g} % longer than new, which no chain is; count the half "
            f"links again ({links:g} of 12.7 mm were taken)",
            _FIELD[how],
        )
    values |= {"elongation": worn, "longer": worn / 100 * 24 * PITCH}
    errors["longer"] = errors.get("elongation", 0.0) / 100 * 24 * PITCH
    return Outcome(
        values=values,
        errors=errors,
        verdicts=(_wear_verdict(speeds),),
        says=says,
        cautions=("A new chain on worn sprockets skips under load and can throw the rider: try it before the ride.",),
    )


_FIELD = {"rule": "length", "caliper": "inside", "gauge": "gauge-reading", "same-side": "gauge-reading"}


def _wear_verdict(speeds: float | None) -> Verdict:
    closer = "Measure at three more places with a rule over 24 half links or more, and take the largest."
    limits = limits_of(speeds)
    if limits is None:
        return Verdict(
            value="elongation",
            limits=(0.5, 0.75, 1.0),
            says=(
                "Under 0.5 %: the chain stays, whatever the number of sprockets.",
                "Past 0.5 %: with eleven sprockets or more fit a new chain; with fewer it stays until 0.75 %.",
                "Past 0.75 %: fit a new chain; with eleven sprockets or more they are likely worn with it.",
                "Past 1 %: fit a new chain, and reckon with new sprockets.",
            ),
            closer=closer,
        )
    replace, far = limits
    kind = (
        "one sprocket"
        if speeds == 1
        else "eleven sprockets or more"
        if speeds and speeds >= 11
        else "up to ten sprockets"
    )
    return Verdict(
        value="elongation",
        limits=limits,
        says=(
            f"Under {replace:g} %, the limit with {kind}: the chain stays.",
            f"Past {replace:g} %, the limit with {kind}: fit a new chain, and see whether it skips on any sprocket.",
            f"Past {far:g} %: fit a new chain, and reckon with new sprockets; the old chain has likely worn them.",
        ),
        closer=closer,
    )


# Chain life


def _chain_life(
    first: Number | None,
    second: Number,
    distance: float,
    days: float | None,
    speeds: float | None,
    chains_before: float | None,
) -> Outcome:
    start = first or NEW
    worn = second.value - start.value
    spread = hypot(start.error, second.error)
    if worn < -2 * spread:
        raise BadInput(
            "second: it is less than the first, but a chain does not get shorter; were the two swapped?", "second"
        )
    if (worn - 2 * spread) / distance * 1000 > FASTEST:
        raise BadInput(
            f"distance: {worn:.2g} % of wear in {distance:g} km is more than any chain wears; look at the distance and "
            "its unit",
            "distance",
        )
    replace, far = limits_of(speeds) or (0.5, 0.75)
    until, sprockets = left(start, second, distance, replace), left(start, second, distance, far)
    if not isfinite(until.least):
        raise BadInput("second: it is the same as the first; measure again when it has run further", "second")
    values, errors = {"rate": worn / distance * 1000}, {"rate": spread / distance * 1000}
    for name, found in (("remaining", until), ("to-sprockets", sprockets)):
        if isfinite(found.most):
            values[name], ratio = found.likeliest, found.likeliest / distance
            errors[name] = distance / worn * hypot((1 + ratio) * second.error, ratio * start.error)
    values["at-least"] = until.least
    if isfinite(until.most):
        values["at-most"] = until.most
    says = [_left_said(until.likeliest, until.least, until.most, replace)]
    if days and values.get("remaining"):
        values["days"], errors["days"] = (n["remaining"] / distance * days for n in (values, errors))
    if first is None:
        says.append("The first reading was taken as that of a new chain: 0.025 ± 0.07 %.")
    if speeds is None:
        says.append("Reckoned to 0.5 %, the limit with eleven sprockets or more; fill in how many there are.")
    says.append(_sprockets_said(chains_before, far, second))
    says.append("Reckoned as if it went on as before; rain and grit, or a chain that is already worn, go faster.")

    def picture(width: int, height: int) -> list[str]:
        end = min(3 * distance, max(1.2 * distance, distance + (until.likeliest if until.likeliest < inf else 0) * 1.2))
        return curves(
            {
                "as it went": ([0, end], [start.value, start.value + worn / distance * end]),
                f"limit {replace:g} %": ([0, end], [replace, replace]),
            },
            width,
            height,
            "km",
            "longer than new, %",
            points={"read": ([0, distance], [start.value, second.value])},
        )

    return Outcome(values=values, errors=errors, says=says, picture=picture)


def _left_said(likeliest: float, least: float, most: float, limit: float) -> str:
    if likeliest == 0:
        return f"It has reached its limit of {limit:g} %: fit a new chain now."
    if most == inf:
        return (
            f"The two readings differ by no more than their uncertainty, so all that can be told is that {_km(least)} "
            f"or more are left until {limit:g} %. Measure again when it has run further."
        )
    return (
        f"Until {limit:g} % there are {_km(least)} to {_km(most)} left (nine times out of ten). Measure again after "
        "half of the lower figure."
    )


def _km(distance: float) -> str:
    return f"{float(f'{distance:.2g}'):.0f} km"


def _sprockets_said(chains_before: float | None, far: float, now: Number) -> str:
    if now.value >= far:
        return f"Past {far:g} % the sprockets are likely worn with the chain: reckon with both."
    if chains_before is not None and chains_before >= 2:
        return (
            f"This is chain number {chains_before + 1:.0f} on these sprockets; two or three, each changed in time, is "
            "what they usually last. See whether a new chain skips on them."
        )
    return f"Changed before {far:g} %, the sprockets usually see two or three chains."


WEAR_TOOLS = (
    Tool(
        name="chain-wear",
        title="Chain wear from a rule, a gauge or a caliper",
        about="Pull the chain taut. Rule: zero on the middle of a pin, read at the middle of the pin 24 half links on. "
        "Gauge: its reading, and how many half links lie between its ends. Caliper: between two rollers, pushing them "
        "apart, then over the same two, pressing them together. Try three places and take the largest. Temperature "
        "does not matter, as rule and chain grow alike; slack and roller play do.",
        fields=(
            Field(
                name="how",
                ask="What do you measure with?",
                kind="choice",
                choices={
                    "rule": "a rule, from pin to pin",
                    "gauge": "a gauge that pushes two rollers apart",
                    "same-side": "a gauge that lies against the same side of its rollers",
                    "caliper": "a caliper, inside and outside of two rollers",
                },
                usual="rule",
            ),
            Field(
                name="length",
                ask="Rule: how far from pin to pin?",
                unit="mm",
                least=50,
                most=1700,
                error=0.15,
                needed=False,
            ),
            Field(
                name="links",
                ask="Over how many half links (usually 24 with a rule, else 10)?",
                least=4,
                most=130,
                needed=False,
                whole=True,
            ),
            Field(
                name="gauge-reading",
                ask="Gauge: what does it show?",
                unit="%",
                least=-0.5,
                most=5,
                error=0.05,
                needed=False,
            ),
            Field(
                name="roller-gap",
                ask="Gauge: how wide is the gap between the two rollers of an inner link, pushed apart?",
                unit="mm",
                least=4.8,
                most=8,
                error=0.1,
                usual="5.2 +- 0.3 mm",
            ),
            Field(
                name="inside",
                ask="Caliper: inside, pushing apart?",
                unit="mm",
                least=10,
                most=300,
                error=0.05,
                needed=False,
            ),
            Field(
                name="outside",
                ask="Caliper: outside, pressing together?",
                unit="mm",
                least=20,
                most=320,
                error=0.05,
                needed=False,
            ),
            SPEEDS,
        ),
        run=_chain_wear,
        gives=(
            Gives(name="elongation", words="longer than new by", unit="%"),
            Gives(name="longer", words="that is, over 24 half links (12 in)", unit="mm", also="in"),
            Gives(name="roller-play", words="play of a roller", unit="mm", also="in"),
        ),
        sources=(
            "ISO 9633:2001 (pitch 12.7 mm)",
            *_LIMITS,
            "Chain wear gauges are inaccurate, independent technical page, 2004 (roller play)",
            "On measuring a chain at full length, cycling forum, 2018 (gap 5.2 mm new, 6.0 mm after 10,000 km)",
            "Notes on measuring chain elongation, hoist supplier's technical note (inside and outside)",
            "from memory (roller 7.75 mm; how far a gap not measured is usually off; a rule read to 0.15 mm)",
        ),
        cautions=(FINGERS,),
        example={"length": "306.5 mm", "speeds": "11"},
    ),
    Tool(
        name="chain-life",
        title="How long the chain will last",
        about="Two readings of its wear, by the same rule, and what was ridden between them.",
        fields=(
            Field(
                name="first",
                ask="How much longer than new was it at first (blank: it was new)?",
                unit="%",
                least=-0.5,
                most=5,
                error=0.05,
                needed=False,
                with_error=True,
            ),
            Field(
                name="second",
                ask="How much longer than new is it now?",
                unit="%",
                least=-0.5,
                most=5,
                error=0.05,
                with_error=True,
            ),
            Field(
                name="distance", ask="How far was it ridden between the two?", unit="km", least=1, most=50000, error=20
            ),
            Field(name="days", ask="In how many days?", unit="day", least=1, most=10000, needed=False),
            SPEEDS,
            Field(
                name="chains-before",
                ask="How many chains have these sprockets had before?",
                least=0,
                most=50,
                needed=False,
                whole=True,
            ),
        ),
        run=_chain_life,
        gives=(
            Gives(name="rate", words="wear for each 1000 km", unit="%"),
            Gives(name="remaining", words="left until a new chain", unit="km", also="mile"),
            Gives(name="at-least", words="at least (19 times out of 20)", unit="km", also="mile"),
            Gives(name="at-most", words="at most (19 times out of 20)", unit="km", also="mile"),
            Gives(name="days", words="in days, ridden as before", unit="day"),
            Gives(name="to-sprockets", words="left until the sprockets go with it", unit="km", also="mile"),
        ),
        sources=(
            *_LIMITS,
            "E. C. Fieller, Some problems in interval estimation, Journal of the Royal Statistical Society B 16, 1954",
            "Measuring chain stretch, independent cycling page (new chains read -0.1 to 0.15 %)",
            "common practice (two or three chains for each set of sprockets)",
            "from memory (no chain wears more than 10 % in 1000 km)",
        ),
        example={"second": "0.3 %", "distance": "1500 km", "days": "120", "speeds": "11"},
    ),
)
