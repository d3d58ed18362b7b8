"""What a simulated world is made of, declared: frozen dataclasses, SI units in the names."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

ReleaseKind = Literal["half+full", "full", "solenoid"]
ShutterKind = Literal["focal plane", "leaf", "electronic", "electronic first curtain"]
Wind = Literal["motor", "self-cocking", "manual"]
Sweep = Literal["down", "up", "left", "right"]
Swap = Literal["", "release", "sync"]


@dataclass(frozen=True, slots=True)
class ReleaseSpec:
    """From the press that reaches a body to the moment its shutter begins to move.

    `lag_s` counts to the first curtain entering the frame, or the blades beginning to open. A body that
    polls looks at its release every `polling_s`; a closure shorter than `least_closure_s` is not seen.
    `humps` are (probability, extra seconds). A 'half+full' body wants half held for `wake_s` before full;
    else it waits for the rest and needs `unready_s` more. `warmup_s` is approached exponentially with
    `warmup_tau_s`, from the first press on. `first_shot_s` is added after a rest of `first_shot_rest_s` or
    more, and at the first press. `hurry_s * exp(-rest / hurry_tau_s)` is added to shots that follow fast.
    A solenoid slows by `heat_s` per second that it was held closed, and cools with `cooling_tau_s`.
    """

    kind: ReleaseKind = "half+full"
    lag_s: float = 0.060
    sigma_s: float = 0.0005
    polling_s: float = 0.0
    least_closure_s: float = 0.020
    humps: tuple[tuple[float, float], ...] = ()
    wake_s: float = 0.150
    unready_s: float = 0.040
    warmup_s: float = 0.0
    warmup_tau_s: float = 60.0
    first_shot_s: float = 0.0
    first_shot_rest_s: float = 60.0
    hurry_s: float = 0.0
    hurry_tau_s: float = 2.0
    heat_s: float = 0.0
    cooling_tau_s: float = 40.0


@dataclass(frozen=True, slots=True)
class ShutterSpec:
    """A shutter: what moves and how fast.

    Curtains cross the frame in `travel_s` (the second in `second_travel_s` when it differs). `run_up` is the
    time a curtain has been accelerating before it enters the frame, in travel times: 0 starts from rest at
    the frame's edge, None moves at constant speed. `exposure_s` is the time between the curtains' entering
    the frame; on a leaf shutter the half-peak time at full aperture. `exposure_sigma` is relative.

    Leaf blades open in `opening_s` and close in `closing_s`; `aperture_area` is the area of the aperture in
    use over that of the fully open blades; `blade_power` 1 uncovers the area linearly in time.
    Electronic shutters read out in `readout_s`.
    """

    kind: ShutterKind = "focal plane"
    exposure_s: float = 1 / 128
    exposure_sigma: float = 0.002
    travel_s: float = 0.0095
    second_travel_s: float | None = None
    run_up: float | None = None
    second_run_up: float | None = None
    sweep: Sweep = "down"
    opening_s: float = 0.0016
    closing_s: float = 0.0016
    aperture_area: float = 1.0
    blade_power: float = 1.0
    readout_s: float = 0.020


@dataclass(frozen=True, slots=True)
class ContactSpec:
    """The sync contact. `placement_s` is how late it closes against the ideal X instant.

    It bounces for a time drawn from `bounce_s` (least, most) in up to `bounces` further closings. It opens
    `opens_after_s` after the shutter has closed. Above its sync speed (exposure shorter than `x_exposure_s`)
    X is suppressed. `flick_at_s` after full-press the mirror may shake it closed for `flick_s` (0: never); so
    may the motor that winds, `winding_flick_at_s` after the exposure.
    """

    fitted: bool = True
    placement_s: float = 0.0
    bounce_s: tuple[float, float] = (0.0003, 0.0012)
    bounces: int = 3
    opens_after_s: float = 0.004
    x_exposure_s: float = 0.0
    flick_at_s: float = 0.030
    flick_s: float = 0.0
    winding_flick_at_s: float = 0.0


@dataclass(frozen=True, slots=True)
class GateSpec:
    """A light sensor at the film gate: where along the sweep axis its centre sits (0 = top or left edge of the
    frame as seen at the gate, 1 = the opposite edge), how wide it is along that axis (in frames), and at what
    part of the full light its comparator trips."""

    position: float = 0.5
    width: float = 0.02
    threshold: float = 0.5


@dataclass(frozen=True, slots=True)
class FaultSpec:
    """What goes wrong with one body. Shots are counted from 1 in presses of this body."""

    miss_probability: float = 0.0
    misses: tuple[int, ...] = ()
    stops_after: int | None = None
    extra_at: tuple[int, ...] = ()
    extra_after_s: float = 0.220
    not_wound_at: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class BodySpec:
    """One body with its plugs."""

    name: str
    release: ReleaseSpec = ReleaseSpec()
    shutter: ShutterSpec = ShutterSpec()
    contact: ContactSpec = ContactSpec()
    gates: tuple[GateSpec | None, GateSpec | None] = (GateSpec(0.5), None)
    faults: FaultSpec = FaultSpec()
    wind: Wind = "motor"
    wind_s: float = 0.35


@dataclass(frozen=True, slots=True)
class BoxSpec:
    """The box between: isolators, sampler, speed of its loop and of its serial line.

    An isolator turns on `isolator_s` after its pin at 20 degrees Celsius, `isolator_s_per_k` later for each
    degree above; `isolator_off_s` when it opens. Inputs lag by `input_on_s` (a sync or gate closing) and
    `input_off_s`, per body. `step_s` is what one turn of the firmware's loop takes.
    `pull_downs_missing` names release outputs whose resistor to ground was forgotten.
    """

    isolator_s: tuple[float, float] = (0.00042, 0.00045)
    isolator_off_s: tuple[float, float] = (0.0011, 0.0012)
    isolator_s_per_k: float = 0.000004
    input_on_s: tuple[float, float] = (0.000003, 0.000004)
    input_off_s: tuple[float, float] = (0.000045, 0.000050)
    ring_edges: int = 1024
    step_s: float = 0.0003
    latency_s: float = 0.0008
    latency_spread_s: float = 0.0006
    bytes_per_s: float = 65_000.0
    write_room_bytes: int = 512
    boot_s: float = 0.9
    watchdog_s: float = 8.0
    flash_bytes: int = 512 * 1024
    pull_downs_missing: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class HandSpec:
    """The photographer's hands: winding both bodies and pressing the foot switch, or pressing a twin cable.

    Winding takes an irregular time, log-normal about `wind_median_s` with `wind_spread` (standard deviation
    of the logarithm). With `cable_presses` the hand presses a mechanical twin cable so often, about every
    `cable_interval_s`, and body B gets its press `cable_skew_s` after body A, give or take `cable_sigma_s`.
    `button_presses`: so often the box's own button is pressed, one press every `button_interval_s`, before any host
    comes.
    """

    winds: bool = False
    wind_median_s: float = 6.0
    wind_spread: float = 0.35
    cable_presses: int = 0
    cable_first_s: float = 3.0
    cable_interval_s: float = 4.0
    cable_skew_s: float = 0.0
    cable_sigma_s: float = 0.0
    button_presses: int = 0
    button_interval_s: float = 20.0


@dataclass(frozen=True, slots=True)
class WorldSpec:
    """A rig, a box, a bench. `say` is one sentence on what is special here.

    `interlock_opens` are (pair, seconds): the interlock opens before that pair, for so long. `flicker_hz` and
    `flicker_depth` (0 to 1) belong to the lamp over the gates. Crosstalk: switching one solenoid puts a
    pulse of `crosstalk_pulse_s` on the other body's sync input, and a solenoid that pulls while the other is
    pulling is slowed by `crosstalk_lag_s`. `dressed`: the bodies take shutters and sensors of whoever's rig file it is.
    `loopback`: no bodies plugged in; each release output goes back
    through its isolator into the sync and gate inputs of its own side, and with `loopback_both` of both sides.
    """

    name: str
    say: str
    body_a: BodySpec
    body_b: BodySpec
    box: BoxSpec = BoxSpec()
    hand: HandSpec = HandSpec()
    temperature_c: float = 20.0
    warming_c_per_h: float = 0.0
    swapped: Swap = ""
    interlock_opens: tuple[tuple[int, float], ...] = ()
    flicker_hz: float = 0.0
    flicker_depth: float = 0.0
    crosstalk_pulse_s: float = 0.0
    crosstalk_lag_s: float = 0.0
    crosstalk_reach_s: float = 0.040
    dressed: bool = False
    loopback: bool = False
    loopback_both: bool = False

    @property
    def bodies(self) -> tuple[BodySpec, BodySpec]:
        """Bodies A and B."""
        return self.body_a, self.body_b

    def with_exposures(self, a_s: float | None, b_s: float | None) -> WorldSpec:
        """The same world with the dials of the bodies turned; None leaves a dial as it is."""
        return replace(self, body_a=_dialled(self.body_a, a_s), body_b=_dialled(self.body_b, b_s))


def _dialled(body: BodySpec, exposure_s: float | None) -> BodySpec:
    if exposure_s is None:
        return body
    return replace(body, shutter=replace(body.shutter, exposure_s=exposure_s))
