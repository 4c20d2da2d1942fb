"""Tones that last, and the rates of bearings."""

from dataclasses import replace
from math import log, pi, sin
from pathlib import Path

import numpy as np

from symptomtree.measuring import picture
from symptomtree.measuring.noise.sound import read_recording, tone
from symptomtree.measuring.noise.turning import bearing_orders
from symptomtree.measuring.tool import BadInput, Field, Gives, Outcome, Tool, Verdict


def fitting_orders(balls: float, ball: float, pitch: float, angle: float, outer_turns: bool) -> dict[str, float]:
    """Return the defect rates of a bearing for each turn.

    Raises:
        BadInput: so many such balls do not go round: the chord between two neighbours is less than a ball.
    """
    if ball > pitch * sin(pi / balls):
        raise BadInput(
            f"bearing-balls: {balls:g} balls of {ball:g} mm do not fit on a circle of {pitch:g} mm; measure again",
            "bearing-balls",
        )
    return bearing_orders(balls, ball, pitch, angle, outer_turns)


_NEITHER = "The pitch changes, but not as the speed does: cannot tell; record a longer stretch."
_FOLLOWS = Verdict(
    value="follows-speed",
    limits=(-0.25, 0.25, 0.75, 1.25),
    says=(
        _NEITHER,
        "The pitch stays while the speed changes: something rings at its own pitch, as squealing brakes do.",
        _NEITHER,
        "The pitch goes with the speed: teeth, knobs, spokes or balls that pass, not a brake's squeal.",
        _NEITHER,
    ),
    closer="Record a longer stretch in which the speed changes more.",
)


def _squeal_tone(recording: str, speed_before: float | None, speed_after: float | None) -> Outcome:
    sound = read_recording(recording)
    found = tone(sound)
    if not found:
        return Outcome(
            values={"share": 0.0},
            says=("No tone stands out of the noise: no squeal, or too far from the microphone.",),
        )
    slope, start = np.polyfit(found.times - found.times.mean(), np.log(found.heights), 1)
    span = float(found.times[-1] - found.times[0])
    drift = float(slope) * span
    left = np.log(found.heights) - start - slope * (found.times - found.times.mean())
    error = float(left.std() / max(np.sqrt(((found.times - found.times.mean()) ** 2).sum()), 1e-9) * span)
    pitch = float(np.exp(start))
    says, verdicts = [_pitch_said(pitch)], []
    values = {"pitch": pitch, "drift": 100 * drift, "share": 100 * found.share}
    errors = {"pitch": float(np.std(found.heights) / np.sqrt(len(found.heights))), "drift": 100 * error}
    if speed_before and speed_after:
        if abs(log(speed_after / speed_before)) < 0.1:
            raise BadInput(
                "speed-after: it hardly differs from speed-before; slow down by a third while recording", "speed-after"
            )
        follows = drift / log(speed_after / speed_before)
        values["follows-speed"] = follows
        errors["follows-speed"] = abs(error / log(speed_after / speed_before))
        verdicts.append(_FOLLOWS)
    elif speed_before or speed_after:
        name = "speed-after" if speed_before else "speed-before"
        raise BadInput(f"{name} is missing: give the speeds at the start and at the end of the tone, or neither", name)

    def draw(width: int, height: int) -> list[str]:
        return picture.curves(
            {}, width, height, "seconds", "pitch in kHz", points={"tone": (found.times, found.heights / 1000)}
        )

    return Outcome(values=values, errors=errors, verdicts=verdicts, says=says, picture=draw)


def _pitch_said(pitch: float) -> str:
    if pitch < 300:
        return f"A hum at {pitch:.0f} Hz."
    if pitch < 750:
        return (
            f"A howl at {pitch:.0f} Hz; a bicycle's disc brake has been measured to chatter at about 500 Hz when hot."
        )
    return f"A squeal at {pitch / 1000:.2f} kHz; disc brakes squeal from about 1 kHz upwards."


def _bearing_rates(
    bearing_balls: float,
    ball_diameter: float,
    bearing_pitch: float,
    contact_angle: float,
    bearing_place: str,
    turns: float,
) -> Outcome:
    orders = fitting_orders(bearing_balls, ball_diameter, bearing_pitch, contact_angle, bearing_place == "hub")
    rates = {f"bearing-{part}": order * turns / 60 for part, order in orders.items()}
    return Outcome(
        values=rates,
        errors={name: 0.01 * rate for name, rate in rates.items()},
        says=(
            "A damaged ball mostly knocks twice in each of its turns, once on each ring.",
            "Real bearings run 1 to 2 % off these, as balls slip a little.",
        ),
    )


SQUEAL = Path(__file__).with_name("squeal.wav")
"""A recording to try things with: 3.5 s of a ringing at 1.02 kHz in noise, made on a computer."""
BEARING = (
    Field(
        name="bearing-balls",
        ask="How many balls has the bearing, in one row?",
        least=3,
        most=40,
        needed=False,
        whole=True,
    ),
    Field(name="ball-diameter", ask="How large is a ball?", unit="mm", least=1, most=20, error=0.02, needed=False),
    Field(
        name="bearing-pitch",
        ask="How wide is the circle of the balls' centres (half way from bore to outside)?",
        unit="mm",
        least=5,
        most=100,
        error=0.3,
        needed=False,
    ),
    Field(
        name="bearing-place",
        ask="Where is the bearing?",
        kind="choice",
        choices={"hub": "in a wheel: the outside turns", "cranks": "on a turning axle: the inside turns"},
        usual="hub",
    ),
    Field(
        name="contact-angle",
        ask="At what angle do the balls press (a plain cartridge 0, cup and cone about 40)?",
        unit="deg",
        least=0,
        most=60,
        error=3,
        usual="0",
    ),
)
RECORDING = Field(name="recording", ask="Where is the recording (a WAV file of 3 to 60 s)?", kind="file", needed=False)


def _speed(name: str, when: str) -> Field:
    return Field(
        name=name,
        ask=f"How fast was the bike {when} of the tone?",
        unit="km/h",
        least=1,
        most=120,
        error=0.5,
        needed=False,
    )


TONES = (
    Tool(
        name="squeal-tone",
        title="Pitch of a squeal",
        about="Record the squeal with the microphone near it. To tell a brake that rings from teeth or balls that "
        "pass, slow down by a third or more while it sounds, and give both speeds.",
        fields=(
            replace(RECORDING, needed=True),
            _speed("speed-before", "at the start"),
            _speed("speed-after", "at the end"),
        ),
        run=_squeal_tone,
        gives=(
            Gives(name="pitch", words="pitch", unit="Hz", also="kHz"),
            Gives(name="drift", words="higher at the end by", unit="%"),
            Gives(name="follows-speed", words="how far the pitch goes with the speed (0 not, 1 in proportion)"),
            Gives(name="share", words="of the recording it sounds", unit="%"),
        ),
        sources=(
            "Nakae et al., Squeal and chatter phenomena generated in a mountain bike disc brake, Journal of Sound and "
            "Vibration 330, 2011 (squeal at 1 kHz, chatter at 500 Hz, both whatever the speed)",
            "Smith and Serra, PARSHL, International Computer Music Conference 1987 (pitch between two lines)",
            "from memory (bounds of hum and howl; how far a pitch that goes with the speed may be off it)",
        ),
        cautions=(
            "Try brakes at walking pace first, away from traffic; do not ride a bike whose brake does not hold.",
        ),
        example={"recording": str(SQUEAL), "speed-before": "20", "speed-after": "12"},
    ),
    Tool(
        name="bearing-rates",
        title="Rates at which a damaged bearing knocks",
        about="Count the balls and measure one, or take the figures of the bearing's data sheet.",
        fields=(
            *(replace(f, needed=True) for f in BEARING),
            Field(name="turns", ask="How many turns a minute?", unit="per min", least=0.1, most=20_000, error=1),
        ),
        run=_bearing_rates,
        gives=tuple(
            Gives(name=f"bearing-{part}", words=words, unit="Hz", also="per min")
            for part, words in (
                ("cage", "the cage goes round (FTF)"),
                ("outer", "balls pass a spot on the outer ring (BPFO)"),
                ("inner", "balls pass a spot on the inner ring (BPFI)"),
                ("ball", "a ball turns about itself (BSF)"),
            )
        ),
        sources=(
            "Harris, Rolling Bearing Analysis, 4th ed. 2001, chapter 8",
            "Randall and Antoni, Rolling element bearing diagnostics - a tutorial, Mechanical Systems and Signal "
            "Processing 25, 2011",
            "from memory (about 40 degrees between cup and cone)",
        ),
        example={
            "bearing-balls": "9",
            "ball-diameter": "1/4 in",
            "bearing-pitch": "20 mm",
            "contact-angle": "40 deg",
            "turns": "200",
        },
    ),
)
