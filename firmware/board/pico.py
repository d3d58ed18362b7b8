"""The real box: what `app` may ask of a board, on a Pico (RP2040) or Pico 2 (RP2350)."""

import sys
import time

import machine
from app import pins
from app.buttons import PRESSED
from machine import Pin
from micropython import const

from . import files, memory, presses, registers, safe
from .clock import Millis
from .releases import Releases
from .sampler import Sampler
from .usb import UsbSerial

_WATCHDOG_MS = const(5000)
_IDLE_LOOK_MS = const(2)  # a byte ends the wait by itself, an edge has to be looked for


class Board:
    """Owns every pin of the pin table. Make one, once, with the outputs already open; `rings` is a
    board.memory.Rings, taken while the heap was whole."""

    def __init__(self, rings=None):
        self.tick_hz = machine.freq()
        self._chip = registers.chip_name()
        self._reset_cause = self._find_reset_cause()
        self._millis = Millis()
        self._watchdog = None
        self._must_restart = False
        rings = rings or memory.Rings()
        self._sampler = Sampler(self.tick_hz, self._chip == "RP2350", rings)
        self._releases = Releases(self.tick_hz)
        # The row is for an hour at the bench: its module comes when it is asked for.
        self._lamp_row = None
        for name in ("lamp_data", "lamp_clock", "lamp_latch"):
            Pin(pins.gpio_of(name), Pin.OUT, value=0)
        self._leds = [Pin(pins.gpio_of(name), Pin.OUT, value=0) for name in ("led_ok", "led_out")]
        self._buttons = {}
        for name in PRESSED:
            self._buttons[name] = (
                Pin(pins.gpio_of(name), Pin.IN, Pin.PULL_UP),
                pins.active_level_of(name),
            )
        self._presses = presses.Presses(self._chip == "RP2350", rings)
        self.missed_looks = self._presses.missed
        self._usb = UsbSerial()
        self.files = files.FlashFiles(files.DIRECTORY)

    def _find_reset_cause(self):
        meant = registers.restart_was_meant(self._chip)
        if not meant and machine.reset_cause() != machine.WDT_RESET:
            return "power"
        return "restart" if meant or registers.reset_was_forced(self._chip) else "watchdog"

    def identity(self):
        version = sys.implementation.version
        return {
            "board": sys.implementation._machine,
            "chip": self._chip,
            "uid": "".join("%02x" % byte for byte in machine.unique_id()),
            "micropython": "%d.%d.%d" % (version[0], version[1], version[2]),
            "clock_hz": self.tick_hz,
            "reset_cause": self._reset_cause,
            "simulated": False,
        }

    def millis(self):
        return self._millis.now()

    def tick(self):
        return self._sampler.tick()

    def read_edges(self, sink):
        # A heartbeat may fall beside a real edge and blur it by some ticks: not while a shot runs.
        if self._sampler.beat_is_due() and not self._releases.busy():
            self._sampler.beat()
        return self._sampler.drain(sink)

    def edges_waiting(self):
        """Whether `read_edges` has something to read now."""
        return self._sampler.pending()

    def start_pair(self, delay_a, delay_b, lead, closure):
        self._releases.start_pair(delay_a, delay_b, lead, closure)

    def start_pulse(self, output, closure):
        self._releases.start_pulse(output, closure)

    def hold_half(self, closed):
        self._releases.hold_half(closed)

    def outputs_busy(self):
        return self._releases.busy()

    def outputs_closed(self):
        return self._releases.closed()

    def pull_downs_held(self):
        """Bit mask of the release outputs that a resistor outside holds low (half_a=1 to full_b=8)."""
        from . import pull_downs  # a bench evening is seldom: it takes its memory only then

        self._releases.open_now()
        try:
            return pull_downs.held(self._chip)
        except Exception:
            safe.open_outputs()  # the pins may not be PIO's any more
            self._must_restart = True
            raise

    def ensure_open(self):
        """All outputs open now. If PIO cannot be reached, the pins are taken away from it, and the box restarts."""
        try:
            self._releases.open_now()
        except Exception:  # noqa: BLE001  nothing may keep an output closed
            safe.open_outputs()
            self._must_restart = True

    def interlock_closed(self):
        return self._releases.interlock_closed()

    def pressed(self, name):
        pin, active = self._buttons[name]
        return pin.value() == active

    def lights(self, ok, out):
        self._leds[0].value(ok)
        self._leds[1].value(out)

    def run_lamps(self, lamps, step_ticks, rows):
        if self._lamp_row is None:
            from .lamps import LampRow

            self._lamp_row = LampRow()
        self._lamp_row.run(lamps, step_ticks, rows)

    def serial_read(self):
        return self._usb.read()

    def serial_write(self, data):
        # While a release may be closed nothing is risked that might wait for the host.
        return self._usb.write(data, self._releases.busy())

    def start_watchdog(self):
        """From here on the chip resets itself, outputs open, when nobody feeds it for five seconds."""
        self._watchdog = machine.WDT(timeout=_WATCHDOG_MS)

    def feed_watchdog(self):
        if self._watchdog is not None:
            self._watchdog.feed()

    def idle(self, ms):
        """Waits at most `ms`, or until a byte or an edge arrives."""
        if self._must_restart:
            self.reset()
        self._releases.tend()
        begun = time.ticks_ms()
        while time.ticks_diff(time.ticks_ms(), begun) < ms:
            if self._sampler.pending() or self._usb.wait(_IDLE_LOOK_MS):
                return

    def reset(self):
        self.ensure_open()
        registers.mark_restart(self._chip)
        machine.reset()

    def rescue(self):
        """Restarts once into rescue mode; the restart after that is an ordinary one."""
        self.ensure_open()
        registers.mark_rescue(self._chip)
        machine.reset()

    def close(self):
        """Outputs open and taken from PIO, sampler and lamps stopped. Never raises."""
        self.ensure_open()
        safe.open_outputs()
        try:
            self._sampler.stop()
            self._presses.stop()
            if self._lamp_row is not None:
                self._lamp_row.stop()
        except Exception:  # noqa: BLE001  the outputs are open, and that was the point
            return
