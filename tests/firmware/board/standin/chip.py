# ruff: noqa: UP031
"""A stand-in for the chip: pads, two PIO blocks, DMA, the registers the firmware touches, one clock.

Python code takes no time of its own here, nor does memory; each register access and each look at the clock costs
about `ACCESS_CYCLES`, so that loops which wait for the hardware see it move. Plain Python that runs on
CPython and on MicroPython.
"""

from . import pio

ACCESS_CYCLES = 250
PIO_BASES = (0x50200000, 0x50300000)
DMA_BASE = 0x50000000
GPIO_IN = 0xD0000004
RAM = 0x20000000
RAM_BYTES = 0x80000
WATCHDOG = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
PIN_FUNCTIONS = {"RP2040": 0x40014000, "RP2350": 0x40028000}
REASON_TIMER = 1
REASON_FORCED = 2
NONE = 0
SIO = 5
PIO0 = 6
SETTLED_CYCLES = 64  # longer than any path of the programs from a pin to a register


class Reset(BaseException):
    """The chip has been reset: by `machine.reset()` or by its watchdog."""


class DmaChannel:
    def __init__(self, number):
        self.number = number
        self.read = 0
        self.write = 0
        self.count = 0
        self.reload = 0
        self.ctrl = 0
        self.busy = False

    def set_count(self, value, chip):
        self.reload = value
        self.count = value & 0x0FFFFFFF if chip == "RP2350" else value


class Chip:
    def __init__(self, freq=125000000, chip="RP2040"):
        self.freq = freq
        self.name = chip
        self.cycle = 0
        self.blocks = [pio.Block(), pio.Block()]
        self.dma = [DmaChannel(n) for n in range(12)]
        self.dma_starved = False
        self.claimed = 0
        self.owned = {SIO: 0, PIO0: 0, PIO0 + 1: 0}
        self.sio_out = 0
        self.sio_dir = 0
        self.pull_up = 0
        self.driven_mask = 0
        self.driven_level = 0
        self.memory = memoryview(bytearray(RAM_BYTES))
        self.memory_end = RAM + 0x100
        self.pads = 0
        self.contact_log = []  # (cycle, pads) of changes beyond the sampled pins that no look has come to yet
        self.contact_pads = 0  # before the first of them
        self.synced = [0, 0]
        self.events = []
        self.history = []
        self.watchers = {}
        self.scratch = 0
        self.reset_cause = 1
        self.reset_reason = 0
        self.over = None
        self.watchdog_ms = None
        self.fed = 0
        self.leaps = True
        self.signed_words = False
        self._before = None
        self._steady = None
        self._period_of = -1
        self._period = 0
        self._touched = 0
        self.update_pads()

    def start_anew(self):
        """After a reset: the instruction memories are empty and every DMA channel is free."""
        self.over = None
        for number in (0, 1):
            self.blocks[number] = pio.Block()
        self.dma = [DmaChannel(n) for n in range(12)]
        self.claimed = 0
        self._period_of = -1
        self.touch()
        self.update_pads()

    # pads

    def give(self, gpio, function):
        """Hands a pin to SIO, to a PIO block, or to nobody."""
        for owner in self.owned:
            self.owned[owner] &= ~(1 << gpio)
        if function != NONE:
            self.owned[function] |= 1 << gpio

    def update_pads(self):
        sio = self.owned[SIO] & self.sio_dir
        first = self.owned[PIO0] & self.blocks[0].dirs
        second = self.owned[PIO0 + 1] & self.blocks[1].dirs
        level = sio & self.sio_out | first & self.blocks[0].outputs | second & self.blocks[1].outputs
        outside = self.driven_mask & self.driven_level | self.pull_up & ~self.driven_mask
        level |= outside & ~(sio | first | second)
        changed = level ^ self.pads
        if changed:
            if changed >> 13:
                self.contact_log.append((self.cycle, level))
            self.pads = level
            self.touch()
            for gpio in range(30):
                if changed >> gpio & 1:
                    self.history.append((self.cycle, gpio, level >> gpio & 1))
                    for watcher in self.watchers.get(gpio, ()):
                        watcher(self.cycle, level >> gpio & 1)

    def drive(self, gpio, level):
        """Something outside drives a pin, from this cycle on; None lets go of it."""
        self.driven_mask |= 1 << gpio
        self.driven_level &= ~(1 << gpio)
        if level is None:
            self.driven_mask &= ~(1 << gpio)
        elif level:
            self.driven_level |= 1 << gpio
        self.update_pads()

    def at(self, cycle, what):
        """Calls `what()` at a cycle."""
        self.events.append((cycle, len(self.events), what))
        self.events.sort(key=lambda event: event[:2])

    def touch(self):
        """Something has happened that machines may need some cycles to answer."""
        if self.over is not None:
            raise self.over
        self._touched = self.cycle
        self._before = None
        self._steady = None

    # time

    def run(self, cycles):
        self.run_to(self.cycle + cycles)

    def run_to(self, end):
        if self.over is not None:
            raise self.over
        if self._steady is not None and (self.cycle - self._steady[0]) % self._steady[1]:
            self._steady = None
        while self.cycle < end:
            self._check_watchdog()
            while self.events and self.events[0][0] <= self.cycle:
                self.events.pop(0)[2]()
            if self._step_over(end):
                continue
            self._cycle()

    def _cycle(self):
        seen = self.synced[1]
        self.synced[1] = self.synced[0]
        self.synced[0] = self.pads
        for block in self.blocks:
            block.inputs = seen
            block.step()
        self._move_words()
        self.cycle += 1
        self.update_pads()

    def _check_watchdog(self):
        if self.watchdog_ms is not None and (self.cycle - self.fed) * 1000 > self.watchdog_ms * self.freq:
            self.restart(REASON_TIMER, "watchdog")

    def restart(self, reason, why):
        """The watchdog resets the chip, by its timer or because it is told to; its own block lives on.

        Raises Reset, and again whenever the program that ran is so bold as to touch the chip once more.
        """
        self.power_on_state()
        self.reset_cause = 3
        self.reset_reason = reason
        self.over = Reset(why)
        raise self.over

    def power_on_state(self):
        """What a reset leaves of the pins: nothing drives them."""
        for block in self.blocks:
            block.disable(15)
        for gpio in range(30):
            self.give(gpio, NONE)
        self.pull_up = 0
        self.watchdog_ms = None
        self.update_pads()

    def _step_over(self, end):
        """Leaps over a stretch in which machines only count; True when time has moved."""
        if not self.leaps or self.cycle - self._touched < SETTLED_CYCLES:
            return False
        if self._steady is not None:
            since, period, machines, steps = self._steady
            if (self.cycle - since) % period or self._stop(end) - self.cycle < period:
                return False
            skipped = pio.leap(machines, steps, period, self._stop(end) - self.cycle)
            self.cycle += skipped
            if not skipped:
                self.touch()
            return skipped > 0
        machines = [
            machine
            for block in self.blocks
            for machine in block.machines
            if machine.enabled and machine.divider == 1
        ]
        if not machines:
            stop = self._stop(end)
            if stop <= self.cycle:
                return False
            self.cycle = stop
            self.synced = [self.pads, self.pads]
            return True
        if self._before is None:
            self._before = (self.cycle, pio.snapshot(machines))
            return False
        since, before = self._before
        period = self.period()
        if self.cycle - since < period:
            return False
        steps = None
        if self.cycle - since == period:
            steps = pio.steps_between(before, pio.snapshot(machines))
        self._before = None
        if steps is not None:
            self._steady = (self.cycle, period, machines, steps)
        return False

    def _stop(self, end):
        """The cycle at which something will happen."""
        if self.events:
            end = min(end, self.events[0][0])
        if self.watchdog_ms is not None:
            end = min(end, self.fed + self.watchdog_ms * self.freq // 1000 + 1)
        return end

    def period(self):
        """A length in which every counting loop of the firmware comes round: 6, 2, 1 and the closure's."""
        if self._period_of != self.blocks[1].used:
            self._period_of = self.blocks[1].used
            loop = 1
            for word in self.blocks[1].memory:
                if word & 0xE0E0 == 0x0040:  # jmp(x_dec) of the closure loop
                    loop = 2 + (word >> 8 & 31)
            self._period = 6 * loop
        return self._period

    # DMA

    def _move_words(self):
        if self.dma_starved:
            return
        for channel in self.dma:
            if not channel.busy:
                continue
            request = channel.ctrl >> 15 & 63
            block = self.blocks[request >> 3]
            machine = block.machines[request & 3]
            if request & 4:
                if not machine.rx:
                    continue
                self.poke(channel.write, machine.rx.pop(0))
            else:
                if len(machine.tx) >= machine.depth(False):
                    continue
                machine.tx.append(self.peek(channel.read))
            self.touch()
            if channel.ctrl >> 5 & 1:
                ring = channel.ctrl >> 6 & 15
                mask = (1 << ring) - 1 if ring else 0xFFFFFFFF
                channel.write = channel.write & ~mask | channel.write + 4 & mask
            channel.count -= 1
            if channel.count == 0:
                if channel.reload >> 28 == 1 and self.name == "RP2350":
                    channel.count = channel.reload & 0x0FFFFFFF
                else:
                    channel.busy = False

    def _look(self, channel):
        """The looks of a divided machine whose program is one `in`, until now, by this channel into its ring."""
        request = channel.ctrl >> 15 & 63
        block = self.blocks[request >> 3 & 1]
        machine = block.machines[request & 3]
        if not channel.busy or machine.divider == 1 or not machine.enabled:
            return
        word = block.memory[machine.pc]
        mask = (1 << (word & 31)) - 1
        period = machine.divider * (1 + (word >> 8 & 31))
        ring = (1 << (channel.ctrl >> 6 & 15)) - 1
        while machine.begun + machine.looks * period <= self.cycle:
            at = machine.begun + machine.looks * period
            machine.looks += 1
            while self.contact_log and self.contact_log[0][0] <= at:
                self.contact_pads = self.contact_log.pop(0)[1]
            seen = self.contact_pads >> machine.in_base & mask
            to = channel.write - RAM
            self.memory[to : to + 2] = seen.to_bytes(2, "little")
            channel.write = channel.write & ~ring | channel.write + 2 & ring
            channel.count -= 1

    # memory and registers

    def allocate(self, size, align=8):
        at = (self.memory_end + align - 1) // align * align
        self.memory_end = at + size
        return at

    def bytes_at(self, address, size):
        """The memory itself, as `uctypes.bytearray_at` gives it."""
        return self.memory[address - RAM : address - RAM + size]

    def peek(self, address):
        return int.from_bytes(bytes(self.memory[address - RAM : address - RAM + 4]), "little")

    def poke(self, address, word):
        at = address - RAM
        self.memory[at : at + 4] = (word & 0xFFFFFFFF).to_bytes(4, "little")

    def spend(self):
        # Whole periods of the counting loops, which cost next to nothing to leap over.
        period = self.period()
        self.run(max(1, ACCESS_CYCLES // period) * period)

    def load(self, address):
        if RAM <= address < 0x30000000:
            return self.peek(address)
        self.spend()
        if address == GPIO_IN:
            return self.pads
        if address == WATCHDOG[self.name] + 0x0C:
            return self.scratch
        if address == WATCHDOG[self.name] + 0x08:
            return self.reset_reason
        if DMA_BASE <= address < DMA_BASE + 12 * 0x40:
            channel = self.dma[(address - DMA_BASE) // 0x40]
            if (address & 0x3F) == 8:
                self._look(channel)
                mode = channel.reload & 0xF0000000 if self.name == "RP2350" else 0
                return mode | channel.count
        for number, base in enumerate(PIO_BASES):
            if base <= address < base + 0x1000:
                return self._load_pio(self.blocks[number], address - base)
        raise ValueError("read of register %08x is not modelled" % address)

    def _load_pio(self, block, offset):
        if offset == 8:
            return block.fdebug
        if 0xC8 <= offset < 0x128:
            machine = block.machines[(offset - 0xC8) // 0x18]
            field = (offset - 0xC8) % 0x18
            if field == 0x04:
                return machine.wrap_top << 12 | machine.wrap_bottom << 7
            if field == 0x0C:
                return machine.pc
        raise ValueError("read of PIO register %03x is not modelled" % offset)

    def store(self, address, value):
        if RAM <= address < 0x30000000:
            self.poke(address, value)
            return
        self.spend()
        if address == WATCHDOG[self.name] + 0x0C:
            self.scratch = value
            return
        if address == WATCHDOG[self.name] + 0x3000 and value == 1 << 30:
            self.watchdog_ms = None
            return
        if DMA_BASE <= address < DMA_BASE + 12 * 0x40 and address & 0x3F == 8:
            self.dma[(address - DMA_BASE) // 0x40].set_count(value, self.name)
            return
        pins = PIN_FUNCTIONS[self.name]
        if pins <= address < pins + 30 * 8 and address & 7 == 4:
            self.give((address - pins) // 8, value)
            self.touch()
            self.update_pads()
            return
        for number, base in enumerate(PIO_BASES):
            if base <= address < base + 0x4000:
                self._store_pio(self.blocks[number], address - base & 0xFFF, address - base >> 12, value)
                self.touch()
                self.update_pads()
                return
        raise ValueError("write of register %08x is not modelled" % address)

    def _store_pio(self, block, offset, alias, value):
        if offset == 0 and alias == 2:
            for machine in block.machines:
                if value >> 4 + machine.number & 1:
                    machine.restart()
                if value >> machine.number & 1 and machine.divider > 1:
                    machine.begun, machine.looks = self.cycle, 0
            block.enable(value & 15)
            return
        if offset == 0 and alias == 3:
            block.disable(value & 15)
            return
        if offset == 8 and alias == 0:
            block.fdebug &= ~value
            return
        if 0x10 <= offset < 0x20 and alias == 0:
            machine = block.machines[(offset - 0x10) // 4]
            if len(machine.tx) < machine.depth(False):
                machine.tx.append(value)
            return
        if 0xC8 <= offset < 0x128:
            machine = block.machines[(offset - 0xC8) // 0x18]
            field = (offset - 0xC8) % 0x18
            if field == 0x08 and alias == 1 and value == 1 << 31:
                machine.clear_fifos()
                return
            if field == 0x10 and alias == 0:
                done, target = machine.run(value)
                if not done:
                    raise ValueError("an instruction given to execute stalls")
                if target is not None:
                    machine.pc = target
                machine.delay = 0
                return
        raise ValueError("write of PIO register %03x is not modelled" % offset)
