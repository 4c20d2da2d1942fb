"""What a noise keeps time with: tapped, counted or recorded, beside the rates of all that turns on the bike."""

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import exp, hypot, log

import numpy as np

from symptomtree.measuring import picture
from symptomtree.measuring.noise.beats import SURE, apart, match, weigh, weights_of_rate
from symptomtree.measuring.noise.sound import HOP, Recording, loudness, onsets, pitches, rattle, read_recording
from symptomtree.measuring.noise.tones import BEARING, RECORDING, fitting_orders
from symptomtree.measuring.noise.turning import Gear, Source, bearing_sources, sources, wheel_rate
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Picture, Tool, said_chance
from symptomtree.measuring.units import Number

_TAP_BLUR = 0.03  # seconds by which a finger is early or late (from memory: a few hundredths)
_LOOK_BLUR = 0.006  # of a beat's beginning in a recording
_LOOK_FIRST = {
    "crank": "Look at what turns with the cranks: bolts of crank and ring, bottom bracket, pedals, a lace.",
    "pedal-stroke": "Look at what each push loads: bottom bracket, pedals, cleats, saddle and post, bars.",
    "chain-loop": "Let the chain run backwards by hand, slowly; look for a stiff, bent or wrongly joined link.",
    "chain-teeth": "Look at how the chain meets the teeth: dry, worn, out of line, or a mech that rubs.",
    "jockey": "Look at the guide wheels of the rear mech: dirt, a chipped tooth, play, a dry bearing.",
    "wheel": "Lift each wheel and spin it; look at tyre, valve, spokes, brake and hub, and at sprockets behind.",
    "spokes": "Look for what touches the spokes: a cable, a stick, a magnet, a guard.",
    "bearing": "Turn that bearing by hand and feel for grit, notches and play.",
}
_APART = 4.0
"""Standard uncertainties between two rates from which a recording can tell them apart."""
_AGAINST = 0.2
"""Likelihood, beside something unknown, under which what was heard in coasting speaks against a source."""
_MEANT = {"with-cranks": ("crank", "pedal-stroke"), "with-chain": ("chain-loop",), "with-wheel": ("wheel",)}


def _noise_rhythm(
    taps: Sequence[float],
    beat_rate: Number | None,
    recording: str | None,
    pedalling: str,
    cadence: Number | None,
    speed: Number | None,
    wheel_circumference: float | None,
    teeth_front: float | None,
    teeth_rear: float | None,
    chain_links: float | None,
    jockey_teeth: float,
    spokes: float | None,
    bearing_balls: float | None,
    ball_diameter: float | None,
    bearing_pitch: float | None,
    bearing_place: str,
    contact_angle: float,
    coasting: str,
    coast_from: float | None,
) -> Outcome:
    heard = [name for name, it in (("taps", taps), ("beat-rate", beat_rate), ("recording", recording)) if it]
    if len(heard) > 1:
        raise BadInput(f"{heard[1]} is given beside {heard[0]}; give one of them, it is one noise", heard[1])
    gear = None
    if pedalling == "yes":
        if not (teeth_front and teeth_rear):
            name = "teeth-rear" if teeth_front else "teeth-front"
            raise BadInput(f"{name} is missing: without the gear nothing can be told apart; count the teeth", name)
        gear = Gear(teeth_front, teeth_rear, chain_links, jockey_teeth or None)
    cranks, wheel, doubt = _turning(gear, cadence, speed, wheel_circumference)
    may = sources(cranks, wheel, gear, spokes)
    may += _bearing(bearing_balls, ball_diameter, bearing_pitch, bearing_place, contact_angle, cranks, wheel)
    if not heard:
        return Outcome(says=_planned(may, gear, cranks, doubt), picture=_drawn(None, np.array([]), 1.0, may, {}))
    sound = read_recording(recording) if recording else None
    until = sound.length if sound else max(taps, default=0.0)
    if coast_from is not None and (beat_rate or not 0 < coast_from < until):
        raise BadInput(
            "coast-from: it must lie within the taps or the recording; for a noise that ended then, fill in coasting",
            "coast-from",
        )
    loud = loudness(sound) if sound else None
    beats = onsets(loud) if loud is not None else _tapped(taps)
    begin = 0.0 if sound else float(beats[0]) if len(beats) else 0.0
    end = until if coast_from is None else coast_from
    fast = rattle(loud[: round(end / HOP)]) if loud is not None else None
    if beat_rate:
        weights = weights_of_rate(beat_rate.value / 60, beat_rate.error / 60)
    else:
        ridden = beats[beats <= end] - begin
        weights = weigh(ridden, end - begin, _LOOK_BLUR if sound else _TAP_BLUR)
        if fast and weights.logs.max() < 6:  # a rattle, with no rhythm of single beats over it
            weights = weights_of_rate(*fast)
        elif len(ridden) < 2:
            return Outcome(
                says=("No rhythm stands out. Record for 15 s, the microphone near the noise and out of the wind.",),
                picture=_drawn(sound, beats, until, [], {}),
            )
    rate, error = weights.best()
    factors = _coasting(may, coasting, coast_from, beats, until, rate)
    chance = match(weights, may, doubt, factors)
    values = {"rate": rate * 60, **chance}
    for name, parts in _MEANT.items():
        values[name] = sum(chance.get(part, 0.0) for part in parts)
    return Outcome(
        values=values,
        errors={"rate": error * 60},
        says=_told(chance, may, gear, cranks, doubt, factors),
        picture=_drawn(sound, beats - begin, until - begin, may, chance),
    )


def _turning(
    gear: Gear | None, cadence: Number | None, speed: Number | None, circumference: float | None
) -> tuple[float | None, float | None, float]:
    """Return turns of cranks and wheels in a second, and their relative uncertainty."""
    if gear and cadence:
        cranks = cadence.value / 60
        if speed and circumference:
            _same_speed(cadence, speed, cranks * gear.front / gear.rear * circumference / 1000 * 3.6)
        return cranks, cranks * gear.front / gear.rear, max(0.01, cadence.error / cadence.value)
    if not speed:
        name = "cadence" if gear else "speed"
        raise BadInput(f"{name} is missing: count it over half a minute, or read it from a display", name)
    if not circumference:
        raise BadInput(
            "wheel-circumference is missing: roll the wheel one turn and measure, or give the cadence",
            "wheel-circumference",
        )
    wheel = wheel_rate(speed.value / 3.6, circumference / 1000)
    return (wheel * gear.rear / gear.front if gear else None), wheel, max(0.01, hypot(speed.error / speed.value, 0.01))


def _same_speed(cadence: Number, speed: Number, reckoned: float) -> None:
    """Refuse a speed (km/h) that is not the one of cadence, gear and wheel: one of the figures is a slip."""
    doubt = hypot(cadence.error / cadence.value, speed.error / speed.value, 0.01)
    if abs(log(speed.value / reckoned)) > max(0.1, 4 * doubt):
        raise BadInput(
            f"speed: cadence, gear and wheel make {reckoned:.0f} km/h, not {speed.value:g}; look at these figures "
            "again, or leave the speed out",
            "speed",
        )


def _bearing(
    balls: float | None,
    ball: float | None,
    pitch: float | None,
    place: str,
    angle: float,
    cranks: float | None,
    wheel: float | None,
) -> list[Source]:
    given = {"bearing-balls": balls, "ball-diameter": ball, "bearing-pitch": pitch}
    missing = [name for name, it in given.items() if it is None]
    if len(missing) == 3:
        return []
    if balls is None or ball is None or pitch is None:
        raise BadInput(f"{missing[0]} is missing: a bearing needs all of {', '.join(given)}, or none", missing[0])
    turns = wheel if place == "hub" else cranks
    if not turns:
        return []
    return bearing_sources(
        turns, fitting_orders(balls, ball, pitch, angle, place == "hub"), 0.95 if place == "hub" else 0.01
    )


def _tapped(taps: Sequence[float]) -> np.ndarray:
    times = np.array(taps)
    if 0 < len(times) < 4:
        raise BadInput(f"taps: {len(times)} are too few; tap at least four times, better twenty", "taps")
    if (np.diff(times) <= 0).any():
        raise BadInput("taps: a time is not later than the one before; give them in order, in seconds", "taps")
    return times


def _coasting(
    may: Sequence[Source], coasting: str, coast_from: float | None, beats: np.ndarray, until: float, rate: float
) -> list[float]:
    """Return what coasting says for each source, beside something unknown that goes on half the time; [] not tried."""
    if coasting == "not-tried" and coast_from is None:
        return []
    goes_on, silent = {"goes-on": (1.0, 0.02), "stops": (0.02, 1.0)}.get(coasting, (1.0, 1.0))
    if coast_from is not None:
        since = coast_from + 0.3  # the last beat under load may come late
        count, while_ = int((beats > since).sum()), max(0.0, until - since)
        logs = [count * log(mean) - mean for mean in (max(0.8 * rate, 0.2) * while_ + 0.01, 0.15 * while_ + 0.01)]
        goes_on, silent = (exp(one - max(logs)) + 1e-3 for one in logs)
    return [(s.goes_on * goes_on + (1 - s.goes_on) * silent) / ((goes_on + silent) / 2) for s in may]


def _told(
    chance: Mapping[str, float],
    may: Sequence[Source],
    gear: Gear | None,
    cranks: float | None,
    doubt: float,
    coasting: Sequence[float],
) -> list[str]:
    by_name = {s.name: s for s in may}
    order = sorted(chance, key=lambda name: -chance[name])
    first, second = order[0], order[1]
    if first == "none" and chance[first] >= SURE:
        return [
            "It keeps time with nothing in the list. Check gear and cadence; else it follows the road, the wind or the "
            "frame's own shaking."
        ]
    if chance[first] >= SURE:
        look = _LOOK_FIRST[first if first in _LOOK_FIRST else "bearing"]
        says = [f"It keeps time with this ({said_chance(chance[first])}): {by_name[first].words}.", look]
        if coasting and coasting[list(by_name).index(first)] < _AGAINST:
            says.append("What was heard in coasting does not fit that: try it again before anything is taken apart.")
        return says
    near = [name for name in order[:3] if chance[name] > 0.05]
    says = [f"Cannot tell: {', '.join(f'{name} {said_chance(chance[name])}' for name in near)}."]
    pair = [by_name[name] for name in (first, second) if name in by_name]
    if len(pair) == 2 and apart(pair[0], pair[1], doubt) < _APART:
        return says + _to_part(pair, may, gear, cranks, doubt, bool(coasting))
    return [*says, "Record or tap longer (20 s), at one steady cadence, with the microphone near the noise."]


def _planned(may: Sequence[Source], gear: Gear | None, cranks: float | None, doubt: float) -> list[str]:
    """Return whether things can be told apart in this gear, before anything is recorded."""
    close = [(a, b) for n, a in enumerate(may) for b in may[n + 1 :] if apart(a, b, doubt) < _APART]
    if not close:
        return ["This gear is a good one: no two of these come round at nearly the same rate. Now tap or record."]
    return _to_part(min(close, key=lambda two: apart(two[0], two[1], doubt)), may, gear, cranks, doubt, False)


def _to_part(
    pair: Sequence[Source],
    may: Sequence[Source],
    gear: Gear | None,
    cranks: float | None,
    doubt: float,
    coasted: bool,
) -> list[str]:
    """Return how two sources that come round at nearly the same rate can be told apart, if coasting did not do it."""
    says = [
        "In this gear {} and {} come round at nearly the same rate ({:.0f} and {:.0f} a minute).".format(
            *(s.name for s in pair), *(s.rate * 60 for s in pair)
        )
    ]
    if not coasted and any(s.goes_on > 0.5 for s in pair) and any(s.goes_on < 0.5 for s in pair):
        says.append("Stop pedalling and let it roll: what goes on is of a wheel.")
    rear = None
    if gear and cranks:  # best one in which everything is apart
        rear = other_gear(gear, cranks, doubt, [s.name for s in may])
        rear = rear or other_gear(gear, cranks, doubt, [s.name for s in pair])
    if rear:
        says.append(f"Record in a gear with about {rear} teeth at the back: there they are apart.")
    elif doubt > 0.015:
        says.append("Count the cadence more exactly, over a whole minute and to one turn.")
    return says


def other_gear(gear: Gear, cranks: float, doubt: float, names: Sequence[str]) -> int | None:
    """Return the sprocket nearest to this one in which these sources are well apart from all others."""

    def clear(rear: int) -> bool:
        found = sources(cranks, cranks * gear.front / rear, Gear(gear.front, rear, gear.links, gear.jockey))
        asked = [s for s in found if s.name in names]
        return bool(asked) and all(apart(a, s, doubt) >= _APART for a in asked for s in found if s is not a)

    return next((r for r in sorted(range(10, 52), key=lambda r: abs(log(r / gear.rear))) if clear(r)), None)


def _drawn(
    sound: Recording | None, beats: np.ndarray, until: float, may: Sequence[Source], chance: Mapping[str, float]
) -> Picture:
    """Return the picture: pitch over time, where the beats are, and the rate and probability of each source."""
    rates = {s.name: f"{s.name} {s.rate * 60:.0f}/min" for s in sorted(may, key=lambda s: s.rate)}

    def draw(width: int, height: int) -> list[str]:
        lines = []
        across = width - 8
        chances = {
            words: round(100 * chance[name], 1) for name, words in {**rates, "none": "none"}.items() if name in chance
        }
        bars = picture.bars(chances, width, 100, " %") if chance else list(rates.values())
        if sound:
            rows = max(3, height - len(bars) - 3)
            heights, power = pitches(sound, 0.02, until / across / 2)
            top = min(8000.0, sound.rate / 2)
            edges = np.searchsorted(heights, np.geomspace(200, top, rows + 1))
            level = np.array([np.log(power[a : max(b, a + 1)].mean(axis=0) + 1e-9) for a, b in pairwise(edges)])
            level -= np.median(level, axis=1, keepdims=True)
            shades = picture.shades(np.clip(level[::-1], 0, None), across, rows)
            ends = {0: f"{top / 1000:.0f} kHz", rows - 1: "200 Hz"}
            lines += [f"{ends.get(n, ''):>7}|{row}" for n, row in enumerate(shades)]
        if len(beats):
            strip = [" "] * across
            for time in beats:
                strip[min(across - 1, int(time / until * across))] = "|"
            lines += [f"{'beats':>7}|{''.join(strip)}".rstrip(), f"{'0 s':>8}{f'{until:.0f} s':>{across}}"]
        return [line[:width] for line in (*lines, *bars)][:height]

    return draw


def _teeth(name: str, ask: str) -> Field:
    return Field(name=name, ask=ask, least=8, most=70, needed=False, whole=True)


def _chance(name: str, words: str) -> Gives:
    return Gives(name=name, words=words, chance=True)


RHYTHM = (
    Tool(
        name="noise-rhythm",
        title="What a noise keeps time with",
        about="Ride at one steady cadence in one gear, best one in which the sprocket has neither as many teeth as the "
        "ring nor half as many, nor as many as a guide wheel. Tap in time with the noise, count it over half a minute, "
        "or record 15 to 20 s with the microphone near it and out of the wind. Stop pedalling for the last seconds and "
        "say from when: that tells wheels from cranks in any gear.",
        fields=(
            Field(
                name="taps",
                ask="When does it come (tap a key in time with it)?",
                kind="taps",
                unit="s",
                least=0,
                most=600,
                needed=False,
            ),
            Field(
                name="beat-rate",
                ask="How many times a minute does it come?",
                unit="per min",
                least=3,
                most=20_000,
                error=2,
                needed=False,
                with_error=True,
            ),
            RECORDING,
            Field(
                name="pedalling",
                ask="Were you pedalling?",
                kind="choice",
                choices={"yes": "pedalling", "no": "rolling, the pedals still"},
                usual="yes",
            ),
            Field(
                name="cadence",
                ask="How fast did the cranks turn, on the whole?",
                unit="per min",
                least=10,
                most=200,
                error=2,
                needed=False,
                with_error=True,
            ),
            Field(
                name="speed",
                ask="How fast was the bike (if the cadence is not known)?",
                unit="km/h",
                least=1,
                most=120,
                error=0.5,
                needed=False,
                with_error=True,
            ),
            Field(
                name="wheel-circumference",
                ask="How far does the wheel roll in one turn?",
                unit="mm",
                least=500,
                most=3000,
                needed=False,
                lasting=True,
            ),
            _teeth("teeth-front", "How many teeth has the ring in use?"),
            _teeth("teeth-rear", "How many teeth has the sprocket in use (a hub gear in its direct gear)?"),
            Field(
                name="chain-links",
                ask="How many links (half inches) has the chain?",
                least=40,
                most=260,
                needed=False,
                whole=True,
                lasting=True,
            ),
            Field(
                name="jockey-teeth",
                ask="How many teeth has a guide wheel of the rear mech (0: there is none)?",
                least=0,
                most=24,
                usual="11",
                whole=True,
                lasting=True,
            ),
            Field(
                name="spokes",
                ask="How many spokes has the wheel, if something may touch them?",
                least=3,
                most=72,
                needed=False,
                whole=True,
                lasting=True,
            ),
            *BEARING,
            Field(
                name="coasting",
                ask="Does it go on when you stop pedalling and roll?",
                kind="choice",
                choices={"not-tried": "not tried", "goes-on": "goes on", "stops": "stops"},
                usual="not-tried",
            ),
            Field(
                name="coast-from",
                ask="From which second of it did you stop pedalling?",
                unit="s",
                least=0,
                most=600,
                needed=False,
            ),
        ),
        run=_noise_rhythm,
        gives=(
            Gives(name="rate", words="beats", unit="per min", also="Hz"),
            _chance("with-cranks", "in time with the cranks"),
            _chance("with-wheel", "in time with a wheel"),
            _chance("with-chain", "in time with one place of the chain"),
            _chance("crank", "once in a turn of the cranks"),
            _chance("pedal-stroke", "at each push of a pedal"),
            _chance("chain-loop", "one place of the chain"),
            _chance("jockey", "a guide wheel of the rear mech"),
            _chance("chain-teeth", "each link meeting a tooth"),
            _chance("wheel", "once in a turn of a wheel"),
            _chance("spokes", "each spoke passing"),
            _chance("bearing-cage", "the cage of the bearing"),
            _chance("bearing-outer", "a spot on the outer ring of the bearing"),
            _chance("bearing-inner", "a spot on the inner ring of the bearing"),
            _chance("bearing-ball", "a spot on a ball of the bearing"),
            _chance("none", "none of these"),
        ),
        sources=(
            "arithmetic of teeth and links (rates of cranks, chain, guide wheels and wheels)",
            "Rabiner, A tutorial on hidden Markov models, Proceedings of the IEEE 77, 1989 (beats missed and strange)",
            "Randall and Antoni, Rolling element bearing diagnostics - a tutorial, 2011 (rates of bearings)",
            "from memory (how usual each source is, and how often it goes on when coasting; about 40 degrees between "
            "cup and cone)",
        ),
        cautions=(
            "Keep your eyes on the road: let the phone record in a pocket, or let somebody else tap.",
            "While anything turns by hand, fingers and tools stay clear of spokes, disc and chain.",
        ),
        example={
            "taps": "0 0.74 1.51 2.24 3.02 3.74 5.27 6.0 6.74 7.52",
            "cadence": "80",
            "teeth-front": "42",
            "teeth-rear": "17",
        },
    ),
)
