"""Does `noise-rhythm` find what a recorded noise keeps time with?

    python -m tests.bench.rhythm [--recordings 1000] [--coast] [--other]

Each recording is made by `synthesise` and given to the tool as a WAV file, with the gear and the cadence as a rider
would read it. A source that the tool gives `SURE` or more is its answer; all else is "cannot tell".

What is drawn at random, evenly unless said otherwise:

- the bike: one of eight drives, any ring and any sprocket of it; 11 or 12 teeth on the guide wheel;
- the chain: as long as that drive needs, give or take four links; its links are counted in half the cases;
- the cadence: 50 to 100 a minute on the whole; it drifts by 5 % from least to most (steadily up or down, in a slow
  wave, or as it likes). The rider reads it with a standard error of 2 % and says so;
- the source, one of six: crank, pedal-stroke, chain-loop, jockey, wheel, chain-teeth;
- the sound: a click that rings for a few milliseconds, a creak of many small jerks, or a chirp; at 500 to 6000 Hz;
  each as loud as the last, give or take 2.5 dB; the two feet differ by up to 3 dB and 4 % of a turn;
- up to 25 % of the beats are missing; each is early or late by 1 to 5 % of the time between two of them;
- up to one strange click in four seconds;
- 8 to 20 s of noise, white, pink or between, with gusts; 10 dB below the sound's own mean power *while it sounds*
  (over the whole recording the sound is mostly below the noise).

Then the rider does what the tool says: where it could not tell, a second recording is made, in the sprocket of the bike
that is nearest to the one it proposes, or, when it asks for a longer recording, of 20 s; all else is drawn anew.

`told the rates` is what the tool answers to the same rider and gear when it is told the exact rate of the noise instead
of a recording: no way of listening can do much better, as in some gears two things come round alike.

With `--coast` the rider stops pedalling for the last third and says from when: wheels go on, four times in five.
With `--planned` the rider asks the tool beforehand, without a noise, and records in the sprocket nearest to the one it
proposes; without it, in whatever gear the bike happens to be.

With `--other` the noise has nothing to do with what turns: clicks at random, or a rhythm of its own.
"""

import argparse
import re
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter

import numpy as np
from scipy.io import wavfile
from scipy.signal import lfilter

from symptomtree.measuring.noise.beats import SURE
from symptomtree.measuring.tool import Result, work
from symptomtree.measuring.tools import tool_named

RATE = 16_000
BELOW = 10.0  # dB
DRIFT = 0.05
READ = 0.02
SOURCES = ("crank", "pedal-stroke", "chain-loop", "jockey", "wheel", "chain-teeth")
_WIDE = (10, 12, 14, 16, 18, 21, 24, 28, 33, 39, 45, 51)
_ROAD = (11, 12, 13, 14, 15, 17, 19, 21, 24, 28, 32)
_OLD = (11, 12, 14, 16, 18, 21, 24, 28, 32)
_DRIVES = (
    ((30,), _WIDE),
    ((32,), _WIDE),
    ((34,), _WIDE),
    ((40,), (11, 13, 15, 17, 19, 21, 24, 28, 32, 37, 42)),
    ((34, 50), _ROAD),
    ((36, 52), (11, 12, 13, 14, 15, 16, 17, 19, 21, 23, 25, 28)),
    ((30, 46), _ROAD),
    ((22, 32, 44), _OLD),
)


@dataclass(frozen=True)
class Bike:
    """A drive, the gear that is in use, and what is wrong."""

    sprockets: tuple[int, ...]
    front: int
    rear: int
    jockey: int
    links: int
    source: str


@dataclass(frozen=True)
class Made:
    """A recording, what is right, what its rider says, and the true rate in Hz."""

    samples: np.ndarray
    source: str
    typed: dict[str, str]
    rate: float


def some_bike(rng: np.random.Generator) -> Bike:
    """Return a bike with something wrong, in any of its gears."""
    rings, sprockets = _DRIVES[rng.integers(len(_DRIVES))]
    return Bike(
        sprockets=sprockets,
        front=int(rng.choice(rings)),
        rear=int(rng.choice(sprockets)),
        jockey=int(rng.integers(11, 13)),
        links=2 * round(54 + (max(rings) + max(sprockets) - 60) / 8 + rng.uniform(-2, 2)),
        source=str(rng.choice(SOURCES)),
    )


def synthesise(
    rng: np.random.Generator, bike: Bike, coast: bool = False, other: bool = False, length: float | None = None
) -> Made:
    """Return a recording of a bike's noise."""
    cadence, length = rng.uniform(50, 100), length or rng.uniform(8, 20)
    source = bike.source
    turns = {
        "crank": 1.0,
        "pedal-stroke": 2.0,
        "chain-loop": bike.front / bike.links,
        "jockey": bike.front / bike.jockey,
        "wheel": bike.front / bike.rear,
        "chain-teeth": float(bike.front),
    }[source]
    if other:
        source, turns = "own rhythm", float(np.exp(rng.uniform(np.log(0.4), np.log(5))))
    time = np.arange(0, length, 1 / 200)
    pace = cadence / 60 * _drift(rng, time / length)
    ridden = 2 / 3 * length if coast else length
    slowing = np.where(time > ridden, np.exp(-(time - ridden) * 0.03), 1.0)  # freely rolling on the flat
    phase = np.concatenate([[0.0], np.cumsum(pace * slowing / 200)]) * turns + rng.uniform()
    beats = np.interp(np.arange(np.ceil(phase[0]), phase[-1]), phase, np.append(time, length))
    if other and rng.random() < 0.5:
        source = "at random"
        beats = np.sort(rng.uniform(0, length, rng.poisson(turns * length)))
    goes_on = source == "wheel" and rng.random() < 0.8
    if coast and not goes_on:
        beats = beats[beats < ridden]
    period = 1 / (cadence / 60 * turns)
    feet = np.arange(len(beats)) % 2 * (source == "pedal-stroke")
    late = rng.normal(0, rng.uniform(0.01, 0.05) * period, len(beats)) + feet * rng.uniform(-0.08, 0.08) * period
    loud = 10 ** ((rng.normal(0, 2.5, len(beats)) + feet * rng.uniform(-3, 3)) / 20)
    heard = rng.random(len(beats)) >= rng.uniform(0, 0.25)
    samples = np.zeros(round(length * RATE))
    made = _sounds(rng, period)
    power = [
        _add(samples, at, amplitude * next(made))
        for at, amplitude in zip((beats + late)[heard], loud[heard], strict=True)
    ]
    clicks = _sounds(rng, 0.05)
    for at in rng.uniform(0, length, rng.poisson(rng.uniform(0, 0.25) * length)):
        _add(samples, at, rng.uniform(0.3, 1.0) * next(clicks))
    noise = _noise(rng, len(samples))
    samples += noise * np.sqrt(np.mean(power or [1.0]) / 10 ** (BELOW / 10))
    true = float(pace[time < ridden].mean())
    typed = {
        "cadence": f"{true * 60 * (1 + rng.normal(0, READ)):.1f} +- {READ * cadence:.1f}",
        "teeth-front": str(bike.front),
        "teeth-rear": str(bike.rear),
        "jockey-teeth": str(bike.jockey),
        "chain-links": str(bike.links) if rng.random() < 0.5 else "",
        "coast-from": f"{ridden:.1f}" if coast else "",
    }
    return Made(samples / np.abs(samples).max(), source, typed, true * turns)


def _drift(rng: np.random.Generator, share: np.ndarray) -> np.ndarray:
    """Return a pace around 1 that spans `DRIFT`."""
    kind = rng.integers(4)
    if kind == 0:
        shape = share
    elif kind == 1:
        shape = -share
    elif kind == 2:
        shape = np.sin(2 * np.pi * (share * rng.uniform(0.7, 2) + rng.uniform()))
    else:
        knots = np.linspace(0, 1, 7)
        shape = np.interp(share, knots, np.cumsum(rng.normal(size=7)))
    shape = (shape - shape.min()) / (shape.max() - shape.min())
    return 1 + DRIFT * (shape - shape.mean())


def _sounds(rng: np.random.Generator, period: float) -> Iterator[np.ndarray]:
    """Yield the sound of one source again and again, never quite the same."""
    pitch, ring = rng.uniform(500, 6000), rng.uniform(0.002, 0.008)
    kind = rng.choice(("click", "creak", "chirp")) if period > 0.15 else "click"
    long = rng.uniform(0.05, min(0.25, 0.4 * period)) if kind != "click" else 0.0
    jerks = rng.uniform(60, 300)
    while True:
        heard = pitch * rng.uniform(0.97, 1.03)
        if kind == "chirp":
            time = np.arange(0, long, 1 / RATE)
            yield np.sin(2 * np.pi * heard * time * (1 + 0.1 * time / long)) * np.hanning(len(time))
            continue
        ring = min(ring, period / 4)
        time = np.arange(0, 5 * ring, 1 / RATE)
        click = np.exp(-time / ring) * np.sin(2 * np.pi * heard * time)
        if kind == "click":
            yield click
            continue
        sound = np.zeros(round(long * RATE) + len(click))
        at = 0.0
        while at < long:  # stick and slip: each jerk when it will, as strong as it will
            start = round(at * RATE)
            sound[start : start + len(click)] += rng.uniform(0.3, 1) * click
            at += rng.exponential(0.5 / jerks) + 0.5 / jerks
        yield sound


def _add(samples: np.ndarray, at: float, sound: np.ndarray) -> float:
    """Add a sound and return its mean power while it sounds: over the time that holds 90 % of its energy."""
    start = max(0, round(at * RATE))
    part = samples[start : start + len(sound)]
    part += sound[: len(part)]
    energy = np.cumsum(sound**2)
    first, last = np.searchsorted(energy, (0.05 * energy[-1], 0.95 * energy[-1]))
    return float(0.9 * energy[-1] / max(1, last - first))


def _noise(rng: np.random.Generator, size: int) -> np.ndarray:
    """Return noise of power 1: white, pink, or a mixture, with gusts of some dB."""
    white = rng.normal(size=size)
    # Pink by three poles and zeros: Smith, Spectral Audio Signal Processing, 2011, "Example: Synthesis of 1/F Noise".
    pink = lfilter(
        [0.049922035, -0.095993537, 0.050612699, -0.004408786],
        [1, -2.494956002, 2.017265875, -0.522189400],
        rng.normal(size=size),
    )
    share = rng.choice((0.0, 0.5, 1.0))
    noise = np.sqrt(1 - share) * white + np.sqrt(share) * pink / pink.std()
    gusts = np.interp(np.arange(size), np.linspace(0, size, 9), rng.normal(0, 1.5, 9))
    noise *= 10 ** (gusts / 20)
    return noise / noise.std()


def answer(typed: dict[str, str]) -> tuple[str, Result]:
    """Return what the tool says it is ('' when it cannot tell), and all it says."""
    found = work(tool_named("noise-rhythm"), typed)
    chance = {v.name: v.number for v in found.values if v.name in (*SOURCES, "none")}
    best = max(chance, key=lambda name: chance[name], default="")
    return (best if chance and chance[best] >= SURE else ""), found


def listen(made: Made, path: Path) -> tuple[str, Result]:
    """Return what the tool says of a recording."""
    wavfile.write(path, RATE, (made.samples * 32_000).astype(np.int16))
    return answer({**made.typed, "recording": str(path)})


def shifted(bike: Bike, found: Result) -> Bike:
    """Return the bike in the gear that the tool proposes, as near as its sprockets come."""
    asked = re.search(r"about (\d+) teeth", " ".join(found.says))
    if not asked:
        return bike
    others = [rear for rear in bike.sprockets if rear != bike.rear]
    return replace(bike, rear=min(others, key=lambda rear: abs(np.log(rear / int(asked[1])))))


def planned(bike: Bike) -> Bike:
    """Return the bike in a gear that the tool finds good before anything is recorded, if two changes get there."""
    for _ in range(2):
        gear = {"teeth-front": f"{bike.front}", "teeth-rear": f"{bike.rear}", "jockey-teeth": f"{bike.jockey}"}
        bike = shifted(bike, answer({**gear, "cadence": f"75 +- {75 * READ}"})[1])
    return bike


def judged(said: str, source: str) -> str:
    """Return what kind of answer it is."""
    right = source if source in SOURCES else "none"
    return "right" if said == right else "wrong" if said else "cannot tell"


def measure(
    recordings: int, coast: bool = False, other: bool = False, plan: bool = False
) -> dict[str, Counter[tuple[str, str]]]:
    """Return, for each measure, how often each source was answered with right, wrong or cannot tell."""
    counts: dict[str, Counter[tuple[str, str]]] = {"one recording": Counter(), "as the tool then says": Counter()}
    if not (coast or other):
        counts["told the rates"] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "noise.wav"
        for n in range(recordings):
            rng = np.random.default_rng((2026, n))
            bike = planned(some_bike(rng)) if plan else some_bike(rng)
            made = synthesise(rng, bike, coast, other)
            said, found = listen(made, path)
            counts["one recording"][made.source, judged(said, made.source)] += 1
            if not (coast or other):
                told, _ = answer({**made.typed, "beat-rate": f"{60 * made.rate} +- 0"})
                counts["told the rates"][made.source, judged(told, made.source)] += 1
            if not said and not other:
                said, _ = listen(synthesise(rng, shifted(bike, found), coast, length=20.0), path)
            counts["as the tool then says"][made.source, judged(said, made.source)] += 1
    return counts


def main() -> None:
    """Print the measure."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--recordings", type=int, default=1000)
    parser.add_argument("--coast", action="store_true", help="the last third is coasted")
    parser.add_argument("--other", action="store_true", help="noises that have nothing to do with what turns")
    parser.add_argument("--planned", action="store_true", help="the tool is asked for a good gear beforehand")
    asked = parser.parse_args()
    start = perf_counter()
    kinds = ("right", "cannot tell", "wrong")
    for name, counts in measure(asked.recordings, asked.coast, asked.other, asked.planned).items():
        print(f"{name:22}" + "".join(f"{kind:>13}" for kind in kinds))
        for source in sorted({source for source, _ in counts}):
            print(f"  {source:20}" + "".join(f"{counts[source, kind]:13}" for kind in kinds))
        whole = {kind: sum(count for (_, k), count in counts.items() if k == kind) for kind in kinds}
        print(f"  {'together':20}" + "".join(f"{whole[kind] / asked.recordings:13.1%}" for kind in kinds))
    print(f"{(perf_counter() - start) / asked.recordings * 1000:.0f} ms for each")


if __name__ == "__main__":
    main()
