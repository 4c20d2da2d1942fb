"""Recordings, tones that last, and the rates of a bearing as the tools give them."""

import warnings
import wave
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile
from scipy.signal import chirp

from symptomtree.measuring.noise import TOOLS
from symptomtree.measuring.noise.sound import (
    Recording,
    loudness,
    onsets,
    pitches,
    rattle,
    read_recording,
    recording_of,
    tone,
)
from symptomtree.measuring.tool import BadInput, work

RATE = 16_000
SQUEAL, BEARING = TOOLS["squeal-tone"], TOOLS["bearing-rates"]


def with_noise(sound: np.ndarray, below: float = 10.0) -> np.ndarray:
    rng = np.random.default_rng(4)
    return sound + rng.normal(size=len(sound)) * np.sqrt(np.mean(sound**2) / 10 ** (below / 10))


def squealing(start: float, end: float, seconds: float = 5.0) -> np.ndarray:
    """A tone that glides, as the signal library makes it."""
    time = np.arange(0, seconds, 1 / RATE)
    return np.asarray(chirp(time, start, seconds, end, method="logarithmic"))


def stored(path: Path, sound: np.ndarray) -> str:
    wavfile.write(path, RATE, (sound / np.abs(sound).max() * 32_000).astype(np.int16))
    return str(path)


# Files


@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.int32, np.float32])
@pytest.mark.parametrize("channels", [1, 2])
def test_any_usual_wav_is_read(tmp_path: Path, kind: type, channels: int) -> None:
    sound = squealing(1000, 1000) * 0.5
    scaled = {np.uint8: sound * 100 + 128, np.int16: sound * 3e4, np.int32: sound * 2e9, np.float32: sound}[kind]
    wavfile.write(tmp_path / "a.wav", RATE, np.repeat(scaled[:, None], channels, axis=1).astype(kind))
    read = read_recording(str(tmp_path / "a.wav"))
    assert read.rate == RATE
    assert read.length == pytest.approx(5.0)
    assert np.abs(read.samples).max() == 1
    found = tone(read)
    assert found is not None
    assert np.median(found.heights) == pytest.approx(1000, abs=2)


def test_another_reader_agrees(tmp_path: Path) -> None:
    """The language's own reader finds the same samples."""
    path = stored(tmp_path / "a.wav", with_noise(squealing(800, 900)))
    with wave.open(path) as file:
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype=np.int16).astype(float)
    samples -= samples.mean()
    assert read_recording(path).samples == pytest.approx(samples / np.abs(samples).max())


def test_what_is_no_recording_is_refused(tmp_path: Path) -> None:
    (tmp_path / "text.wav").write_text("not a sound")
    (tmp_path / "empty.wav").write_bytes(b"")
    good = Path(stored(tmp_path / "good.wav", squealing(500, 500))).read_bytes()
    (tmp_path / "head.wav").write_bytes(good[:30])
    for name in ("text.wav", "empty.wav", "head.wav"):
        with pytest.raises(BadInput, match="no WAV file") as told:
            read_recording(str(tmp_path / name))
        assert told.value.field == "recording"
    for path in (tmp_path, tmp_path / "missing.wav"):
        with pytest.raises(BadInput, match="cannot be opened"):
            read_recording(str(path))
    with (tmp_path / "huge.wav").open("wb") as file:
        file.truncate(65_000_000)
    with pytest.raises(BadInput, match="64 MB"):
        read_recording(str(tmp_path / "huge.wav"))


@pytest.mark.parametrize(
    ("samples", "rate", "words"),
    [
        (np.ones(RATE), RATE, "lasts 1.0 s"),
        (np.ones(70 * 4000), 4000, "lasts 70.0 s"),
        (np.zeros(5 * RATE), RATE, "silent"),
        (np.full(5 * RATE, np.nan), RATE, "no numbers"),
        (np.ones(20_000), 2000, "record with 4000"),
    ],
)
def test_recordings_that_will_not_do(samples: np.ndarray, rate: int, words: str) -> None:
    with pytest.raises(BadInput, match=words):
        recording_of(samples, rate)


# Beats and rattles


def test_pitches_of_a_sine() -> None:
    heights, power = pitches(Recording(squealing(2000, 2000), RATE), 0.02, 0.01)
    assert heights[power.mean(axis=1).argmax()] == pytest.approx(2000, abs=25)
    assert power.shape[1] == 500


def test_clicks_are_found_where_they_are() -> None:
    """Short rings at known times, 10 dB over the noise while they sound."""
    times = np.array([0.5, 1.1, 1.9, 2.2, 3.4, 4.0])
    sound = np.zeros(5 * RATE)
    ring = np.exp(-np.arange(400) / 80) * np.sin(2 * np.pi * 2500 / RATE * np.arange(400))
    for time in times:
        sound[round(time * RATE) :][:400] += ring
    noise = np.random.default_rng(2).normal(size=len(sound)) * np.sqrt(np.mean(ring[:200] ** 2) / 10)
    found = onsets(loudness(recording_of(sound + noise, RATE)))
    assert found == pytest.approx(times, abs=0.015)


def test_a_rattle_has_its_rate_and_beats_are_none() -> None:
    time = np.arange(0, 8, 1 / RATE)
    noise = np.random.default_rng(6).normal(size=len(time))
    for rate in (25, 47, 80):
        fast = noise * (np.sin(np.pi * rate * time) ** 8 + 0.1)
        found = rattle(loudness(recording_of(fast, RATE)))
        assert found is not None
        assert found[0] == pytest.approx(rate, rel=0.02)
    assert rattle(loudness(recording_of(noise, RATE))) is None
    slow = noise * (np.sin(np.pi * 2 * time) ** 20 + 0.05)
    assert rattle(loudness(recording_of(slow, RATE))) is None


# Squeal


@pytest.mark.parametrize(
    ("height", "word"),
    # Nakae et al., Squeal and chatter phenomena generated in a mountain bike disc brake (2011): 1 kHz and 500 Hz;
    # squeal of road vehicles' discs lies between 1 and 16 kHz.
    [(1000.0, "squeal"), (500.0, "chatter"), (5000.0, "squeal")],
)
def test_brake_noise_by_its_published_pitch(tmp_path: Path, height: float, word: str) -> None:
    result = work(SQUEAL, {"recording": stored(tmp_path / "a.wav", with_noise(squealing(height, height)))})
    pitch = result.value("pitch")
    assert pitch is not None
    assert pitch.number == pytest.approx(height, rel=0.002)
    assert word in result.says[0]
    assert result.picture is not None
    lines = result.picture(76, 20)
    assert len(lines) <= 20
    assert max(map(len, lines)) <= 76


def test_what_rings_stays_and_what_passes_follows(tmp_path: Path) -> None:
    speeds = {"speed-before": "24 km/h", "speed-after": "12 km/h"}
    rings = work(SQUEAL, {**speeds, "recording": stored(tmp_path / "a.wav", with_noise(squealing(1500, 1510)))})
    passes = work(SQUEAL, {**speeds, "recording": stored(tmp_path / "b.wav", with_noise(squealing(1200, 600)))})
    assert "own pitch" in rings.says[0]
    assert "goes with the speed" in passes.says[0]
    doubtful = work(SQUEAL, {**rings.given, "speed-before": "24 +- 1", "speed-after": "21 +- 1"})
    assert "own pitch" in doubtful.says[0]
    little = work(SQUEAL, {**passes.given, "speed-before": "24 +- 6", "speed-after": "12 +- 4"})
    assert "Too close to call" in little.says[0]
    found = passes.value("follows-speed")
    assert found is not None
    assert found.number == pytest.approx(1, abs=0.05)
    drift = rings.value("drift")
    assert drift is not None
    assert drift.number == pytest.approx(100 * np.log(1510 / 1500), abs=0.3)


def test_no_tone_in_noise(tmp_path: Path) -> None:
    noise = np.random.default_rng(9).normal(size=6 * RATE)
    result = work(SQUEAL, {"recording": stored(tmp_path / "a.wav", noise)})
    assert result.value("pitch") is None
    assert "No tone" in result.says[0]


def test_clicks_that_ring_are_no_tone() -> None:
    time = np.arange(0, 6, 1 / RATE)
    rings = np.sin(2 * np.pi * 3000 * time) * np.exp(-(time % 0.75) / 0.01)
    assert tone(recording_of(with_noise(rings, 0.0), RATE)) is None


def test_a_single_click_in_silence_is_no_rattle() -> None:
    """Bands in which nothing at all was recorded divide by nothing."""
    sound = np.zeros(5 * RATE)
    sound[2 * RATE] = 1.0
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert rattle(loudness(recording_of(sound, RATE))) is None


def test_speeds_come_in_pairs_and_differ(tmp_path: Path) -> None:
    path = stored(tmp_path / "a.wav", with_noise(squealing(1500, 1500)))
    with pytest.raises(BadInput, match="speed-after is missing"):
        work(SQUEAL, {"recording": path, "speed-before": "20"})
    with pytest.raises(BadInput, match="hardly differs"):
        work(SQUEAL, {"recording": path, "speed-before": "20", "speed-after": "20.5"})


# Bearings


def test_bearing_rates_as_published() -> None:
    """Bearing fault frequency (engineering formula page), example: 8 balls of 10 on 50 mm at 1800 a minute."""
    typed = {"bearing-balls": "8", "ball-diameter": "10", "bearing-pitch": "50", "turns": "1800"}
    result = work(BEARING, {**typed, "bearing-place": "cranks"})
    assert {v.name: round(v.number, 6) for v in result.values} == {
        "bearing-cage": 12,
        "bearing-outer": 96,
        "bearing-inner": 144,
        "bearing-ball": 72,
    }
    assert all(v.error > 0 and v.also for v in result.values)


def test_balls_that_do_not_fit() -> None:
    with pytest.raises(BadInput, match="do not fit"):
        work(BEARING, {**BEARING.example, "bearing-balls": "16"})
    # Nine of 6.35 mm need 6.35 / sin(20 deg) = 18.57 mm; along the arc of 18.3 mm they would seem to fit.
    with pytest.raises(BadInput, match="do not fit"):
        work(BEARING, {**BEARING.example, "bearing-pitch": "18.3"})
    assert work(BEARING, {**BEARING.example, "bearing-pitch": "18.6"}).values
    assert work(BEARING, BEARING.example).value("bearing-outer")
