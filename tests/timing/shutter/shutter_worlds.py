"""Seeded bodies in front of seeded sensors: light curves worked out numerically, edges as a comparator
gives them.

Independent of the package: the curtain is integrated from constant force, the sensor's low pass is a
recursive filter on a fine grid, the comparator is a search in that grid. What the rig file claims differs
from the truth as its stated uncertainties allow. Milliseconds and millimetres throughout.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, signal

Floats = npt.NDArray[np.float64]

STEP = 0.0005
MARKED = (1000 / 32, 1000 / 64, 1000 / 128, 1000 / 256, 1000 / 512, 1000 / 1024, 1000 / 2048)
MARKED_TEXT = ("1/30", "1/60", "1/125", "1/250", "1/500", "1/1000", "1/2000")


@dataclass(frozen=True)
class Sensor:
    position: float
    width: float
    threshold: float
    delay_on: float
    delay_off: float
    rise: float
    claimed_delay_on: float
    claimed_delay_off: float
    claimed_rise: float


@dataclass(frozen=True)
class ShutterWorld:
    kind: str
    sensing: str
    marked: int
    exposure: float
    travel: float
    claimed_travel: float
    curve: float
    claimed_curve: float
    opening: float
    closing: float
    claimed_opening: float
    claimed_closing: float
    sensors: tuple[Sensor, ...]
    contact_off: float
    sync_delay: float
    lag: float
    sigma: float

    def centre(self) -> float:
        """Half-peak opening at frame centre after the shutter starts."""
        return self.opening / 2 if self.kind == "leaf" else self.travel * (1 - self.curve)

    def sync(self) -> float:
        """The contact after the shutter starts: far edge reached, or blades fully open."""
        ideal = self.opening if self.kind == "leaf" else self.travel
        return ideal + self.contact_off + self.sync_delay


def passing(curve: float) -> tuple[float, float]:
    """Starting speed and acceleration (frames, travels) of a curtain that has `curve` of its travel left at
    the centre.

    p = v t + a t**2 / 2 with p(1) = 1 and p(1 - curve) = 1/2.
    """
    t = 1 - curve
    if abs(curve - 0.5) < 1e-6:
        return 1.0, 0.0
    v = (0.5 - t * t) / (t - t * t)
    return v, 2 * (1 - v)


def curtain(world: ShutterWorld, t: Floats) -> Floats:
    v, a = passing(world.curve)
    tau = np.clip(t / world.travel, 0.0, 1.2)
    return np.asarray(v * tau + 0.5 * a * tau * tau)


def edges(
    world: ShutterWorld, sensor: Sensor, length: float, second: ShutterWorld | None = None
) -> tuple[float, float] | None:
    """When the comparator turns on and off after the shutter starts; None when it never does. `second`: a world whose
    curtain closes this shutter, where the two run differently."""
    closer = world if second is None else second
    end = world.exposure + 1.0
    end += world.opening + world.closing if world.kind == "leaf" else max(world.travel, closer.travel)
    t = np.arange(-0.2, end + 20 * sensor.rise, STEP)
    if world.kind == "leaf":
        # half-peak to half-peak is the exposure; blades move evenly
        dwell = world.exposure - (world.opening + world.closing) / 2
        light = np.interp(t, np.cumsum([0.0, world.opening, dwell, world.closing]), [0, 1, 1, 0])
    else:
        half = 0.5 * sensor.width / length
        low, high = max(sensor.position - half, 0.0), min(sensor.position + half, 1.0)
        first = np.clip(curtain(world, t), low, high)
        closing = np.clip(np.where(t > world.exposure, curtain(closer, t - world.exposure), 0.0), low, high)
        light = np.maximum(first - closing, 0.0) / (high - low)
    keep = np.exp(-STEP * np.log(9.0) / sensor.rise)
    seen = signal.lfilter([1 - keep], [1, -keep], light)
    above = np.flatnonzero(seen >= sensor.threshold)
    if above.size == 0:
        return None
    return float(t[above[0]]) + sensor.delay_on, float(t[above[-1]]) + sensor.delay_off


def make_shutter_world(rng: np.random.Generator) -> ShutterWorld:
    kind = "leaf" if rng.uniform() < 0.4 else "focal-plane"
    sensing = str(rng.choice(["gate", "two gates", "both", "sync"]))
    if kind == "leaf" and sensing == "two gates":
        sensing = "gate"
    opening, closing = rng.uniform(1.0, 8.0, 2)
    marked = int(rng.integers(0, len(MARKED)))
    if kind == "leaf":
        # blades that must at least open fully; others are a test of their own
        marked = int(
            rng.choice([i for i, m in enumerate(MARKED) if m * 2 ** (-1 / 3) >= (opening + closing) / 2])
        )
    exposure = MARKED[marked] * 2 ** rng.uniform(-1 / 3, 1 / 3)
    travel = float(rng.uniform(2.0, 16.0))
    if kind == "focal-plane" and sensing in ("both", "sync"):
        # the contact exists only where the frame is once fully open
        travel = min(travel, 0.9 * exposure)
    claimed_curve = float(rng.uniform(0.35, 0.45))
    curve = float(np.clip(claimed_curve + 0.08 * rng.standard_normal(), 0.2930, 0.55))
    positions = {"gate": (0.5,), "two gates": (0.12, 0.88), "both": (0.5,), "sync": ()}[sensing]
    sensors = []
    for position in positions:
        on, off = rng.uniform(0.003, 0.060, 2)
        rise = float(np.exp(rng.uniform(np.log(0.001), np.log(0.02))))
        sensors.append(
            Sensor(
                position,
                float(np.exp(rng.uniform(np.log(0.1), np.log(3.0)))),
                float(np.clip(0.5 + 0.05 * rng.standard_normal(), 0.3, 0.7)),
                on + rng.uniform(-0.005, 0.005),
                off + rng.uniform(-0.005, 0.005),
                rise * float(np.clip(1 + 0.3 * rng.standard_normal(), 0.3, 2.0)),
                on,
                off,
                rise,
            )
        )
    off_by = 1 + 0.05 * rng.standard_normal()
    blades = 1 + 0.10 * rng.standard_normal(2)
    return ShutterWorld(
        kind,
        sensing,
        marked,
        exposure,
        travel,
        travel * off_by,
        curve,
        claimed_curve,
        opening,
        closing,
        opening * blades[0],
        closing * blades[1],
        tuple(sensors),
        rng.uniform(-1.0, 1.0),
        0.005 + rng.uniform(-0.005, 0.005),
        rng.uniform(30.0, 120.0),
        float(np.exp(rng.uniform(np.log(0.2), np.log(1.5)))),
    )


def run_up_check(curve: float) -> float:
    """The centre is passed at 1 - curve of the travel: solved from the motion, for a test of this
    generator."""
    v, a = passing(curve)
    return float(optimize.brentq(lambda t: v * t + a * t * t / 2 - 0.5, 0.0, 1.0))
