"""How true a wheel runs: waves fitted to readings around the rim, and which spokes to turn."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot, pi, sqrt
from statistics import NormalDist

import numpy as np

from symptomtree.measuring.picture import curves
from symptomtree.measuring.tool import TOO_CLOSE, BadInput, Field, Gives, Outcome, Tool, Verdict
from symptomtree.measuring.units import Number

LIMITS = {"racing": 0.6, "other": 0.8}
"""mm of run-out, full reading over one turn, of wheels for rim brakes (TBIS 15194:2019, 4.3.9.1, table 22)."""
AIM = 0.2
"""mm of run-out that wheel builders aim at (their pages; 0.1 to 0.2 sideways, 0.15 to 0.2 up and down)."""
BUCKLED = 10.0
"""mm of run-out from which a rim is bent past what spokes can bring back (from memory)."""
KINDS = {"racing": "racing wheel", "other": "any other"}
SIDES = {"left": "to the left flange", "right": "to the right flange"}
MOST_WAVES = 12
"""More waves than that cannot be told from a dent of a few spokes (from memory)."""
ALONE = 0.8
"""Share of what is not true from which on a single wave is all there is to it (from memory)."""
PLACES = 5
"""Readings below which not even a bent rim (two waves a turn) can be told from a rim that leans (arithmetic: an offset
and two numbers for each wave)."""


@dataclass(frozen=True, slots=True)
class Rim:
    """A sum of waves around a rim: an offset, then a cosine and a sine for 1, 2, ... waves in a turn.

    Attributes:
        parts: their sizes, in mm.
        doubt: covariance of those.
    """

    parts: np.ndarray
    doubt: np.ndarray

    @property
    def waves(self) -> int:
        """How many waves in a turn the shortest one has."""
        return len(self.parts) // 2

    def at(self, angle: np.ndarray) -> np.ndarray:
        """Return the readings at angles in radians."""
        return np.asarray(_waves(angle, self.waves) @ self.parts)

    def size(self, wave: int) -> float:
        """Return from trough to crest of one of the waves, in mm."""
        return 2 * float(np.hypot(*self.parts[2 * wave - 1 : 2 * wave + 1]))

    def share(self, wave: int) -> float:
        """Return how much of what is not true is one of the waves, by the mean square."""
        if self.waves < wave:
            return 0.0
        return self.size(wave) ** 2 / max(sum(self.size(n) ** 2 for n in range(1, self.waves + 1)), 1e-12)

    def runout(self) -> tuple[float, float]:
        """Return the full indicator reading over one turn, and its standard uncertainty, in mm."""
        basis = _waves(np.linspace(0, 2 * pi, 720, endpoint=False), self.waves)
        found = basis @ self.parts
        apart = basis[found.argmax()] - basis[found.argmin()]
        return float(np.ptp(found)), sqrt(max(0.0, float(apart @ self.doubt @ apart)))


def _waves(angle: np.ndarray, most: int) -> np.ndarray:
    """Return one row for each angle: 1, cos, sin, cos 2, sin 2, ..."""
    turns = np.outer(angle, np.arange(1, most + 1))
    pairs = np.stack([np.cos(turns), np.sin(turns)], axis=2).reshape(len(angle), 2 * most)
    return np.hstack([np.ones((len(angle), 1)), pairs])


def most_left(free: int) -> float:
    """Return what chi-squared stays below in 19 cases of 20 (Wilson and Hilferty, PNAS 17, 1931; within 3 %).

    Args:
        free: degrees of freedom, 1 or more.
    """
    part = 2 / (9 * free)
    return float(free * (1 - part + TOO_CLOSE * sqrt(part)) ** 3)


def fit(angle: np.ndarray, reading: np.ndarray, error: float) -> Rim:
    """Fit the fewest waves that agree with the readings.

    Least squares (JCGM 100:2008, H.3). Waves are added, the longest first, until what is left over is no more than the
    readings' own uncertainty makes in 19 cases of 20, all together and at the worst place (a bump of one spoke is lost
    among many good readings otherwise), or there are no readings left to tell more.

    Args:
        angle: where was read, in radians.
        reading: in mm.
        error: standard uncertainty of each, in mm.
    """
    places = len(np.unique(np.round(angle, 6)))
    furthest = NormalDist().inv_cdf(1 - 0.025 / len(reading)) * error
    for most in range(min(MOST_WAVES, (places - 1) // 2) + 1):
        basis = _waves(angle, most)
        parts, *_ = np.linalg.lstsq(basis, reading, rcond=None)
        rest = reading - basis @ parts
        over = float((rest**2).sum()) / error**2
        free = len(reading) - len(parts)
        if not free or (over <= most_left(free) and np.abs(rest).max() <= furthest):
            break
    # Where no waves agree with the readings, these scatter more than was thought.
    more = max(1.0, over / free) if free else 1.0
    return Rim(parts, np.linalg.pinv(basis.T @ basis) * error**2 * more)


def turns(sideways: np.ndarray, outwards: np.ndarray, side: np.ndarray) -> np.ndarray:
    """Return for each spoke how much its place asks for it: above 0 tighter, below 0 looser, in mm of the rim.

    A spoke that is tightened pulls the rim to its own side and inwards, so it is wanted where the rim leans away from
    its side and where it stands high (common practice).

    Args:
        sideways: how far the rim leans to the right at each spoke.
        outwards: how far it stands out there.
        side: 1 for spokes that go to the right flange, -1 for the left.
    """
    wanted: np.ndarray = outwards - side * sideways
    return wanted


def _wheel_true(
    sideways: Sequence[Number],
    outwards: Sequence[Number],
    places: Sequence[float],
    spokes: float,
    first_side: str,
    wheel_kind: str,
) -> Outcome:
    if spokes % 2:
        raise BadInput(f"spokes: {spokes:g} cannot be shared by two sides; give the even number in the wheel", "spokes")
    angle = _angles(len(sideways), places, spokes)
    if outwards and len(outwards) != len(sideways):
        raise BadInput(
            f"outwards: {len(outwards)} readings, but {len(sideways)} sideways; read both at the same places",
            "outwards",
        )
    number = np.arange(1, int(spokes) + 1)
    at = 2 * pi * (number - 1) / spokes
    rims, values, errors, verdicts = {}, {}, {}, []
    for name, readings in (("lateral", sideways), ("radial", outwards)):
        if not readings:
            continue
        error = max(sum(r.error for r in readings) / len(readings), 1e-3)
        rim = rims[name] = fit(angle, np.array([r.value for r in readings]), error)
        values[f"{name}-runout"], errors[f"{name}-runout"] = rim.runout()
        # A run-out is the difference of two places, and known no better than those are read; and the fewest waves may
        # have smoothed a bump, by what the readings range further than they do.
        further = max(0.0, max(r.value for r in readings) - min(r.value for r in readings) - values[f"{name}-runout"])
        errors[f"{name}-runout"] = hypot(max(errors[f"{name}-runout"], sqrt(2) * error), further / 2)
        values[f"{name}-middle"], errors[f"{name}-middle"] = float(rim.parts[0]), sqrt(rim.doubt[0, 0])
        verdicts.append(_verdict(name, LIMITS[wheel_kind], wheel_kind))
    lean = rims["lateral"].at(at) - rims["lateral"].parts[0]
    high = rims["radial"].at(at) - rims["radial"].parts[0] if outwards else np.zeros(len(at))
    first = 1 if first_side == "right" else -1
    side = np.where(number % 2 == 1, first, -first)
    wanted = turns(lean, high, side)
    most = max(values[f"{name}-runout"] for name in rims)
    says = [*_first(wanted, side, most), *_shape(rims)] if most < BUCKLED else []
    if says and len(angle) < spokes / 2:
        says.append(
            "Read at every second spoke or more to be sure of the spoke: with fewer places its neighbour may be meant "
            "(on simulated rims every other time at every fourth spoke)."
        )

    def picture(width: int, height: int) -> list[str]:
        around = np.linspace(0, 2 * pi, 200)
        spoke = 1 + around / (2 * pi) * spokes
        words = {"lateral": "sideways, up is right", "radial": "up and down, up is out"}
        lines = {words[name]: (spoke, rim.at(around)) for name, rim in rims.items()}
        read = {"read sideways": sideways, **({"read up and down": outwards} if outwards else {})}
        points = {name: (1 + angle / (2 * pi) * spokes, [r.value for r in rs]) for name, rs in read.items()}
        return curves(lines, width, height, "spoke, from the valve", "rim unrolled, mm", points)

    return Outcome(values=values, errors=errors, verdicts=verdicts, says=says, picture=picture)


def _angles(count: int, places: Sequence[float], spokes: float) -> np.ndarray:
    """Return where was read, in radians from the first spoke."""
    if not places:
        places = [1 + n * spokes / count for n in range(count)]
    if len(places) != count:
        raise BadInput(
            f"places: {len(places)} for {count} readings; give the spoke number of each, or none for even steps",
            "places",
        )
    if max(places) >= spokes + 1:
        raise BadInput(
            f"places: there is no spoke {max(places):g} among {spokes:g}; count again from the valve", "places"
        )
    if len({round(p, 3) for p in places}) < PLACES:
        raise BadInput(f"sideways: fewer than {PLACES} places; read at {PLACES} or more around the rim", "sideways")
    return 2 * pi * (np.asarray(places, dtype=float) - 1) / spokes


def _first(wanted: np.ndarray, side: np.ndarray, runout: float) -> list[str]:
    """Say which spokes to turn first."""
    if runout < AIM:
        return ["No spoke wants turning."]
    order = [int(n) for n in np.argsort(-np.abs(wanted), kind="stable") if abs(wanted[n]) >= AIM / 2][:4]
    each = ", ".join(
        f"spoke {n + 1} ({'right' if side[n] > 0 else 'left'}) {'tighter' if wanted[n] > 0 else 'looser'}"
        for n in order
    )
    step = "half a turn" if runout > 2 else "a quarter turn"
    return [
        f"First: {each}; {step} each, the one named first twice that. Then read again: a few small rounds beat a "
        "big one.",
        "Loosen before you tighten where the spokes there are tight already, and tighten first where they are slack.",
    ]


def _shape(rims: dict[str, Rim]) -> list[str]:
    """Say what a single wave that makes most of the run-out is a sign of."""
    signs = {
        (
            "lateral",
            1,
        ): "Sideways it leans once a turn: see first that the axle is straight and seated, and the bearings "
        "have no play.",
        ("lateral", 2): "Sideways it is bent like a saddle, twice a turn, as after a fall or a side load: where the "
        "tension is even and it is bent all the same, the rim is bent and spokes will not cure it.",
        (
            "radial",
            1,
        ): "Up and down it runs off centre, once a turn: the spokes of one half of the wheel against the other.",
    }
    told = []
    for (name, wave), words in signs.items():
        rim = rims.get(name)
        if rim and rim.share(wave) > ALONE and rim.size(wave) > AIM:
            told.append(words)
    return told


def _verdict(name: str, limit: float, kind: str) -> Verdict:
    way = "Sideways" if name == "lateral" else "Up and down"
    of = "racing wheels" if kind == "racing" else "wheels other than racing ones"
    return Verdict(
        value=f"{name}-runout",
        limits=(AIM, limit, BUCKLED),
        says=(
            f"{way}: as true as builders aim at ({AIM:g} mm).",
            f"{way}: within {limit:g} mm, which the standard allows for {of} with rim brakes; true it when there is "
            "time.",
            f"{way}: over {limit:g} mm, which the standard allows for {of} with rim brakes: true the wheel.",
            f"{way}: so far out the rim is bent. Do not ride it, nor pull it straight with the spokes; it goes to a "
            "qualified workshop.",
        ),
        closer="Read again at twice as many places, the gauge held by the fork or frame.",
    )


def _readings(name: str, ask: str, needed: bool) -> Field:
    return Field(
        name=name,
        ask=ask,
        kind="numbers",
        unit="mm",
        least=-30,
        most=30,
        error=0.1,
        needed=needed,
        with_error=True,
    )


WHEEL_TRUE = Tool(
    name="wheel-true",
    title="True and hop from readings around the rim",
    about="Hold a gauge or a rule's end to the rim, not to the tyre, and turn the wheel to each place: every second "
    "spoke, in the order of the spokes, and where it is worst. Spoke 1 is the first after the valve. "
    "Sideways: to the right (from the saddle) is plus. Up and down: outwards is plus. Only differences count. Dial "
    "gauge on a stand: +-0.05 after each; card and rule: +-0.2.",
    fields=(
        _readings("sideways", "How far is the rim to the right at each place (left: minus)?", needed=True),
        _readings("outwards", "How far out is its edge at the same places (in: minus)?", needed=False),
        Field(
            name="places",
            ask="At which spoke numbers (blank: even steps from spoke 1)?",
            kind="numbers",
            least=1,
            most=72.99,
            needed=False,
        ),
        Field(name="spokes", ask="How many spokes has the wheel?", least=8, most=72, whole=True),
        Field(
            name="first-side",
            ask="Which flange does spoke 1 go to?",
            kind="choice",
            choices=SIDES,
        ),
        Field(
            name="wheel-kind",
            ask="What kind of wheel?",
            kind="choice",
            choices=KINDS,
            usual="other",
        ),
    ),
    run=_wheel_true,
    gives=(
        Gives(name="lateral-runout", words="sideways, over one turn", unit="mm", also="in"),
        Gives(name="radial-runout", words="up and down, over one turn", unit="mm", also="in"),
        Gives(name="lateral-middle", words="middle of the rim to the right of the gauge's zero", unit="mm"),
        Gives(name="radial-middle", words="middle of the rim outside the gauge's zero", unit="mm"),
    ),
    sources=(
        "TBIS 15194:2019, 4.3.9.1, table 22 (0.8 mm, racing 0.6 mm, full reading, wheels for rim brakes)",
        "TBIS 4210-7:2019, 4.1 (how run-out is measured: no play, both sides, the larger counts)",
        "JCGM 100:2008, Guide to the expression of uncertainty in measurement, H.3 (least squares)",
        "Wheel builders' descriptions of their process (0.1 to 0.2 mm aimed at)",
        "common practice (a spoke pulls the rim to its side and inwards; a quarter turn at a time)",
        "from memory (from 10 mm on a rim is bent)",
    ),
    cautions=(
        "Fingers out of the spokes while the wheel turns; glasses on, a spoke that snaps flies out of its nipple.",
        "A rim with a crack, a dent or a pulled-out nipple is not trued: it goes to a qualified workshop.",
    ),
    example={
        "sideways": "0 0.1 0.3 0.9 0.3 0 -0.1 0 0.1 0 -0.1 0 0.1 0 0 -0.1",
        "spokes": "32",
        "first-side": "right",
    },
)
