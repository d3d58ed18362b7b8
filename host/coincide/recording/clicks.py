"""The sound of a shutter as rises of its loudness.

A blow is when the loudness between 1.5 and 12 kHz rises; how loud it is says little. So the logarithm of the power is
taken, over a floor of noise and of what the other microphone's body sends, and its rises kept.
"""

from __future__ import annotations

import numpy as np
from scipy import signal

from coincide.recording.edges import Floats

LOW_HZ, HIGH_HZ = 1500.0, 12_000.0
HOP_S = 0.000125
FLOOR = 4.0  # times the noise's power
HEARD_LATE_S = 0.004  # the other body's blows arrive up to so much later


def powers(wave: Floats, rate_hz: float) -> Floats:
    """Power between 1.5 and 12 kHz of wave (n, 2), one value a hop of 1/8 ms, (m, 2)."""
    high = min(HIGH_HZ, 0.45 * rate_hz)
    band = signal.butter(2, (LOW_HZ, high), "bandpass", fs=rate_hz, output="sos")
    squared = signal.sosfilt(band, wave, axis=0) ** 2
    hops = int(len(wave) / rate_hz / HOP_S)
    ends = np.minimum((np.arange(hops + 1) * HOP_S * rate_hz).astype(np.int64), len(wave))
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(squared, axis=0)])
    width = np.maximum(np.diff(ends), 1)[:, None]
    return np.asarray((total[ends[1:]] - total[ends[:-1]]) / width)


def rises(power: Floats, crossed: tuple[float, float], begins: int) -> Floats:
    """Rises of the log power of both channels (m, 2), each against what went before it. crossed: part of the *other*
    channel's power that is heard in (left, right). begins: hop before which there is quiet."""
    quiet = np.median(power[: max(begins - 4, 8)], axis=0)
    reach = int(HEARD_LATE_S / HOP_S)
    found = np.zeros_like(power)
    for channel in (0, 1):
        other = power[:, 1 - channel]
        lingering = _most(other, reach)
        floor = FLOOR * quiet[channel] + 2.0 * crossed[channel] * lingering + 1e-12
        level = np.log(np.maximum(power[:, channel], 1e-14) + floor)
        before = _most(level, 10)  # the loudest of the last milliseconds: ringing is no blow
        height = np.maximum(level[1:] - before[:-1], 0.0)
        found[1:, channel] = height
    return _blurred(found)


def _most(values: Floats, reach: int) -> Floats:
    """The greatest of each value and the `reach` before it."""
    padded = np.concatenate([np.full(reach, values[0]), values])
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, reach + 1).max(axis=1))


def _blurred(found: Floats) -> Floats:
    """Spread over a third of a millisecond, so that blows need not agree to the sample."""
    reach = np.arange(-8, 9)
    kernel = np.exp(-0.5 * (reach * HOP_S / 0.0003) ** 2)
    return np.asarray(signal.fftconvolve(found, kernel[:, None], "same", axes=0).clip(min=0.0))
