"""The two release machines: hardware-timed closures of half- and full-press, both bodies on one cycle."""

import time

import rp2
from app import pins
from machine import Pin, mem32
from micropython import const

from . import plans, programs, safe
from .registers import GPIO_IN, PioBlock

_BOTH = const(3)
SET_PINS_OPEN = 0xE000  # set(pins, 0)
HALF_GPIOS = (2, 4)  # the half-press of each body; its full-press is the next pin
_HOLD_RENEW_MS = const(2000)
_FIRST_RELEASE_GPIO = const(2)

# Names of the four outputs as (machine, pins of that machine).
PULSES = ((0, plans.PINS_HALF), (0, plans.PINS_FULL), (1, plans.PINS_HALF), (1, plans.PINS_FULL))


class Releases:
    """Closes and opens the release outputs. Nothing stays closed longer than the words allow."""

    def __init__(self, tick_hz):
        self._tick_hz = tick_hz
        self._loop = plans.closure_loop_cycles(tick_hz)
        self._block = PioBlock(1)
        self._holding = False
        self._held_ms = time.ticks_ms()
        interlock = pins.gpio_of("interlock")
        safe.open_outputs()
        program = programs.release(self._loop)
        for body, gpio in enumerate(
            HALF_GPIOS
        ):  # not kept: the port has one object for each machine, for good
            rp2.StateMachine(
                4 + body,
                program,
                out_base=Pin(gpio),
                set_base=Pin(gpio),
                jmp_pin=Pin(interlock),
            )
        # After the machines, which may have set up their jmp pin in their own way: a cut cable must read open.
        self._interlock = Pin(interlock, Pin.IN, Pin.PULL_UP)
        self._open = [self._block.wrap_target(body) for body in range(2)]
        self._entry = [at - programs.RELEASE_OPEN_AT for at in self._open]
        self.open_now()
        self._block.start_together(_BOTH)

    def _start(self, words):
        """Starts both machines on one cycle; `words` holds (closure word, lead word) or None a body."""
        block = self._block
        block.stop(_BOTH)
        for body in range(2):
            block.clear_fifos(body)
            block.restart(1 << body)
            if words[body] is None:
                block.jump(body, self._open[body])
            else:
                block.jump(body, self._entry[body])
                block.put(body, words[body][0])
                block.put(body, words[body][1])
        block.start_together(_BOTH)

    def start_pair(self, delay_a, delay_b, lead, closure):
        """Ticks. Halves close now, fulls at lead + delay, each body opens `closure` after its full closed."""
        self._holding = False
        self._start(
            [
                plans.pair_words(delay, lead, closure, self._tick_hz, self._loop)
                for delay in (delay_a, delay_b)
            ]
        )

    def start_pulse(self, output, closure):
        """One output (0 half A, 1 full A, 2 half B, 3 full B) closed once for `closure` ticks."""
        self._holding = False
        body, bits = PULSES[output]
        words = [None, None]
        words[body] = plans.pulse_words(bits, closure, self._tick_hz, self._loop)
        self._start(words)

    def hold_half(self, closed):
        """Half-press of both bodies follows a finger. The hardware lets go 9 s after the last `tend`."""
        if closed:
            if not self._holding or not self.running():
                self._renew_hold()
        elif self._holding:
            self.open_now()

    def _renew_hold(self):
        words = plans.hold_words(self._tick_hz, self._loop)
        self._start([words, words])
        self._holding = True
        self._held_ms = time.ticks_ms()

    def tend(self):
        """To be called often: renews a held half-press, which never opens in between."""
        held_ms = time.ticks_diff(time.ticks_ms(), self._held_ms)
        if self._holding and held_ms > _HOLD_RENEW_MS and self.running():
            self._renew_hold()

    def running(self):
        """True while a machine has not come to its end."""
        block = self._block
        return block.address(0) != self._open[0] or block.address(1) != self._open[1]

    def busy(self):
        """True while a timed sequence runs; a half-press held by hand does not count."""
        return not self._holding and self.running()

    def closed(self):
        """Bit mask of the outputs closed now (half_a=1, full_a=2, half_b=4, full_b=8), read at the pins."""
        return mem32[GPIO_IN] >> _FIRST_RELEASE_GPIO & 15

    def interlock_closed(self):
        return self._interlock.value() == pins.active_level_of("interlock")

    def open_now(self):
        """All outputs open: each machine is sent to its end and its pins are cleared besides."""
        self._holding = False
        for body in range(2):
            self._block.jump(body, self._open[body])
            self._block.execute(body, SET_PINS_OPEN)
