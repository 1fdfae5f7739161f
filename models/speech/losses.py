"""CTC without label self-loops: every phone takes exactly one frame, blanks fill the rest.

With wide-context networks this topology loses no accuracy and makes decoding graphs less than half
as large (Laptev, Majumdar and Ginsburg, "CTC Variations Through New WFST Topologies", Interspeech
2022, where it is called selfless). The forward recursion over frames t and labels so far s is

    alpha[t, s] = logaddexp(alpha[t-1, s] + blank[t], alpha[t-1, s-1] + label[t, s])

On a GPU one Triton program walks one utterance; elsewhere plain PyTorch does the same.
"""

from __future__ import annotations

import torch

try:
    import triton
    import triton.language as tl
except ImportError:  # the processor needs no Triton
    triton = None

NEVER = -1e30


def _forward_torch(blank: torch.Tensor, label: torch.Tensor) -> torch.Tensor:
    """blank (B, T), label (B, T, S) -> alpha (B, T + 1, S + 1) of log probabilities."""
    batch, frames, labels = label.shape
    row = torch.full((batch, labels + 1), NEVER, device=label.device)
    row[:, 0] = 0
    rows = [row]
    for t in range(frames):
        moved = torch.full_like(row, NEVER)
        moved[:, 1:] = row[:, :-1] + label[:, t]
        row = torch.logaddexp(row + blank[:, t, None], moved)
        rows.append(row)
    return torch.stack(rows, 1)


if triton is not None:

    @triton.jit
    def _forward_kernel(blank, label, alpha, frames, labels, BLOCK: tl.constexpr):
        item = tl.program_id(0)
        state = tl.arange(0, BLOCK)
        inside = state <= labels
        alpha += item.to(tl.int64) * (frames + 1) * (labels + 1)
        blank += item.to(tl.int64) * frames
        label += item.to(tl.int64) * frames * labels
        row = tl.where(state == 0, 0.0, -1e30)
        tl.store(alpha + state, row, inside)
        for t in range(frames):
            tl.debug_barrier()  # the row written above is read one place to the left
            before = tl.load(alpha + t * (labels + 1) + state - 1, inside & (state > 0), -1e30)
            here = tl.load(label + t * labels + state - 1, inside & (state > 0), -1e30)
            stay = row + tl.load(blank + t)
            move = before + here
            top = tl.maximum(stay, move)
            row = top + tl.log(tl.exp(stay - top) + tl.exp(move - top))
            row = tl.where(row < -1e29, -1e30, row)
            tl.store(alpha + (t + 1) * (labels + 1) + state, row, inside)


def _forward(blank: torch.Tensor, label: torch.Tensor) -> torch.Tensor:
    if triton is None or not label.is_cuda:
        return _forward_torch(blank, label)
    batch, frames, labels = label.shape
    alpha = torch.empty(batch, frames + 1, labels + 1, device=label.device)
    block = triton.next_power_of_2(labels + 1)
    _forward_kernel[(batch,)](
        blank.contiguous(),
        label.contiguous(),
        alpha,
        frames,
        labels,
        block,
        num_warps=max(1, min(8, block // 64)),
    )
    return alpha


class _Selfless(torch.autograd.Function):
    """Log probability of each label sequence; the gradient is the frame posteriors."""

    @staticmethod
    def forward(context, blank, label, frames, labels):
        """blank (B, T), label (B, T, S), lengths frames (B,) and labels (B,) -> (B,)."""
        alpha = _forward(blank, label)
        item = torch.arange(len(frames), device=frames.device)
        total = alpha[item, frames, labels]
        context.save_for_backward(blank, label, frames, labels, alpha, total)
        return total

    @staticmethod
    def backward(context, gradient):
        blank, label, frames, labels, alpha, total = context.saved_tensors
        beta = _backward_scores(blank, label, frames, labels)
        # Impossible sequences (too few frames) must not leave NaN behind.
        alive = (total > NEVER / 2).float() * gradient
        centre = total[:, None, None]
        stay = (alpha[:, :-1] + blank[..., None] + beta[:, 1:] - centre).exp().sum(2)
        move = (alpha[:, :-1, :-1] + label + beta[:, 1:, 1:] - centre).exp()
        within = torch.arange(blank.shape[1], device=blank.device)[None] < frames[:, None]
        stay = torch.nan_to_num(stay) * within * alive[:, None]
        move = torch.nan_to_num(move) * within[..., None] * alive[:, None, None]
        return stay, move, None, None


def _backward_scores(blank, label, frames, labels) -> torch.Tensor:
    """beta (B, T + 1, S + 1): the forward recursion over utterances turned end to start."""
    _batch, length, width = label.shape
    time = torch.arange(length, device=label.device)[None]
    back_time = (frames[:, None] - 1 - time).clamp(min=0)
    place = torch.arange(width, device=label.device)[None]
    back_place = (labels[:, None] - 1 - place).clamp(min=0)
    turned_blank = blank.gather(1, back_time)
    turned = label.gather(1, back_time[..., None].expand(-1, -1, width))
    turned = turned.gather(2, back_place[:, None].expand(-1, length, -1))
    alpha = _forward(turned_blank, turned)
    time = torch.arange(length + 1, device=label.device)[None]
    place = torch.arange(width + 1, device=label.device)[None]
    back_time, back_place = frames[:, None] - time, labels[:, None] - place
    beta = alpha.gather(1, back_time.clamp(min=0)[..., None].expand(-1, -1, width + 1))
    beta = beta.gather(2, back_place.clamp(min=0)[:, None].expand(-1, length + 1, -1))
    outside = (back_time < 0)[..., None] | (back_place < 0)[:, None]
    return beta.masked_fill(outside, NEVER)


def selfless_ctc(
    log_probabilities: torch.Tensor,
    targets: torch.Tensor,
    frames: torch.Tensor,
    labels: torch.Tensor,
) -> torch.Tensor:
    """Negative log probability of each target sequence.

    log_probabilities (B, T, outputs) with blank at 0; targets (B, S) padded with 0; frames and
    labels (B,) are true lengths. A sequence longer than its frames costs 0 and has no gradient.
    """
    label = log_probabilities.gather(2, targets[:, None].expand(-1, log_probabilities.shape[1], -1))
    total = _Selfless.apply(log_probabilities[..., 0], label, frames, labels)
    return torch.where(total > NEVER / 2, -total, torch.zeros_like(total))
