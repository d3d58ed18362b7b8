# ruff: noqa: UP031, B905
"""A cycle-exact model of PIO blocks, with joined FIFOs and all machines on one clock.

The published emulator runs one machine at a time with FIFOs of four words. This model adds what the box
needs beside that, and is itself compared with the published emulator, state by state (test_model.py).
Plain Python that runs on CPython and on MicroPython.
"""

WORD = 0xFFFFFFFF
MARGIN = 1000


def _reversed(value):
    out = 0
    for _ in range(32):
        out = out << 1 | value & 1
        value >>= 1
    return out


class Machine:
    def __init__(self, block, number):
        self.block = block
        self.number = number
        self.enabled = False
        self.pc = 0
        self.x = 0
        self.y = 0
        self.isr = 0
        self.isr_count = 0
        self.osr = 0
        self.osr_count = 32
        self.delay = 0
        self.tx = []
        self.rx = []
        # wrap_top, wrap_bottom, bases and counts, as the registers hold them
        self.wrap_bottom = 0
        self.wrap_top = 31
        self.in_base = 0
        self.out_base = 0
        self.out_count = 0
        self.set_base = 0
        self.set_count = 0
        self.side_base = 0
        self.side_count = 0  # without the enable bit
        self.side_opt = False
        self.jmp_pin = 0
        self.in_right = True
        self.out_right = True
        self.join = 0
        # A machine whose clock is divided (here: whole cycles) is not stepped; the chip reckons its looks when asked.
        self.divider = 1
        self.begun = 0
        self.looks = 0

    def depth(self, receive):
        if self.join == 0:
            return 4
        return 8 if (self.join == 2) == receive else 0

    def restart(self):
        self.isr_count = 0
        self.isr = 0
        self.osr_count = 32
        self.delay = 0

    def clear_fifos(self):
        self.tx = []
        self.rx = []

    def signature(self):
        return (self.pc, self.delay, self.enabled, len(self.tx), len(self.rx), self.osr_count, self.isr_count)

    def step(self):
        """One clock cycle of an enabled machine."""
        if self.delay:
            self.delay -= 1
            return
        instruction = self.block.memory[self.pc]
        next_pc = self.wrap_bottom if self.pc == self.wrap_top else (self.pc + 1) & 31
        done, target = self.run(instruction)
        if done:
            self.pc = next_pc if target is None else target
            bits = self.side_count + (1 if self.side_opt else 0)
            self.delay = instruction >> 8 & (31 >> bits)

    def run(self, instruction):
        """(finished, jump target or None) of one instruction; side-set happens even when stalled."""
        block = self.block
        if self.side_count:
            field = instruction >> 8 & 31
            if not self.side_opt:
                block.write_pins(self.side_base, self.side_count, field >> (5 - self.side_count))
            elif field & 16:
                block.write_pins(self.side_base, self.side_count, (field & 15) >> (4 - self.side_count))
        kind = instruction >> 13
        argument = instruction >> 5 & 7
        low = instruction & 31
        if kind == 0:
            if argument == 0:
                taken = True
            elif argument == 1:
                taken = self.x == 0
            elif argument == 2:
                taken = self.x != 0
                self.x = (self.x - 1) & WORD
            elif argument == 3:
                taken = self.y == 0
            elif argument == 4:
                taken = self.y != 0
                self.y = (self.y - 1) & WORD
            elif argument == 5:
                taken = self.x != self.y
            elif argument == 6:
                taken = bool(block.inputs >> self.jmp_pin & 1)
            else:
                taken = self.osr_count < 32
            return True, low if taken else None
        if kind == 5:
            value = self._source(low & 7)
            operation = low >> 3
            if operation == 1:
                value ^= WORD
            elif operation == 2:
                value = _reversed(value)
            if argument == 0:
                block.write_pins(self.out_base, self.out_count, value)
            elif argument == 1:
                self.x = value
            elif argument == 2:
                self.y = value
            elif argument == 5:
                return True, value & 31
            elif argument == 6:
                self.isr = value
                self.isr_count = 0
            elif argument == 7:
                self.osr = value
                self.osr_count = 0
            else:
                raise ValueError("mov to exec is not modelled")
            return True, None
        if kind == 3:
            count = low or 32
            mask = (1 << count) - 1
            if self.out_right:
                value = self.osr & mask
                self.osr >>= count
            else:
                value = self.osr >> (32 - count)
                self.osr = self.osr << count & WORD
            self.osr_count = min(32, self.osr_count + count)
            if argument == 0:
                block.write_pins(self.out_base, self.out_count, value)
            elif argument == 1:
                self.x = value
            elif argument == 2:
                self.y = value
            elif argument == 3:
                pass
            elif argument == 5:
                return True, value & 31
            elif argument == 6:
                self.isr = value
                self.isr_count = count
            else:
                raise ValueError("out to pindirs or exec is not modelled")
            return True, None
        if kind == 2:
            count = low or 32
            value = self._source(argument) & ((1 << count) - 1)
            if self.in_right:
                self.isr = (self.isr >> count | value << (32 - count)) & WORD
            else:
                self.isr = (self.isr << count | value) & WORD
            self.isr_count = min(32, self.isr_count + count)
            return True, None
        if kind == 4:
            blocking = instruction & 0x20
            if instruction & 0x80:
                if not self.tx:
                    if blocking:
                        return False, None
                    self.osr = self.x
                else:
                    self.osr = self.tx.pop(0)
                self.osr_count = 0
                return True, None
            if len(self.rx) >= self.depth(True):
                block.fdebug |= 1 << self.number
                if blocking:
                    return False, None
            else:
                self.rx.append(self.isr)
            self.isr = 0
            self.isr_count = 0
            return True, None
        if kind == 7:
            if argument == 0:
                block.write_pins(self.set_base, self.set_count, low)
            elif argument == 1:
                self.x = low
            elif argument == 2:
                self.y = low
            elif argument == 4:
                block.write_dirs(self.set_base, self.set_count, low)
            return True, None
        raise ValueError("instruction %04x is not modelled" % instruction)

    def _source(self, source):
        if source == 0:
            inputs = self.block.inputs
            base = self.in_base
            return (inputs >> base | inputs << (32 - base)) & WORD
        if source == 1:
            return self.x
        if source == 2:
            return self.y
        if source == 3:
            return 0
        if source == 6:
            return self.isr
        if source == 7:
            return self.osr
        raise ValueError("source %d is not modelled" % source)


class Block:
    """One PIO block. `inputs` is what the two-flop synchronisers show; the owner sets it every cycle."""

    def __init__(self):
        self.memory = [0] * 32
        self.used = 0
        self.inputs = 0
        self.outputs = 0
        self.dirs = 0
        self.fdebug = 0
        self.machines = [Machine(self, number) for number in range(4)]

    def write_pins(self, base, count, value):
        for bit in range(count):
            mask = 1 << (base + bit) % 32
            if value >> bit & 1:
                self.outputs |= mask
            else:
                self.outputs &= ~mask

    def write_dirs(self, base, count, value):
        for bit in range(count):
            mask = 1 << (base + bit) % 32
            if value >> bit & 1:
                self.dirs |= mask
            else:
                self.dirs &= ~mask

    def load(self, words):
        """Loads a program as high as it fits, jumps relocated; its offset."""
        size = len(words)
        mask = (1 << size) - 1
        for offset in range(32 - size, -1, -1):
            if not self.used & mask << offset:
                self.used |= mask << offset
                for n, word in enumerate(words):
                    is_jump = word >> 13 == 0
                    self.memory[offset + n] = word + offset if is_jump else word
                return offset
        raise OSError(12)

    def enable(self, mask):
        for machine in self.machines:
            if mask >> machine.number & 1:
                machine.enabled = True

    def disable(self, mask):
        for machine in self.machines:
            if mask >> machine.number & 1:
                machine.enabled = False

    def step(self):
        for machine in self.machines:
            if machine.enabled and machine.divider == 1:
                machine.step()


def snapshot(machines):
    """Registers and signatures of running machines, for `steps_between`."""
    return (
        [machine.signature() for machine in machines],
        [(machine.x, machine.y, machine.isr, machine.osr) for machine in machines],
    )


def steps_between(before, after):
    """What the registers of each machine fall by in one period, or None when machines do not merely count.

    `before` and `after` are snapshots one period apart, during which neither pins nor FIFOs changed: when
    every machine is where it was, only its counters lower, the same period repeats until one comes to zero.
    """
    if before[0] != after[0]:
        return None
    steps = []
    for then, now in zip(before[1], after[1]):
        step = [b - a for b, a in zip(then, now)]
        if min(step) < 0:
            return None
        steps.append(step)
    return steps


def leap(machines, steps, period, most):
    """Skips as many whole periods as fit into `most` cycles with no counter near zero; returns the cycles."""
    periods = most // period
    for machine, step in zip(machines, steps):
        for value, fall in zip((machine.x, machine.y, machine.isr, machine.osr), step):
            if fall:
                periods = min(periods, (value - MARGIN) // fall)
    if periods <= 0:
        return 0
    for machine, step in zip(machines, steps):
        machine.x -= periods * step[0]
        machine.y -= periods * step[1]
        machine.isr -= periods * step[2]
        machine.osr -= periods * step[3]
    return periods * period
