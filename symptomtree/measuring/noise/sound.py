"""What is in a recording: beats, fast rattles, and tones that last.

Noise is louder at some pitches than at others (wind and road are low), so each band of pitches is first divided by what
is usual in it; a beat is where that rises in many bands, or in one very much.
"""

import warnings
from dataclasses import dataclass
from os import fstat
from pathlib import Path

import numpy as np

from symptomtree.measuring.tool import BadInput

MOST_BYTES = 64_000_000
SHORTEST, LONGEST = 3.0, 60.0
LOWEST_RATE = 4000
HOP = 0.002
"""Seconds from one look at the sound to the next."""
_WINDOW = 0.006
_NOISE_TAIL = 8.1  # mean of the loudest hundredth of noise over its median: (ln 100 + 1) / ln 2, for power of one pitch
_LULL = 0.07  # a beat ends when it has been quiet for so long, in seconds
_SLOWEST_RATTLE = 12.0  # Hz
_SLOW = 0.016  # over which a beat's rise is looked for, in seconds


@dataclass(frozen=True, slots=True)
class Recording:
    """A sound, one channel, with its mean taken off."""

    samples: np.ndarray
    rate: int

    @property
    def length(self) -> float:
        """Return the seconds it lasts."""
        return len(self.samples) / self.rate


def read_recording(path: str) -> Recording:
    """Read a WAV file.

    Raises:
        BadInput: there is none, it is none, or nothing can be heard in it.
    """
    from scipy.io import wavfile

    name = Path(path).name[:60]
    try:
        with Path(path).expanduser().open("rb") as file, warnings.catch_warnings():
            warnings.simplefilter("ignore", wavfile.WavFileWarning)  # chunks that say who recorded it
            if fstat(file.fileno()).st_size > MOST_BYTES:
                raise BadInput(
                    f"recording: {name} is over {MOST_BYTES / 1e6:.0f} MB; cut out half a minute", "recording"
                )
            rate, samples = wavfile.read(file)
    except OSError as error:
        raise BadInput(
            f"recording: {name} cannot be opened: {error.strerror}; see that it is there", "recording"
        ) from error
    except BadInput:
        raise
    except Exception as error:  # the reader raises whatever its parsing stumbles over
        raise BadInput(f"recording: {name} is no WAV file; save the recording as WAV (PCM)", "recording") from error
    return recording_of(samples, rate, name)


def recording_of(samples: np.ndarray, rate: int, name: str = "the recording") -> Recording:
    """Return a recording of samples as they come (channels in columns).

    Raises:
        BadInput: too short, too long, too coarse, broken or silent.
    """
    length = len(samples) / rate if rate > 0 else 0.0
    if rate < LOWEST_RATE:
        raise BadInput(f"recording: {name} has {rate} samples a second; record with {LOWEST_RATE} or more", "recording")
    if not SHORTEST <= length <= LONGEST:
        raise BadInput(
            f"recording: {name} lasts {length:.1f} s; give one of {SHORTEST:.0f} to {LONGEST:.0f} s", "recording"
        )
    plain = np.asarray(samples, dtype=np.float64)
    plain = plain.mean(axis=1) if plain.ndim > 1 else plain
    if not np.isfinite(plain).all():
        raise BadInput(f"recording: {name} holds samples that are no numbers; save it anew as WAV (PCM)", "recording")
    plain = plain - plain.mean()
    loudest = float(np.abs(plain).max())
    if loudest <= 0:
        raise BadInput(f"recording: {name} is silent; see that the microphone was on", "recording")
    return Recording(plain / loudest, int(rate))


def pitches(sound: Recording, window: float, hop: float) -> tuple[np.ndarray, np.ndarray]:
    """Return frequencies in Hz, and the power at each (rows) in each look (columns)."""
    size, step = max(16, round(window * sound.rate)), max(1, round(hop * sound.rate))
    around = np.pad(sound.samples, (size // 2, size)).astype(np.float32)
    looks = np.lib.stride_tricks.sliding_window_view(around, size)[: len(sound.samples) : step]
    power = np.abs(np.fft.rfft(looks * np.hanning(size).astype(np.float32), axis=1)) ** 2
    return np.fft.rfftfreq(size, 1 / sound.rate), np.asarray(power.T)


def loudness(sound: Recording) -> np.ndarray:
    """Return how many times its own background the sound is, in each look of `HOP` seconds.

    Pitches at which now and then it is far louder than noise ever is count the more: they are the noise's own.
    """
    heights, power = pitches(sound, _WINDOW, HOP)
    bands = power[(heights >= 150) & (heights <= 10_000)] + 1e-12
    bands /= np.median(bands, axis=1, keepdims=True)
    few = max(1, bands.shape[1] // 100)
    loudest = np.partition(bands, -few, axis=1)[:, -few:].mean(axis=1)
    weight = np.clip(loudest / max(np.quantile(loudest, 0.25), _NOISE_TAIL) - 1.1, 0, 20) + 0.02
    return np.asarray(weight @ bands / weight.sum())


def onsets(loud: np.ndarray) -> np.ndarray:
    """Return when beats begin, in seconds; a creak of many small jerks is one beat."""
    from scipy.ndimage import uniform_filter1d

    level = np.log(uniform_filter1d(loud, round(_SLOW / HOP)))
    # A creak may fill half the time: what noise is like is told by the quieter looks, as if it were Gaussian.
    low, quarter, top = (float(q) for q in np.quantile(level, (0.05, 0.25, 0.998)))
    noise = (quarter - low) / 0.97
    middle = quarter + 0.67 * noise
    # Over the noise, and at least a third of the way up to the loudest; what is softer is another thing's sound.
    bar = middle + max(4 * noise, 0.35 * (top - middle))
    on = np.flatnonzero(level > bar)
    if not len(on):
        return np.array([])
    return np.asarray(on[np.r_[True, np.diff(on) > _LULL / HOP]] * HOP)


def rattle(loud: np.ndarray) -> tuple[float, float] | None:
    """Return the rate of a rattle too fast to be heard as beats, and its uncertainty, both in Hz.

    It is one that lasts: found in most seconds, at nearly the same rate. None when there is none.
    """
    size = round(1.0 / HOP)
    level = np.log(loud)
    found = []
    for start in range(0, len(level) - size + 1, size // 2):
        part = level[start : start + size]
        power = np.abs(np.fft.rfft((part - part.mean()) * np.hanning(size), 4 * size)) ** 2
        rates = np.fft.rfftfreq(4 * size, HOP)
        band = (rates >= _SLOWEST_RATTLE) & (rates <= 200)
        peak = int(np.argmax(np.where(band, power, 0)))
        strong = power[peak] / max(float(np.median(power[band])), 1e-12)  # nothing at all, where nothing is recorded
        if power[(rates > 1.5) & (rates < _SLOWEST_RATTLE - 1)].max() > power[peak]:
            strong = 0.0  # beats, and this is a multiple of their rate
        lower = rates[peak] / 2  # a train of pulses may be strongest at twice its rate
        half = np.abs(rates - lower) < 1
        if lower >= _SLOWEST_RATTLE and power[half].max() > 0.25 * power[peak]:
            peak = int(np.argmax(np.where(half, power, 0)))
        found.append((float(rates[peak]), float(strong)))
    steady = np.array([rate for rate, strong in found if strong > 30])
    if len(steady) < 0.6 * len(found):
        return None
    middle = float(np.median(steady))
    near = steady[np.abs(steady / middle - 1) < 0.1]
    if len(near) < 0.6 * len(found):
        return None
    return float(near.mean()), float(max(near.std() / np.sqrt(len(near)), 0.01 * middle))


@dataclass(frozen=True, slots=True)
class Tone:
    """A pitch that lasts: Hz at each time (s) at which it sounds, and what share of the looks that is."""

    times: np.ndarray
    heights: np.ndarray
    share: float


def tone(sound: Recording, low: float = 250.0, high: float = 12_000.0) -> Tone | None:
    """Return the strongest tone, as it stands out of its surroundings of pitches; None when none does."""
    from scipy.ndimage import binary_opening, median_filter

    window, hop = 0.06, 0.03
    heights, power = pitches(sound, window, hop)
    band = (heights >= low) & (heights <= min(high, sound.rate / 2 * 0.95))
    heights, level = heights[band], np.log(power[band] + 1e-12)
    wide = max(5, round(400 / (heights[1] - heights[0])) | 1)
    out = level - median_filter(level, size=(wide, 1))
    top = out.argmax(axis=0)
    looks = np.arange(out.shape[1])
    clear = out[top, looks] > 4.5  # 20 dB over its surroundings; noise alone hardly gets to 3
    clear = binary_opening(clear, np.ones(6))  # a tone lasts; the ring of a click does not
    if clear.sum() < 4:
        return None
    times, at = looks[clear] * hop, top[clear]
    # The vertex of the parabola through the peak and its neighbours (Smith and Serra 1987).
    left, middle, right = (level[np.clip(at + d, 0, len(heights) - 1), looks[clear]] for d in (-1, 0, 1))
    bend = left - 2 * middle + right
    shift = np.where(bend < 0, (left - right) / (2 * np.where(bend < 0, bend, -1)), 0)
    found = heights[at] + np.clip(shift, -0.5, 0.5) * (heights[1] - heights[0])
    same = np.abs(np.log(found / np.median(found))) < 0.4  # one tone, not its octave now and then
    return Tone(times[same], found[same], float(same.sum() / len(looks))) if same.sum() >= 4 else None
