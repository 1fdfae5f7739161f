"""Log-mel filter bank in PyTorch, equal to Kaldi's to 1e-3 (checked against kaldi-native-fbank).

Settings are those that ``conf/mfcc.conf`` gives to the recogniser at run time: 16 kHz, 25 ms
windows every 10 ms, pre-emphasis 0.97, Povey window, 512-point FFT, 40 triangular filters from 20
to 7600 Hz on the mel scale, natural log of the power.
"""

from __future__ import annotations

import math

import torch
from torch import nn

SAMPLE_RATE = 16_000
WINDOW = 400
SHIFT = 160
FFT = 512
FILTERS = 40
LOW_HERTZ, HIGH_HERTZ = 20.0, 7600.0
WARPS = (0.84, 0.88, 0.92, 0.96, 1.0, 1.04, 1.09, 1.14, 1.19)  # other lengths of the vocal tract
WARPED_TO = 6800.0  # hertz up to which a warp is a plain factor
FLOOR = 1.1920929e-07  # smallest power, as Kaldi: the epsilon of a 32-bit float


def _mel(hertz: torch.Tensor) -> torch.Tensor:
    return 1127.0 * torch.log(1.0 + hertz / 700.0)


def _warped(hertz: torch.Tensor, factor: float) -> torch.Tensor:
    """Where a sound goes when formants are multiplied by ``factor``; 8 kHz stays where it is.

    Piecewise linear, as in vocal tract length normalisation (Eide and Gish, ICASSP 1996).
    """
    knee, top = WARPED_TO / max(1.0, factor), SAMPLE_RATE / 2
    above = factor * knee + (hertz - knee) * (top - factor * knee) / (top - knee)
    return torch.where(hertz <= knee, hertz * factor, above)


def mel_filters(warp: float = 1.0) -> torch.Tensor:
    """Triangular filters, shape (FFT // 2 + 1, FILTERS), for a voice whose formants are warped."""
    edges = torch.linspace(
        _mel(torch.tensor(LOW_HERTZ)).item(), _mel(torch.tensor(HIGH_HERTZ)).item(), FILTERS + 2
    ).double()
    bins = torch.arange(FFT // 2 + 1).double() * SAMPLE_RATE / FFT
    bins = _mel(_warped(bins, warp))[:, None]
    left, centre, right = edges[:-2], edges[1:-1], edges[2:]
    rising = (bins - left) / (centre - left)
    falling = (right - bins) / (right - centre)
    filters = torch.minimum(rising, falling).clamp(min=0)
    filters[-1] = 0  # Kaldi leaves the Nyquist bin out
    return filters.float()


class FilterBank(nn.Module):
    """Samples on the 16-bit scale, shape (batch, samples) -> (batch, frames, FILTERS).

    ``warps``, (batch,), gives each wave's place in WARPS; without it no formant moves.
    """

    def __init__(self) -> None:
        super().__init__()
        ramp = torch.arange(WINDOW).float() * (2 * math.pi / (WINDOW - 1))
        self.register_buffer("window", (0.5 - 0.5 * torch.cos(ramp)) ** 0.85, persistent=False)
        self.register_buffer("filters", mel_filters(), persistent=False)
        warped = torch.stack([mel_filters(warp) for warp in WARPS])
        self.register_buffer("warped", warped, persistent=False)

    def forward(self, samples: torch.Tensor, warps: torch.Tensor | None = None) -> torch.Tensor:
        frames = samples.unfold(1, WINDOW, SHIFT)
        frames = frames - frames.mean(2, keepdim=True)
        emphasised = torch.cat(
            [frames[..., :1] * (1 - 0.97), frames[..., 1:] - 0.97 * frames[..., :-1]], 2
        )
        power = torch.fft.rfft(emphasised * self.window, FFT).abs().pow(2)
        filters = self.filters if warps is None else self.warped[warps]
        return torch.log((power @ filters).clamp(min=FLOOR))


def frame_count(samples: int) -> int:
    """Frames of a clip of so many samples (Kaldi's snip-edges rule)."""
    return max(0, (samples - WINDOW) // SHIFT + 1)
