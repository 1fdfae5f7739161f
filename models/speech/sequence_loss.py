"""Sequence-level training: how much better is the right phone sequence than all others?

    loss = -(score of the reference, all alignments) + (score of every sequence, all alignments)

The second term (the denominator) runs over a phone bigram, as in lattice-free MMI (Povey et al.,
Interspeech 2016) and CTC-CRF (Xiang and Ou, ICASSP 2019), here with the selfless topology of
``losses``. Phones are network outputs 1 and up; state 0 of the bigram is the beginning.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable

import numpy as np
import torch

from .losses import triton

if triton is not None:
    import triton.language as tl

    @triton.jit
    def _forward_kernel(
        scores,
        bigram,
        lengths,
        alpha,
        flow,
        total,
        frames,
        OUTPUTS: tl.constexpr,
        BLOCK: tl.constexpr,
    ):
        item = tl.program_id(0)
        state = tl.arange(0, BLOCK)
        real = state < OUTPUTS
        grid = state[:, None] * OUTPUTS + state[None, :]
        moves = tl.load(bigram + grid, real[:, None] & real[None, :], 0.0)
        base = item.to(tl.int64) * frames * OUTPUTS
        length = tl.load(lengths + item)
        row = tl.where(state == 0, 1.0, 0.0)
        score = 0.0
        for t in range(length):
            here = tl.load(scores + base + t * OUTPUTS + state, real, -1e30)
            top = tl.max(here, 0)
            chance = tl.exp(here - top)
            blank = tl.sum(tl.where(state == 0, chance, 0.0), 0)
            into = tl.sum(row[:, None] * moves, 0)
            tl.store(alpha + base + t * OUTPUTS + state, row, real)
            tl.store(flow + base + t * OUTPUTS + state, into, real)
            row = blank * row + tl.where(state == 0, 0.0, chance) * into
            mass = tl.sum(row, 0)
            row = row / mass
            score += tl.log(mass) + top
        tl.store(total + item, score)

    @triton.jit
    def _backward_kernel(
        scores,
        bigram,
        lengths,
        alpha,
        flow,
        posterior,
        frames,
        OUTPUTS: tl.constexpr,
        BLOCK: tl.constexpr,
    ):
        item = tl.program_id(0)
        state = tl.arange(0, BLOCK)
        real = state < OUTPUTS
        grid = state[:, None] * OUTPUTS + state[None, :]
        moves = tl.load(bigram + grid, real[:, None] & real[None, :], 0.0)
        base = item.to(tl.int64) * frames * OUTPUTS
        length = tl.load(lengths + item)
        row = tl.where(real, 1.0, 0.0)
        for back in range(length):
            t = length - 1 - back
            here = tl.load(scores + base + t * OUTPUTS + state, real, -1e30)
            chance = tl.exp(here - tl.max(here, 0))
            blank = tl.sum(tl.where(state == 0, chance, 0.0), 0)
            chance = tl.where(state == 0, 0.0, chance)
            before = tl.load(alpha + base + t * OUTPUTS + state, real, 0.0)
            into = tl.load(flow + base + t * OUTPUTS + state, real, 0.0)
            phone = chance * into * row
            stay = blank * tl.sum(before * row, 0)
            mass = tl.sum(phone, 0) + stay
            found = tl.where(state == 0, stay, phone) / mass
            tl.store(posterior + base + t * OUTPUTS + state, found, real)
            row = blank * row + tl.sum(moves * (chance * row)[None, :], 1)
            row = row / tl.max(row, 0)


class _Denominator(torch.autograd.Function):
    """Log sum of the scores of all phone sequences; the gradient is their frame posteriors."""

    @staticmethod
    def forward(context, scores, bigram, lengths):
        """scores (B, T, outputs), bigram (outputs, outputs), lengths (B,) -> (B,)."""
        batch, frames, outputs = scores.shape
        scores = scores.contiguous()
        alpha, flow = torch.empty_like(scores), torch.empty_like(scores)
        total = torch.empty(batch, device=scores.device)
        block = triton.next_power_of_2(outputs)
        _forward_kernel[(batch,)](
            scores, bigram, lengths, alpha, flow, total, frames, outputs, block, num_warps=4
        )
        context.save_for_backward(scores, bigram, lengths, alpha, flow)
        return total

    @staticmethod
    def backward(context, gradient):
        scores, bigram, lengths, alpha, flow = context.saved_tensors
        batch, frames, outputs = scores.shape
        posterior = torch.zeros_like(scores)
        block = triton.next_power_of_2(outputs)
        _backward_kernel[(batch,)](
            scores, bigram, lengths, alpha, flow, posterior, frames, outputs, block, num_warps=4
        )
        return posterior * gradient[:, None, None], None, None


def denominator(scores: torch.Tensor, bigram: torch.Tensor, lengths: torch.Tensor) -> torch.Tensor:
    """Log sum over all phone sequences and alignments, (B,); needs Triton."""
    return _Denominator.apply(scores, bigram, lengths)


def phone_bigram(sequences: Iterable[tuple[int, ...]], outputs: int) -> torch.Tensor:
    """Probability of each phone after each phone (row 0: at the beginning), a little smoothed."""
    flat = np.fromiter(itertools.chain.from_iterable((0, *s) for s in sequences), np.int64)
    before, phone = flat[:-1], flat[1:]
    counts = np.bincount(before * outputs + phone, minlength=outputs * outputs)
    counts = torch.from_numpy(counts.reshape(outputs, outputs)).float() + 0.1
    counts[:, 0] = 0
    return counts / counts.sum(1, keepdim=True)
