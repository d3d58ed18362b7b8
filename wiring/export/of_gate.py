"""Experiments on the three gate circuits. The light is a current; what slit, lamp and lens do to it is no circuit's."""

from __future__ import annotations

from collections.abc import Callable

from coincide_wiring.circuits.sensors import slit_share
from coincide_wiring.circuits.specs import GATE_LX, PHOTODIODE
from coincide_wiring.export.experiment import Corner, Experiment
from coincide_wiring.figures.gate import SHORTEST_EXPOSURE_S, SHORTEST_LEAF_S
from coincide_wiring.netlist import Build, sheets

Stimuli = Callable[[Corner], tuple[str, ...]]
AMPLIFIED = ("transimpedance", "through-lens")
STEPS_S = 1e-3


def _light_a(variant: str, way: int) -> float:
    """The diode's current behind its slit, in amperes."""
    (sheet,) = [one for one in sheets(Build(gate=(variant, variant))) if one.name.endswith("_a1")]
    lux = (GATE_LX[variant][0], GATE_LX[variant][2], GATE_LX[variant][1])[way]
    per_lx = (
        PHOTODIODE["white_a_per_lx"],
        PHOTODIODE["white_a_per_lx_max"],
        PHOTODIODE["white_a_per_lx_min"],
    )[way]
    return lux * per_lx * slit_share(sheet.part("D41A1"))


def _lit(variant: str, light_way: int = 1) -> Stimuli:
    """Light on the diode: out of its cathode, which the amplifier holds or the rail feeds."""
    ends = "sum_a1 0" if variant in AMPLIFIED else "3v3 light_a1"

    def stimuli(at: Corner) -> tuple[str, ...]:
        ampere = _light_a(variant, at.way * light_way)
        return (f"v_rail 3v3 0 {at.rail_v}", f"i_light {ends} dc {ampere:g} ac 1u")

    return stimuli


def _kicked(variant: str) -> Stimuli:
    """The comparator's output lets go: what comes through R44 and C45 to the threshold, as a share of the signal."""
    lit = _lit(variant, -1)

    def stimuli(at: Corner) -> tuple[str, ...]:
        rail_v = 3.3
        return (
            *(line.replace(f"3v3 0 {at.rail_v}", f"3v3 0 {rail_v}") for line in lit(at)),
            f"v_out gate_a1 0 pwl(0 0 1m 0 1.0001m {rail_v})",
            "b_share share 0 v = (v(thr_a1) - v(wiper_a1)) / v(light_a1)",
            "r_share share 0 1k",
        )

    return stimuli


def _exposure_s(variant: str) -> float:
    return SHORTEST_LEAF_S if variant == "through-lens" else SHORTEST_EXPOSURE_S


def _of(variant: str) -> tuple[Experiment, ...]:
    build = Build(gate=(variant, variant))
    sheet = f"gate_{variant.replace('-', '_')}_a1"
    found = [
        Experiment("gate_signal_a1", build, sheet, _lit(variant), "op", "v(light_a1)", ohms=1),
        Experiment(
            "gate_bandwidth_a1",
            build,
            sheet,
            _lit(variant, 0),
            "ac dec 200 1k 10meg",
            "let gain = vdb(light_a1)-vdb(light_a1)[0]\nmeas ac found when gain=-3.0103 fall=1",
            farads=-1,
        ),
        Experiment(
            "gate_hysteresis_a1",
            build,
            sheet,
            _kicked(variant),
            "tran 0.1u 1.2m",
            "meas tran found max v(share)",
            ohms=0,
        ),
        # Its time constant, from the fall to half and to a quarter of the kick.
        Experiment(
            "gate_centred_a1",
            build,
            sheet,
            _kicked(variant),
            "tran 0.1u 2m",
            "meas tran top max v(share)\nlet half = top/2\nlet quarter = top/4\n"
            "meas tran one when v(share)=half fall=1\nmeas tran two when v(share)=quarter fall=1\n"
            f"let found = {_exposure_s(variant):g}*log(2)/(two-one)",
            ohms=-1,
            farads=-1,
        ),
    ]
    if variant in AMPLIFIED:
        # The loop cut at the amplifier's output: its phase where its gain is one.
        found.append(
            Experiment(
                "gate_steady_a1",
                build,
                sheet,
                lambda _: ("v_test light_a1 0 dc 0 ac 1", "v_rail 3v3 0 3.3", "r_sum sum_a1 0 1g"),
                "ac dec 400 10k 10meg",
                "let margin = vp(amp_out)\nmeas ac cross when vdb(amp_out)=0 fall=1\n"
                "meas ac phase find margin at=cross\nlet found = phase*180/pi",
                rewired=(("U42A1", "out", "AMP_OUT"),),
            )
        )
    return tuple(found)


EXPERIMENTS = tuple(one for variant in (*AMPLIFIED, "load") for one in _of(variant))
