"""The modules the firmware imports on the board (`machine`, `rp2`, `uctypes`, ...), played by a `Chip`.

Only what the firmware uses is there: anything else is an AttributeError, which is the point. Each behaves
as MicroPython documents it for the rp2 port, down to what it leaves alone.
"""

import gc

from . import asm
from .chip import PIO0, REASON_FORCED, SIO

TICKS_PERIOD = 1 << 30


class Namespace:
    """A module made of attributes."""

    def __init__(self, **names):
        for name, thing in names.items():
            setattr(self, name, thing)


class Peer:
    """The host's end of the USB line: bytes to the box, bytes from the box, a host that reads or not."""

    def __init__(self):
        self.to_box = bytearray()
        self.from_box = bytearray()
        self.reading = True
        self.room = 256
        self.waited = 0  # writes that had to wait for the host
        self.interrupt_key = 3


class Files:
    """The board's file system: paths to bytes. Only what the file store asks for."""

    def __init__(self):
        self.directories = ["/"]
        self.contents = {}
        self.failing = False
        self.stall = None  # called whenever a file is written: flash holds everything up


class OpenFile:
    def __init__(self, files, path, mode):
        self._files = files
        self._path = path
        self._at = 0
        self._mode = mode
        if mode == "rb":
            if path not in files.contents:
                raise OSError(2)
            self._bytes = files.contents[path]
        elif mode == "wb":
            self._bytes = b""
        else:
            self._bytes = files.contents.get(path, b"")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        if self._mode != "rb":
            if self._files.stall is not None:
                self._files.stall()
            self._files.contents[self._path] = self._bytes

    def seek(self, at):
        self._at = at

    def read(self, count=-1):
        end = None if count < 0 else self._at + count
        return self._bytes[self._at : end]

    def write(self, data):
        if self._files.failing:
            raise OSError(5)
        self._bytes += bytes(data)
        return len(data)


def make_modules(chip, peer, files):
    """Name to module, for one chip."""
    machine = _machine(chip)
    return {
        "machine": machine,
        "rp2": _rp2(chip, machine.Pin),
        "uctypes": Namespace(addressof=_addressof(chip), bytearray_at=chip.bytes_at),
        "micropython": Namespace(
            const=lambda value: value, kbd_intr=lambda key: setattr(peer, "interrupt_key", key)
        ),
        "time": _time(chip),
        "select": _select(chip, peer),
        "sys": _sys(chip, peer),
        "os": _os(files),
        "gc": Namespace(collect=gc.collect, threshold=lambda bytes_between: None),
    }


def opener(files):
    """The board's `open`."""
    return lambda path, mode="r": OpenFile(files, path, mode)


def _addressof(chip):
    known = []

    def addressof(thing):
        for other, address in known:
            if other is thing:
                return address
        # Not on a boundary of anything: alignment is the firmware's own business.
        address = chip.allocate(len(thing), 4)
        known.append((thing, address))
        return address

    return addressof


def _machine(chip):
    class Pin:
        IN = 0
        OUT = 1
        PULL_UP = 1
        PULL_DOWN = 2

        def __init__(self, gpio, mode=-1, pull=-1, value=None):
            self.gpio = gpio
            mask = 1 << gpio
            if value is not None:
                self._set(value)
            if mode >= 0:
                chip.give(gpio, SIO)
                if mode == Pin.OUT:
                    chip.sio_dir |= mask
                else:
                    chip.sio_dir &= ~mask
                if pull == Pin.PULL_UP:
                    chip.pull_up |= mask
                else:
                    chip.pull_up &= ~mask
            chip.touch()
            chip.update_pads()

        def _set(self, value):
            if value:
                chip.sio_out |= 1 << self.gpio
            else:
                chip.sio_out &= ~(1 << self.gpio)

        def value(self, level=None):
            chip.spend()
            if level is None:
                return chip.pads >> self.gpio & 1
            self._set(level)
            chip.touch()
            chip.update_pads()
            return None

    class Mem32:
        def __getitem__(self, address):
            word = chip.load(address)
            # MicroPython hands a word out as the machine's own integer, which has a sign: bit 31 may be it.
            return word - (1 << 32) if chip.signed_words and word >> 31 else word

        def __setitem__(self, address, value):
            chip.store(address, value)

    class Mem16:
        def __getitem__(self, address):
            return chip.load(address) & 0xFFFF

    class WDT:
        def __init__(self, timeout=5000):
            if timeout > 8388:
                raise ValueError("timeout exceeds 8388")
            chip.watchdog_ms = timeout
            chip.fed = chip.cycle

        def feed(self):
            chip.fed = chip.cycle

    def reset():
        chip.restart(REASON_FORCED, "machine.reset")

    return Namespace(
        Pin=Pin,
        mem16=Mem16(),
        mem32=Mem32(),
        WDT=WDT,
        freq=lambda: chip.freq,
        reset=reset,
        reset_cause=lambda: chip.reset_cause,
        PWRON_RESET=1,
        WDT_RESET=3,
        unique_id=lambda: b"\x01\x23\x45\x67\x89\xab\xcd\xef",
    )


def _rp2(chip, pin_class):
    def loaded(program, block_number):
        """The program's offset in a block: loaded once, as MicroPython does it."""
        field = asm.PROG_OFFSET_PIO0 + block_number
        if program[field] < 0:
            program[field] = chip.blocks[block_number].load(program[asm.PROG_DATA])
        return program[field]

    class StateMachine:
        def __init__(
            self,
            number,
            program,
            freq=-1,
            in_base=None,
            out_base=None,
            set_base=None,
            jmp_pin=None,
            sideset_base=None,
        ):
            block_number = number >> 2
            block = chip.blocks[block_number]
            machine = block.machines[number & 3]
            machine.enabled = False
            machine.divider = 1 if freq < 0 else chip.freq // freq
            offset = loaded(program, block_number)
            execctrl = program[asm.PROG_EXECCTRL]
            shiftctrl = program[asm.PROG_SHIFTCTRL]
            machine.wrap_bottom = offset + (execctrl >> 7 & 31)
            machine.wrap_top = offset + (execctrl >> 12 & 31)
            machine.side_opt = bool(execctrl >> 30 & 1)
            machine.in_right = bool(shiftctrl >> 18 & 1)
            machine.out_right = bool(shiftctrl >> 19 & 1)
            machine.join = shiftctrl >> 30
            machine.clear_fifos()
            machine.restart()
            machine.pc = offset
            if in_base is not None:
                machine.in_base = in_base.gpio
            if jmp_pin is not None:
                machine.jmp_pin = jmp_pin.gpio
            groups = (
                (out_base, asm.PROG_OUT_PINS, "out"),
                (set_base, asm.PROG_SET_PINS, "set"),
                (sideset_base, asm.PROG_SIDESET_PINS, "side"),
            )
            for base, field, name in groups:
                init = program[field]
                if base is None or init is None:
                    continue
                setattr(machine, name + "_base", base.gpio)
                setattr(machine, name + "_count", len(init))
                for n, state in enumerate(init):
                    block.write_pins(base.gpio + n, 1, state & 1)
                    block.write_dirs(base.gpio + n, 1, state >> 1)
                    chip.give(base.gpio + n, PIO0 + block_number)
            chip.touch()
            chip.update_pads()

    class DMA:
        def __init__(self):
            self.channel = chip.claimed
            chip.claimed += 1
            self._dma = chip.dma[self.channel]

        def pack_ctrl(
            self,
            enable=True,
            high_pri=False,
            size=2,
            inc_read=True,
            inc_write=True,
            ring_size=0,
            ring_sel=False,
            treq_sel=63,
            irq_quiet=True,
        ):
            return (
                enable
                | high_pri << 1
                | size << 2
                | inc_read << 4
                | inc_write << 5
                | ring_size << 6
                | ring_sel << 10
                | self.channel << 11
                | treq_sel << 15
                | irq_quiet << 21
            )

        def config(self, read=None, write=None, count=None, ctrl=None, trigger=False):
            dma = self._dma
            if ctrl >> 2 & 3 not in (1, 2) or (ctrl >> 6 & 15 and not ctrl >> 10 & 1):
                raise ValueError("only words and halves of them, and rings on the write side, are modelled")
            if ctrl >> 6 & 15 and write % (1 << (ctrl >> 6 & 15)):
                raise ValueError("the ring does not lie on a boundary of its size")
            dma.read, dma.write, dma.ctrl = read, write, ctrl
            if count is not None:
                dma.set_count(count, chip.name)
            dma.busy = bool(trigger)
            chip.touch()

        def active(self, value=None):
            if value is not None:
                self._dma.busy = bool(value)
            return self._dma.busy

    return Namespace(asm_pio=asm.asm_pio, PIO=asm.PIO, StateMachine=StateMachine, DMA=DMA)


def _time(chip):
    def ticks(per_second):
        def now():
            chip.spend()
            return chip.cycle * per_second // chip.freq % TICKS_PERIOD

        return now

    def ticks_diff(a, b):
        return (a - b + TICKS_PERIOD // 2) % TICKS_PERIOD - TICKS_PERIOD // 2

    return Namespace(
        ticks_ms=ticks(1000),
        ticks_us=ticks(1000000),
        ticks_diff=ticks_diff,
        sleep_ms=lambda ms: chip.run(ms * chip.freq // 1000),
    )


def _select(chip, peer):
    pollin, pollout = 1, 4

    class Poll:
        def register(self, stream, flags):
            self.stream = stream
            self.flags = flags

        def ipoll(self, ms):
            if self.flags == pollout:
                chip.spend()
                if peer.reading:
                    peer.room = 256
                ready = peer.room > 0
            else:
                end = chip.cycle + ms * chip.freq // 1000
                chip.spend()
                while not peer.to_box and chip.cycle < end:
                    chip.run(chip.period() * (chip.freq // 10000 // chip.period()))
                ready = bool(peer.to_box)
            return [(self.stream, self.flags)] if ready else []

    return Namespace(poll=Poll, POLLIN=pollin, POLLOUT=pollout)


def _sys(chip, peer):
    class Incoming:
        def readinto(self, buffer):
            if not peer.to_box:
                raise AssertionError("a read that would wait for ever")
            buffer[0] = peer.to_box[0]
            peer.to_box = peer.to_box[1:]
            return 1

    class Outgoing:
        def write(self, data):
            if len(data) > peer.room:
                # As MicroPython's port: it waits for the host, half a second at most, and drops what finds no room.
                chip.run(chip.freq // 2)
                peer.waited += 1
                data = data[: peer.room]
            peer.room -= len(data)
            peer.from_box += data
            return len(data)

    class Implementation:
        name = "micropython"
        _machine = "Raspberry Pi Pico with " + chip.name
        version = (1, 28, 0, "")

        def __getitem__(self, at):
            return (self.name, self.version)[at]

    return Namespace(
        stdin=Namespace(buffer=Incoming()),
        stdout=Namespace(buffer=Outgoing()),
        implementation=Implementation(),
    )


def _os(files):
    def stat(path):
        if files.failing:
            raise OSError(5)
        if path in files.directories:
            return (0x4000, 0, 0, 0, 0, 0, 0, 0, 0, 0)
        if path in files.contents:
            return (0x8000, 0, 0, 0, 0, 0, len(files.contents[path]), 0, 0, 0)
        raise OSError(2)

    def remove(path):
        if path not in files.contents:
            raise OSError(2)
        del files.contents[path]

    def listdir(path):
        return [name[len(path) + 1 :] for name in files.contents if name.startswith(path + "/")]

    return Namespace(
        stat=stat,
        mkdir=files.directories.append,
        remove=remove,
        listdir=listdir,
        statvfs=lambda path: (4096, 4096, 200, 150, 150, 0, 0, 0, 0, 255),
    )
