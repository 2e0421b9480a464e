"""Errors of the minute model on their way to what is learnt: summed into blocks of five minutes by the clock.

Within a block errors are not independent; a block that is not finished is carried, so that no cut shows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from propstick.engine.fit import BLOCK_S, N_RATES, FitState, gather
from propstick.units import BoolArray, FloatArray, IntArray


@dataclass(frozen=True)
class OpenBlock:
    """The block that is not finished.

    Attributes:
        errors_c: Sums of errors of the run with the present rates and of the six nudged ones, (7, b).
        rows: How many rows are in them, (b,).
        judged: By how many of them the box may be judged, (b,).
    """

    errors_c: FloatArray
    rows: FloatArray
    judged: FloatArray


def no_rows(boxes: int) -> OpenBlock:
    """An empty block."""
    return OpenBlock(np.zeros((1 + N_RATES, boxes)), np.zeros(boxes), np.zeros(boxes))


def closed(fit: FitState, block: OpenBlock, *, step_s: int) -> tuple[FitState, OpenBlock]:
    """What is learnt with that block in it, and the next one, empty."""
    share = BLOCK_S / step_s
    mean = block.errors_c / np.maximum(block.rows, 1e-9)
    fit = gather(fit, mean[None], (block.rows / share)[None], judged=(block.judged / share)[None])
    return fit, no_rows(len(block.rows))


def gathered(
    fit: FitState, block: OpenBlock, time_s: IntArray, errors_c: FloatArray, *, before_s: int | None,
    step_s: int, learnable: BoolArray, judged: BoolArray,
) -> tuple[FitState, OpenBlock]:  # fmt: skip
    """What is learnt with all finished blocks of some rows in it, and the block left open.

    Args:
        time_s, errors_c: Of the rows, (n,) and (n, 7, b).
        before_s: The row before the first; None if there was none.
        learnable: Rows that may be learnt from, (n, b).
        judged: Rows by which the box may be judged, (n, b).
    """
    if not len(time_s):
        return fit, block
    weight = learnable.astype(float)
    blocks = time_s // BLOCK_S
    if before_s is not None and before_s // BLOCK_S != blocks[0]:
        fit, block = closed(fit, block, step_s=step_s)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(blocks)) + 1])
    longest = int(np.diff(np.append(starts, len(blocks))).max())
    sums = np.zeros((len(starts), 1 + N_RATES, errors_c.shape[2]))
    counts, told = np.zeros((2, len(starts), errors_c.shape[2]))
    sums[0], counts[0], told[0] = block.errors_c, block.rows, block.judged
    stops = np.append(starts[1:], len(blocks))
    weighted = errors_c * weight[:, None]
    for k in range(longest):
        inside = starts + k < stops
        sums[inside] += weighted[starts[inside] + k]
        counts[inside] += weight[starts[inside] + k]
        told[inside] += judged[starts[inside] + k]
    done = slice(0, len(starts) - 1)
    if len(starts) > 1:
        share = BLOCK_S / step_s
        mean = sums[done] / np.maximum(counts[done], 1e-9)[:, None]
        fit = gather(fit, mean, counts[done] / share, judged=told[done] / share)
    return fit, OpenBlock(sums[-1].copy(), counts[-1].copy(), told[-1].copy())
