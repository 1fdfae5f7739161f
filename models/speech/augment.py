"""What a workshop does to a voice, made on the training device for a whole batch of waveforms.

Every function takes waves (batch, samples) on the 16-bit scale and returns the same shape. The
strength ``ramp`` (0 to 1) grows during training: heavy noise from the first step stops CTC from
starting.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass

import torch
import torch.nn.functional as functional

from .features import SAMPLE_RATE

SPEEDS = (0.84, 1.2)  # how fast a wave is played
PLAYED_AS_IS = 0.3  # share of the waves of a batch whose speed stays
NOISE_DECIBELS = (-2.0, 28.0)  # how far noise lies below the voice
NOISY_SHARE = 0.65  # of the waves of a batch with noise
QUIET = 0.002  # of a wave's peak: softer samples are pauses


def _rms(waves: torch.Tensor) -> torch.Tensor:
    return waves.pow(2).mean(1, keepdim=True).sqrt().clamp(min=1e-6)


def _uniform(waves: torch.Tensor, low: float, high: float) -> torch.Tensor:
    return torch.empty(len(waves), 1, device=waves.device).uniform_(low, high)


def _filtered(waves: torch.Tensor, gains: torch.Tensor) -> torch.Tensor:
    """Multiplies the spectrum by gains (batch, any number of points from 0 to 8 kHz)."""
    size = 1 << waves.shape[1].bit_length()
    curve = functional.interpolate(
        gains[:, None], size=size // 2 + 1, mode="linear", align_corners=True
    )[:, 0]
    return torch.fft.irfft(torch.fft.rfft(waves, size) * curve, size)[:, : waves.shape[1]]


def _convolved(waves: torch.Tensor, response: torch.Tensor) -> torch.Tensor:
    size = 1 << (waves.shape[1] + response.shape[1]).bit_length()
    spectrum = torch.fft.rfft(waves, size) * torch.fft.rfft(response, size)
    return torch.fft.irfft(spectrum, size)[:, : waves.shape[1]]


def change_speed(waves: torch.Tensor) -> tuple[torch.Tensor, list[float]]:
    """Each wave played faster or slower (pitch and formants move), and the factor of its length.

    Cubic interpolation (Catmull and Rom) between the four nearest samples.
    """
    rates = torch.empty(len(waves), 1).uniform_(*map(math.log, SPEEDS)).exp()  # the host's: no wait
    rates[torch.rand_like(rates) < PLAYED_AS_IS] = 1.0
    factors = (1 / rates[:, 0]).tolist()
    length = math.ceil(waves.shape[1] * max(factors))
    rates = rates.to(waves.device)
    places = torch.arange(length, device=waves.device) * rates
    whole = places.long()
    part = places - whole
    padded = functional.pad(waves, (1, 4))
    last = padded.shape[1] - 1
    before, here, after, later = (
        padded.gather(1, (whole + shift).clamp(max=last)) for shift in range(4)
    )
    curve = 2 * before - 5 * here + 4 * after - later
    bend = curve + part * (3 * (here - after) + later - before)
    return here + 0.5 * part * (after - before + part * bend), factors


def add_room(waves: torch.Tensor) -> torch.Tensor:
    """A decaying random echo of 50 to 500 ms."""
    length = 4_000
    time = torch.arange(length, device=waves.device) / SAMPLE_RATE
    decay = torch.exp(-6.9 * time / _uniform(waves, 0.05, 0.5))
    echo = (
        torch.randn(len(waves), length, device=waves.device) * decay * _uniform(waves, 0.02, 0.25)
    )
    echo[:, 0] = 1
    return _convolved(waves, echo)


def colour(waves: torch.Tensor) -> torch.Tensor:
    """Random microphone: a smooth random equaliser, now and then cut above 3 to 7.5 kHz."""
    gains = 10 ** (torch.randn(len(waves), 14, device=waves.device) * 4 / 20)
    if random.random() < 0.3:
        hertz = torch.linspace(0, 8_000, 14, device=waves.device)
        gains = gains * torch.sigmoid((random.uniform(3_000, 7_500) - hertz) / 200)
    return _filtered(waves, gains)


def _rushing(waves: torch.Tensor) -> torch.Tensor:
    """Air, spray, fans: white to steeply falling noise with a random smooth colour."""
    tilt = torch.linspace(0.02, 1, 24, device=waves.device)[None] ** -_uniform(waves, 0, 1.2)
    ripple = 10 ** (torch.randn(len(waves), 24, device=waves.device) * 5 / 20)
    return _filtered(torch.randn_like(waves), tilt * ripple)


def _hiss(waves: torch.Tensor) -> torch.Tensor:
    """White noise, which hides consonants most."""
    return torch.randn_like(waves)


def _babble(waves: torch.Tensor) -> torch.Tensor:
    others = sum(torch.roll(waves, shift, 0) * gain for shift, gain in ((1, 1), (2, 0.7), (3, 0.5)))
    return torch.roll(others, random.randint(0, waves.shape[1]), 1)


def _engine(waves: torch.Tensor) -> torch.Tensor:
    """Motors, compressors, mains hum: harmonics of a root that wanders, and some rushing air."""
    time = torch.arange(waves.shape[1], device=waves.device) / SAMPLE_RATE
    root = 22 * 2 ** _uniform(waves, 0, 4.5)
    wander = _uniform(waves, 0, 0.6) * torch.sin(time * _uniform(waves, 0.5, 6))
    turns = 2 * math.pi * root * time + wander
    slope = _uniform(waves, 0, 1.5)
    tones = sum(
        _uniform(waves, 0, 1) / k**slope * torch.sin(k * turns + _uniform(waves, 0, 6.3))
        for k in range(1, 16)
    )
    return tones + _uniform(waves, 0.05, 0.5) * torch.randn_like(waves)


def _blows(waves: torch.Tensor) -> torch.Tensor:
    """Hammer blows and clatter: bursts at random or in a rhythm, dull or ringing."""
    batch, length = waves.shape
    struck = torch.zeros_like(waves)
    rhythm = random.random() < 0.4
    count = max(1, int(length / SAMPLE_RATE * 10 ** random.uniform(-0.7, 1.0)))
    if rhythm:
        start = torch.randint(0, SAMPLE_RATE, (batch, 1), device=waves.device)
        places = start + torch.arange(count, device=waves.device) * (length // count)
    else:
        places = torch.randint(0, length, (batch, count), device=waves.device)
    strength = torch.rand(batch, count, device=waves.device) + 0.2
    struck.scatter_(1, places.clamp(max=length - 1), strength)
    time = torch.arange(8_000, device=waves.device) / SAMPLE_RATE
    ring = torch.sin(2 * math.pi * _uniform(waves, 300, 5_000) * time) * _uniform(waves, 0, 2)
    burst = (torch.randn(batch, 8_000, device=waves.device) + ring) * torch.exp(
        -time / (0.004 * 2 ** _uniform(waves, 0, 5))
    )
    return _convolved(struck, burst) + 0.02 * torch.randn_like(waves)


@dataclass(frozen=True, slots=True)
class Noises:
    """Recorded noise: one array of samples on the training device; how many waves get any noise."""

    samples: torch.Tensor
    share: float = NOISY_SHARE

    def like(self, waves: torch.Tensor) -> torch.Tensor:
        """A random stretch for each wave."""
        starts = torch.randint(0, len(self.samples), (len(waves), 1), device=waves.device)
        places = starts + torch.arange(waves.shape[1], device=waves.device)
        return self.samples[places % len(self.samples)].float()


def loudness_of(waves: torch.Tensor) -> torch.Tensor:
    """Root mean square of each voice without its pauses, (batch, 1)."""
    heard = (waves.abs() > QUIET * waves.abs().amax(1, keepdim=True)).float()
    return (
        (waves * heard).pow(2).sum(1, keepdim=True) / heard.sum(1, keepdim=True).clamp(min=1)
    ).sqrt()


def add_noise(waves: torch.Tensor, noises: Noises, loudness: torch.Tensor) -> torch.Tensor:
    """One to three kinds of noise in each wave, NOISE_DECIBELS below ``loudness`` (batch, 1).

    Some waves of every batch stay free of it.
    """
    kinds = (noises.like, _rushing, _hiss, _babble, _engine, _blows)
    chosen = random.sample(kinds, 3)
    shares = _shares(waves, len(chosen))
    noise = sum(
        shares[:, at : at + 1] * sound / _rms(sound)
        for at, sound in enumerate(kind(waves) for kind in chosen)
    )
    decibels = _uniform(waves, *NOISE_DECIBELS)
    present = torch.rand(len(waves), 1, device=waves.device) < noises.share
    return waves + present * noise / _rms(noise) * loudness * 10 ** (-decibels / 20)


def _shares(waves: torch.Tensor, count: int) -> torch.Tensor:
    """Random strengths of ``count`` noises, (batch, count); mostly one is far the strongest."""
    return torch.rand(len(waves), count, device=waves.device).pow(4) + 1e-3


def change_level(waves: torch.Tensor) -> torch.Tensor:
    """-28 to +6 dB, sometimes into clipping; then the 16-bit grid and a little hiss."""
    waves = waves * 10 ** (_uniform(waves, -28, 6) / 20)
    if random.random() < 0.9:
        peak = waves.abs().amax(1, keepdim=True)
        waves = torch.where(peak > 32_000, waves * (32_000 / peak), waves)
    return (
        waves.clamp(-32_768, 32_767) + torch.randn_like(waves) * random.choice((0, 1, 4))
    ).round()


def disturb(waves: torch.Tensor, noises: Noises, ramp: float) -> torch.Tensor:
    """Room, microphone, noise and level, each with a chance that grows with ``ramp``."""
    loudness = loudness_of(waves)
    if random.random() < 0.4 * ramp:
        waves = add_room(waves)
    if random.random() < 0.5 * ramp:
        waves = colour(waves)
    if random.random() < ramp:
        waves = add_noise(waves, noises, loudness)
    return change_level(waves)


def mask(features: torch.Tensor, fill: float, ramp: float) -> torch.Tensor:
    """SpecAugment (Park et al., 2019): bands of filters and stretches of time set to ``fill``."""
    batch, frames, filters = features.shape
    device = features.device

    def strip(length: int, widest: int) -> torch.Tensor:
        start = (torch.rand(batch, 1, device=device) * length).long()
        width = torch.randint(0, widest, (batch, 1), device=device)
        places = torch.arange(length, device=device)[None]
        return (places >= start) & (places < start + width)

    if ramp == 0:
        return features
    for _ in range(2):
        features = torch.where(strip(filters, 7)[:, None, :], fill, features)
    for _ in range(max(1, frames // 150)):
        features = torch.where(strip(frames, 14)[:, :, None], fill, features)
    return features
