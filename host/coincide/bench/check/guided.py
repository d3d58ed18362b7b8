"""The guided bench test: controls, lights, outputs, inputs, lamp row, and the zero check, stage by stage.

Logic only: `ask` puts a yes-or-no question to the person, `tell` says a sentence, the client talks to the
box. Outputs are open and the box is disarmed whenever a stage ends, however it ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from coincide.bench.check.inputs import GATE, SYNC, check_controls, check_sensors
from coincide.bench.check.lights import check_lamp_row, check_lights
from coincide.bench.check.outputs import check_outputs
from coincide.bench.check.record import BenchRecord, Item, ZeroResult
from coincide.bench.check.stages import STAGES
from coincide.bench.check.talk import Ask, BenchClient, BenchTalk, Tell
from coincide.bench.check.zero import PULSES, implausible, measure_loops, rest_s
from coincide.bench.person import Question
from coincide_wiring.cautions import CAUTIONS
from coincide_wiring.netlist import Build, digest, loop_digests

WATCH_TIMEOUT_S = 30.0
# What is told before the hand acts, by stage: keys of the cautions. Solenoids only where one is fitted.
CAUTIONS_AT = {
    "outputs": ("fingers", "interlock"),
    "sync": ("flash-off", "no-flash-on", "fingers"),
    "gate": ("mains-lamp", "eyes", "cloth", "laser", "film-out", "no-touch"),
    "lamps": ("eyes",),
}
SOLENOID_CAUTIONS = ("solenoid-heat", "solenoid-supply")


class BenchCheck:
    """One bench test of one box, built as `build` says. Stages may be run one by one or together (`run`)."""

    def __init__(
        self,
        client: BenchClient,
        ask: Ask,
        tell: Tell,
        build: Build | None = None,
        config: Path | None = None,
        timeout_s: float = WATCH_TIMEOUT_S,
    ) -> None:
        self._talk = BenchTalk(client, config)
        self._ask = ask
        self._tell = tell
        self._timeout_s = timeout_s
        self.build = Build() if build is None else build
        self.items: list[Item] = []
        self.zero: ZeroResult | None = None

    def run(self, stages: Sequence[str] = STAGES) -> None:
        """The stages named, in the order of STAGES; `items` and `zero` hold what was found, also when a stage
        raises. Raises BadInput when the cautions are not acknowledged (a real box only), BoxFailed when the
        box does."""
        for stage in STAGES:
            if stage in stages:
                self._caution(stage)
                self.items += self.stage(stage)

    def _caution(self, stage: str) -> None:
        keys = CAUTIONS_AT.get(stage, ())
        if stage == "outputs" and "solenoid" in self.build.release:
            keys += SOLENOID_CAUTIONS
        for one in CAUTIONS:
            if one.key in keys:
                self._tell(f"{'DANGER' if one.grave else 'Mind'}: {one.say}")

    def stage(self, name: str) -> tuple[Item, ...]:
        """One stage of STAGES. Raises as `run` does, KeyError for a stage there is not."""
        talk, ask, tell, timeout_s = self._talk, self._ask, self._tell, self._timeout_s
        return {
            "controls": lambda: check_controls(talk, ask, tell, timeout_s),
            "lights": lambda: check_lights(talk, ask, tell),
            "outputs": lambda: check_outputs(talk, ask, tell),
            "sync": lambda: check_sensors(talk, ask, tell, SYNC, timeout_s),
            "gate": lambda: check_sensors(talk, ask, tell, GATE, timeout_s),
            "lamps": lambda: check_lamp_row(talk, ask),
            "zero": self._zero_check,
        }[name]()

    def _zero_check(self, pulses: int = PULSES) -> tuple[Item, ...]:
        if not self._ask(
            Question("Bodies off the box and the loopback plug in its four sockets?", "plug", "in")
        ):
            say = "The zero check was left out: isolators keep their datasheet spread."
            return (Item("loopback", "zero", None, say),)
        item, zero = measure_loops(self._talk, pulses, rest_s(self.build.sync))
        wrong = "" if zero is None else implausible(zero, self.build.sync)
        if wrong:
            return (Item("loopback", "zero", False, wrong),)
        self.zero = zero
        return (item,)

    def record(self, now: datetime | None = None) -> BenchRecord:
        """What the stages found, with the box's identity and the wiring's digest."""
        at = (datetime.now(UTC) if now is None else now).isoformat(timespec="seconds")
        identity = self._talk.client.identity
        return BenchRecord(
            at,
            identity.uid,
            identity.firmware,
            digest(self.build),
            self.build,
            tuple(self.items),
            self.zero,
            loop_digests(self.build),
        )
