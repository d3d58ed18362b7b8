"""Named worlds: an invented rig on an invented fen, and one world for each thing that goes wrong."""

from __future__ import annotations

import math
from dataclasses import replace

from coincide.box.simulated.spec import (
    BodySpec,
    BoxSpec,
    ContactSpec,
    FaultSpec,
    GateSpec,
    HandSpec,
    ReleaseSpec,
    ShutterSpec,
    WorldSpec,
)
from coincide.errors import BadInput

DEMO = "ennerby fen"
AFIELD = "a day afield"
CABLE = "twin cable"

# Two 35 mm focal-plane bodies, cloth curtains sweeping along the frame. Marked 1/125 and 1/60.
LAPWING = BodySpec(
    name="Lapwing",
    release=ReleaseSpec(lag_s=0.0546, sigma_s=0.00035, warmup_s=0.0009, warmup_tau_s=90.0),
    shutter=ShutterSpec(exposure_s=2**-7, travel_s=0.0095, sweep="right"),
    contact=ContactSpec(placement_s=-0.0002),
)
BITTERN = BodySpec(
    name="Bittern",
    release=ReleaseSpec(lag_s=0.0670, sigma_s=0.00045, polling_s=0.0015, first_shot_s=0.005),
    shutter=ShutterSpec(exposure_s=2**-6, travel_s=0.0110, sweep="right"),
    contact=ContactSpec(placement_s=0.0004, bounce_s=(0.0004, 0.0022)),
)
FEN = WorldSpec(
    DEMO,
    "Lapwing and Bittern on the fen rig: Bittern is late, polls its release and dawdles at its first shot; "
    "Lapwing slows a little as it warms.",
    LAPWING,
    BITTERN,
)

# The same bodies with nothing to tell: the ground on which a single fault stands out.
STEADY_A = replace(LAPWING, release=ReleaseSpec(lag_s=0.0550, sigma_s=0.0004))
STEADY_B = replace(BITTERN, release=ReleaseSpec(lag_s=0.0640, sigma_s=0.0005))
# The pace of a real build of MicroPython on an exactly emulated RP2040, as outside readers measured it, files as
# source: `status` in 75 ms, 12 kB/s out, four seconds to start. The firmware has become faster since; time-outs must
# stand this.
MEASURED_BOX = BoxSpec(step_s=0.05, bytes_per_s=12_000.0, write_room_bytes=256, boot_s=4.0)
STEADY = WorldSpec("steady", "Both bodies steady, nothing drifts.", STEADY_A, STEADY_B)

# Two leaf-shutter bodies on solenoids. Marked 1/125 both.
PLOVER = BodySpec(
    name="Plover",
    release=ReleaseSpec(kind="solenoid", lag_s=0.0310, sigma_s=0.0006, heat_s=0.00015, least_closure_s=0.012),
    shutter=ShutterSpec(kind="leaf", exposure_s=2**-7, opening_s=0.0018, closing_s=0.0022, aperture_area=0.5),
    wind="self-cocking",
)
DUNLIN = BodySpec(
    name="Dunlin",
    release=ReleaseSpec(kind="solenoid", lag_s=0.0365, sigma_s=0.0008, heat_s=0.00020, least_closure_s=0.012),
    shutter=ShutterSpec(kind="leaf", exposure_s=2**-7, opening_s=0.0021, closing_s=0.0024, aperture_area=0.5),
    wind="self-cocking",
)
LEAVES = WorldSpec("plover and dunlin", "Two leaf shutters on solenoids.", PLOVER, DUNLIN)


def _by_hand(body: BodySpec) -> BodySpec:
    return replace(body, wind="manual", release=replace(body.release, kind="full", least_closure_s=0.008))


BY_HAND = WorldSpec(
    "wound by hand",
    "Both bodies are wound by hand; the photographer presses the foot switch when both are wound.",
    _by_hand(STEADY_A),
    _by_hand(STEADY_B),
    hand=HandSpec(winds=True),
)


def _faulty(name: str, say: str, a: FaultSpec | None = None, b: FaultSpec | None = None) -> WorldSpec:
    return WorldSpec(
        name,
        say,
        replace(STEADY_A, faults=a or FaultSpec()),
        replace(STEADY_B, faults=b or FaultSpec()),
    )


def _both(name: str, say: str, **changes: object) -> WorldSpec:
    """The steady world with the same parts changed on both bodies."""
    return WorldSpec(name, say, replace(STEADY_A, **changes), replace(STEADY_B, **changes))  # type: ignore[arg-type]


def _shutters(name: str, say: str, a: ShutterSpec, b: ShutterSpec) -> WorldSpec:
    return WorldSpec(name, say, replace(STEADY_A, shutter=a), replace(STEADY_B, shutter=b))


_SOLENOIDS = replace(
    LEAVES,
    body_a=replace(PLOVER, release=replace(PLOVER.release, heat_s=0.0)),
    body_b=replace(DUNLIN, release=replace(DUNLIN.release, heat_s=0.0)),
)

WORLDS = (
    FEN,
    STEADY,
    LEAVES,
    BY_HAND,
    # bodies that fail
    _faulty(
        "missed fires", "Bittern does not fire at its shots 3, 11 and 12.", b=FaultSpec(misses=(3, 11, 12))
    ),
    _faulty("stops after shot 7", "Bittern answers no more after shot 7.", b=FaultSpec(stops_after=7)),
    _faulty("stops at once", "Lapwing never answers.", a=FaultSpec(stops_after=0)),
    _faulty("extra trigger", "Lapwing fires twice at its shot 5.", a=FaultSpec(extra_at=(5,))),
    replace(
        BY_HAND,
        name="forgot to wind",
        say="The photographer forgets to wind Bittern before shot 4.",
        body_b=replace(BY_HAND.body_b, faults=FaultSpec(not_wound_at=(4,))),
    ),
    replace(
        STEADY,
        name="slow to wake",
        say="Bittern wants 450 ms of half-press: with less it fires when it is awake, whatever full-press does.",
        body_b=replace(STEADY_B, release=replace(STEADY_B.release, wake_s=0.450, unready_s=0.015)),
    ),
    replace(
        FEN,
        name=AFIELD,
        say="The box was out without a laptop: 24 frames were fired by its own button.",
        hand=HandSpec(button_presses=24),
        dressed=True,
    ),
    # plugs, interlock
    replace(
        STEADY, name="swapped releases", say="The release plugs of A and B are swapped.", swapped="release"
    ),
    replace(STEADY, name="swapped sync", say="The sync plugs of A and B are swapped.", swapped="sync"),
    replace(
        STEADY,
        name="interlock opens",
        say="The interlock opens before pair 6 and stays open.",
        interlock_opens=((6, math.inf),),
    ),
    replace(
        STEADY,
        name="interlock flickers",
        say="The interlock opens for four seconds before pair 6.",
        interlock_opens=((6, 4.0),),
    ),
    replace(
        STEADY,
        name="interlock open",
        say="The interlock is open from the beginning.",
        interlock_opens=((1, math.inf),),
    ),
    # contacts
    _both(
        "bouncing contacts",
        "Both sync contacts bounce for up to 12 ms.",
        contact=ContactSpec(bounce_s=(0.0002, 0.012), bounces=6),
    ),
    WorldSpec(
        "contact of an M post",
        "Bittern's sync lead is on the post for bulbs: it closes 14 ms before the shutter is open.",
        STEADY_A,
        replace(STEADY_B, contact=ContactSpec(placement_s=-0.014)),
    ),
    WorldSpec(
        "contact out of place",
        "Bittern's sync contact closes 1.3 ms late.",
        STEADY_A,
        replace(STEADY_B, contact=ContactSpec(placement_s=0.0013)),
    ),
    WorldSpec(
        "x suppressed",
        "Bittern at 1/500 is above its sync speed and suppresses X.",
        STEADY_A,
        replace(
            STEADY_B,
            shutter=replace(STEADY_B.shutter, exposure_s=2**-9),
            contact=ContactSpec(x_exposure_s=2**-7),
        ),
    ),
    WorldSpec(
        "mirror slap",
        "Lapwing's mirror shakes its sync contact closed for 0.3 ms before the exposure.",
        replace(STEADY_A, contact=ContactSpec(flick_at_s=0.025, flick_s=0.0003)),
        STEADY_B,
    ),
    WorldSpec(
        "long mirror slap",
        "Lapwing's mirror shakes its sync contact closed for 0.8 ms, as long as some exposures.",
        replace(STEADY_A, contact=ContactSpec(flick_at_s=0.025, flick_s=0.0008)),
        STEADY_B,
    ),
    WorldSpec(
        "winding flick",
        "Bittern's motor shakes its sync contact closed while it winds.",
        STEADY_A,
        replace(STEADY_B, contact=ContactSpec(winding_flick_at_s=0.180)),
    ),
    _both(
        "no sync contacts",
        "Neither body has a sync contact; gate sensors only.",
        contact=ContactSpec(fitted=False),
    ),
    _both("no gate sensors", "No gate sensors: sync contacts only.", gates=(None, None)),
    _both(
        "two gate sensors",
        "Two gate sensors on each body, a fifth of the frame in from either edge.",
        gates=(GateSpec(0.2), GateSpec(0.8)),
    ),
    # shutters the analysis does not model
    _shutters(
        "accelerating curtains",
        "Curtains that start from rest close to the frame.",
        replace(STEADY_A.shutter, run_up=0.05),
        replace(STEADY_B.shutter, run_up=0.3),
    ),
    _shutters(
        "unequal curtains",
        "Bittern's second curtain is slower than its first.",
        STEADY_A.shutter,
        replace(STEADY_B.shutter, second_travel_s=0.0128),
    ),
    _both(
        "comparator off half",
        "The comparators of the gate sensors trip at 0.3 and the sensors are wide.",
        gates=(GateSpec(0.5, width=0.08, threshold=0.3), None),
    ),
    _both(
        "slit narrower than the sensor",
        "A 1/1000 slit never lights the whole sensor: its comparator does not trip.",
        shutter=ShutterSpec(exposure_s=2**-10, travel_s=0.0110),
        gates=(GateSpec(0.5, width=0.25), None),
    ),
    replace(
        LEAVES,
        name="blades never open",
        say="At 1/500 the blades turn back before they are open: no sync.",
        body_a=replace(PLOVER, shutter=replace(PLOVER.shutter, exposure_s=0.0011)),
        body_b=replace(DUNLIN, shutter=replace(DUNLIN.shutter, exposure_s=0.0011)),
    ),
    _both(
        "electronic shutters",
        "Rolling read-out, no contacts, nothing for a gate sensor: the optical route only.",
        shutter=ShutterSpec(kind="electronic", exposure_s=2**-7, readout_s=0.020),
        contact=ContactSpec(fitted=False),
        gates=(None, None),
    ),
    _both(
        "electronic first curtain",
        "The first curtain is electronic, the second is mechanical.",
        shutter=ShutterSpec(kind="electronic first curtain", exposure_s=2**-7, travel_s=0.004, run_up=0.4),
    ),
    # surroundings
    replace(
        STEADY,
        name="flickering lamp",
        say="The lamp over the gates flickers at 100 Hz, deep enough to trip the comparators.",
        body_a=replace(STEADY_A, shutter=replace(STEADY_A.shutter, exposure_s=2**-5)),
        body_b=replace(STEADY_B, shutter=replace(STEADY_B.shutter, exposure_s=2**-5)),
        flicker_hz=100.0,
        flicker_depth=0.8,
    ),
    replace(
        _SOLENOIDS,
        name="crosstalk",
        say="Each solenoid puts a pulse on the other body's sync input and slows the other's pull.",
        crosstalk_pulse_s=0.00015,
        crosstalk_lag_s=0.0011,
    ),
    replace(
        LEAVES,
        name="hot solenoids",
        say="Solenoids that slow as they heat.",
        body_a=replace(PLOVER, release=replace(PLOVER.release, heat_s=0.0008)),
        body_b=replace(DUNLIN, release=replace(DUNLIN.release, heat_s=0.0020)),
    ),
    replace(STEADY, name="warming box", say="The isolators warm by 20 K an hour.", warming_c_per_h=20.0),
    replace(
        STEADY,
        name="slow box",
        say="The sampler's ring is tiny and the loop slow: edges are lost and counted.",
        body_a=replace(STEADY_A, contact=ContactSpec(bounce_s=(0.002, 0.012), bounces=12)),
        body_b=replace(STEADY_B, contact=ContactSpec(bounce_s=(0.002, 0.012), bounces=12)),
        box=BoxSpec(ring_edges=16, step_s=0.090),
    ),
    replace(
        STEADY, name="loopback", say="Each release looped back into its own body's inputs.", loopback=True
    ),
    replace(
        STEADY,
        name="loopback both",
        say="Each release looped back into the inputs of both bodies.",
        loopback=True,
        loopback_both=True,
    ),
    replace(
        STEADY,
        name="resistor forgotten",
        say="The loopback plug is in, and R14B was forgotten: nothing holds full_b open while the box starts.",
        loopback=True,
        loopback_both=True,
        box=BoxSpec(pull_downs_missing=("full_b",)),
    ),
    replace(
        BY_HAND,
        name=CABLE,
        say="A mechanical twin cable, pressed 40 times; the box only listens.",
        hand=HandSpec(winds=False, cable_presses=40, cable_skew_s=0.006, cable_sigma_s=0.0015),
        body_a=replace(_by_hand(STEADY_A), wind="self-cocking"),
        body_b=replace(_by_hand(STEADY_B), wind="self-cocking"),
    ),
    replace(
        BY_HAND,
        name="screw turned",
        say="The same cable after one turn of the screw at Lapwing's plunger, which made it 5 ms later.",
        hand=HandSpec(winds=False, cable_presses=40, cable_skew_s=0.001, cable_sigma_s=0.0015),
        body_a=replace(_by_hand(STEADY_A), wind="self-cocking"),
        body_b=replace(_by_hand(STEADY_B), wind="self-cocking"),
    ),
)

_BY_NAME = {world.name.casefold(): world for world in WORLDS}


def world_names() -> tuple[str, ...]:
    """The names there are, the demo's first."""
    return tuple(world.name for world in WORLDS)


def world_spec(name: str) -> WorldSpec:
    """A world by name, in any case, hyphens for blanks. Raises BadInput naming those there are."""
    spec = _BY_NAME.get(" ".join(name.replace("-", " ").split()).casefold())
    if spec is None:
        raise BadInput(f"There is no simulated world '{name:.60}': choose one of {', '.join(world_names())}.")
    return spec
