"""Suspension, the methodical way: how the travel is used and what to change next; and all of the family's tools."""

from collections.abc import Sequence
from dataclasses import replace

from symptomtree.measuring.picture import bars
from symptomtree.measuring.suspension.sag import (
    END,
    LEVERAGE,
    SAG,
    STROKE,
    TARGET,
    TRAVEL,
    mean_sag,
    moves,
    share_below,
    wanted,
)
from symptomtree.measuring.tool import TOO_CLOSE, BadInput, Field, Gives, Outcome, Tool
from symptomtree.measuring.units import Number

OFTEN = 1.0
"""Bottom-outs per run of a hard stretch, above which it goes through too easily (from memory: once, on the hardest hit,
is what the travel is there for)."""
USED = 90.0
"""Percent of the travel that the hardest hit should reach (from memory; the last few millimetres are a rubber stop)."""
RUNS = 3
"""Runs before anything is judged (common practice)."""
FEELS = {"harsh": "harsh on small bumps", "right": "about right", "soft": "soft, it wallows"}
SPRINGS = {"air": "air spring", "coil": "coil spring"}


def rate_between(count: int, runs: int) -> tuple[float, float]:
    """Return between which rates per run a count lies: at either end only one such count in 20 is that far out.

    Args:
        count: how often it happened in all the runs.
        runs: how many.

    Source: Garwood, Fiducial limits for the Poisson distribution, Biometrika 28 (1936): exact for a Poisson count.
    """
    from scipy.stats import chi2  # noqa: PLC0415  (its import takes longer than all else here)

    low = float(chi2.ppf(0.05, 2 * count)) / 2 if count else 0.0
    return low / runs, float(chi2.ppf(0.95, 2 * count + 2)) / 2 / runs


def chance_above(rate: float, count: int, runs: int) -> float:
    """Return how likely something happens more often than `rate` times a run, after `count` in so many runs.

    Source: Jeffreys, Theory of Probability, 3rd ed. 1961: a Poisson rate whose prior is flat in its square root.
    """
    from scipy.stats import gamma  # noqa: PLC0415

    return float(gamma.sf(rate * runs, count + 0.5))


def _travel_use(
    end: str,
    travel: float | None,
    stroke: float | None,
    leverage: float | None,
    used: Sequence[Number],
    bottomed: Sequence[float],
    feel: str,
    spring: str,
    reducers: float | None,
    sag: Sequence[float],
    sag_target: float | None,
) -> Outcome:
    room, _ = moves(end, travel, stroke, leverage)
    if len(used) not in (1, len(bottomed)):
        raise BadInput(
            f"used: {len(used)} readings for {len(bottomed)} runs; give one for each run, or the greatest of all",
            "used",
        )
    most = max(used, key=lambda u: u.value)
    if most.value <= 0:
        raise BadInput("used: nothing moved; see whether it is locked, or stuck, before its travel is judged", "used")
    if most.value > room * 1.03 + 2 * most.error:
        raise BadInput(f"used: {most.value:g} mm is more than the {room:g} mm there are; look at both again", "used")
    count, runs = int(sum(bottomed)), len(bottomed)
    low, high = rate_between(count, runs)
    share, doubt = most.value / room * 100, most.error / room * 100
    values = {
        "bottom-rate": count / runs,
        "bottom-rate-least": round(low, 2),
        "bottom-rate-most": round(high, 2),
        "travel-used": share,
        "travel-unused": max(0.0, room - most.value),
        "too-easy": round(chance_above(OFTEN, count, runs), 3),
        "never-full": 0.0 if count else round(share_below(USED, share, doubt), 3),
    }
    errors = {
        "bottom-rate": max(count, 1) ** 0.5 / runs,
        "travel-used": doubt,
        "travel-unused": most.error,
    }
    says = []
    if sag:
        mean, scatter = mean_sag(sag, room)
        values["sag-percent"], errors["sag-percent"] = mean / room * 100, scatter / room * 100
        if most.value + 2 * most.error < mean:
            raise BadInput(
                f"used: {most.value:g} mm is less than the sag of {mean:.0f} mm alone; push the ring to the seal "
                "before each run, and see that fork or shock is not locked",
                "used",
            )
    proposal, changes = _proposal(values, errors, runs, count, wanted(end, sag_target), feel, spring, reducers)
    says.append(proposal)
    if changes:
        says.append("Only this one thing, then the same stretch again. Two changes at once cannot be told apart.")
    if not sag:
        says.append("This holds with the sag right: measure it first, the reading is missing here.")

    def picture(width: int, height: int) -> list[str]:
        if len(used) != runs:
            return bars({"most used": share, "all of it": 100}, width, unit=" %")
        shown = list(zip(used, bottomed, strict=True))[: max(1, height - 1)]
        labels = {f"run {n}, bottomed {b:g}": u.value / room * 100 for n, (u, b) in enumerate(shown, 1)}
        return bars({**labels, "all of it": 100}, width, unit=" %")

    return Outcome(values=values, errors=errors, says=says, picture=picture)


def _proposal(
    values: dict[str, float],
    errors: dict[str, float],
    runs: int,
    count: int,
    sag_range: tuple[float, float],
    feel: str,
    spring: str,
    reducers: float | None,
) -> tuple[str, bool]:
    """Return what to do next, and whether it changes the set-up: sag first, then the travel's end, then the feel."""
    used, clear = values["travel-used"], TOO_CLOSE * errors["travel-used"]
    unused = used + clear < USED
    if unused and count:
        return (
            f"It hit an end at {used:.0f} % of the travel: that does not fit. Look at the travel's figure and the "
            "ring; with the air out (a coil: with the coil loose), see whether it goes all the way: something may "
            "stop it."
        ), False
    if (sag := values.get("sag-percent")) is not None:
        low, high = sag_range
        close = TOO_CLOSE * errors["sag-percent"]
        if sag < low - close or sag > high + close:
            more = "more" if sag > high else "less"
            change = f"a little {more} air" if spring == "air" else f"a {'harder' if more == 'more' else 'softer'} coil"
            return (
                f"Sag first: {sag:.0f} % is outside {low:g} to {high:g} %, so {change}; the travel comes after that."
            ), True
    if values["bottom-rate-least"] > OFTEN:
        return _too_easy(feel, spring), True
    if runs < RUNS and (unused or not count):
        return (
            f"Ride at least {RUNS} runs of the hardest stretch before anything is judged; till then leave it all.",
            False,
        )
    if unused:
        return _never_full(feel, spring, reducers), feel != "soft"
    if values["bottom-rate-most"] > OFTEN and values["bottom-rate"] > OFTEN:
        return (
            f"Too close to call: between {values['bottom-rate-least']:.1f} and {values['bottom-rate-most']:.1f} "
            "bottom-outs per run fit this count. Ride more runs before you change anything."
        ), False
    if not count and used - clear < USED:
        return (
            "Too close to call whether all of the travel is used: push the ring back, ride it again and read closely."
        ), False
    if feel == "harsh":
        return "The travel is used well, so leave the spring; it is harsh, so one or two clicks less compression.", True
    if feel == "soft":
        return (
            "The travel is used well, so leave the spring; it is soft, so one or two clicks more low-speed compression."
        ), True
    return "The travel is used well: leave everything, and write the set-up down.", False


def _too_easy(feel: str, spring: str) -> str:
    if feel == "harsh":
        return (
            "It bottoms and is harsh as well: it may ride low because it comes back too slowly. First one or two "
            "clicks faster rebound; volume only if that changes nothing."
        )
    if spring == "coil":
        return "It bottoms too easily: one or two clicks more high-speed compression; if there are none, a harder coil."
    return "It bottoms too easily: one volume reducer more, up to the maker's most, then back to the same pressure."


def _never_full(feel: str, spring: str, reducers: float | None) -> str:
    if feel == "soft":
        return (
            "It is soft and yet never gets to its end: that does not fit. With the air out, see whether it goes all "
            "the way (a coil: with the coil loose); something may stop it."
        )
    if spring == "coil":
        return (
            "Full travel is never reached: a click or two less high-speed compression; if open already, a softer coil."
        )
    if reducers == 0:
        return "Full travel is never reached and no reducer is in: a little less air, while the sag stays in its range."
    return "Full travel is never reached: one volume reducer fewer, then back to the same pressure."


TRAVEL_USE = Tool(
    name="travel-use",
    title="Bottom-outs and unused travel: the one change to make next",
    about="Sag first. Then ride the same hard stretch several times, ring pushed to the seal before each run. Count "
    "how often it hit its end, and read how far the ring was pushed.",
    fields=(
        END,
        TRAVEL,
        STROKE,
        LEVERAGE,
        Field(
            name="used",
            ask="How far was the ring pushed in each run?",
            kind="numbers",
            unit="mm",
            least=0,
            most=300,
            error=1.5,
            with_error=True,
        ),
        Field(
            name="bottomed",
            ask="How often did it hit its end in each run?",
            kind="numbers",
            least=0,
            most=100,
            whole=True,
        ),
        Field(name="feel", ask="How does it feel?", kind="choice", choices=FEELS, usual="right"),
        Field(name="spring", ask="Which spring?", kind="choice", choices=SPRINGS, usual="air"),
        Field(name="reducers", ask="How many volume reducers are in it?", least=0, most=15, needed=False),
        replace(SAG, needed=False),
        TARGET,
    ),
    run=_travel_use,
    gives=(
        Gives(name="bottom-rate", words="bottom-outs per run"),
        Gives(name="bottom-rate-least", words="bottom-outs per run, at least"),
        Gives(name="bottom-rate-most", words="bottom-outs per run, at most"),
        Gives(name="travel-used", words="of the travel used at most", unit="%"),
        Gives(name="travel-unused", words="never used", unit="mm", also="in"),
        Gives(name="sag-percent", words="sag", unit="%"),
        Gives(name="too-easy", words="how likely it bottoms more than once a run", chance=True),
        Gives(name="never-full", words="how likely full travel is never reached", chance=True),
    ),
    sources=(
        "common practice (one reducer more if it bottoms too easily, one fewer if full travel is never reached, then "
        "the same pressure; one change at a time)",
        "Garwood, Biometrika 28, 1936 (limits of a rate from a count)",
        "Jeffreys, Theory of Probability, 3rd ed. 1961 (how likely a rate is after a count)",
        "from memory (more than one bottom-out per run is too easy; the hardest hit uses 90 % or more)",
    ),
    cautions=(
        "Ride only a stretch that is well within your skill, with helmet and gloves, and look the bike over before.",
        "A hard knock, a new noise or play after a bottom-out: stop, and have it looked at in a qualified workshop.",
    ),
    example={
        "end": "front",
        "travel": "150 mm",
        "used": "150 150 149",
        "bottomed": "3 2 3",
        "feel": "right",
        "sag": "30 31 29",
    },
)
