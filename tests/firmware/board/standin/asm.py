"""A stand-in for the assembler of MicroPython's `rp2` module: the same functions, the same words.

Written from the documented behaviour of `rp2.asm_pio` and the instruction encodings of the RP2040
datasheet (chapter PIO, section 'Instruction set'; from memory). Two passes over the decorated function,
whose global names are replaced by the assembler's while it runs, exactly as on the board, so the source
that is tested is the source the chip gets.
"""

PROG_DATA = 0
PROG_OFFSET_PIO0 = 1
PROG_OFFSET_PIO1 = 2
PROG_EXECCTRL = 3
PROG_SHIFTCTRL = 4
PROG_OUT_PINS = 5
PROG_SET_PINS = 6
PROG_SIDESET_PINS = 7

INSTRUCTIONS_MOST = 32


class PIOASMError(Exception):
    pass


class PIO:
    IN_LOW = 0
    IN_HIGH = 1
    OUT_LOW = 2
    OUT_HIGH = 3
    SHIFT_LEFT = 0
    SHIFT_RIGHT = 1
    JOIN_NONE = 0
    JOIN_TX = 1
    JOIN_RX = 2


def _pins(init):
    """Initial states as a tuple; None stays None."""
    if init is None:
        return None
    return (init,) if isinstance(init, int) else tuple(init)


class Emitter:
    def __init__(
        self,
        out_init=None,
        set_init=None,
        sideset_init=None,
        side_pindir=False,
        in_shiftdir=0,
        out_shiftdir=0,
        autopush=False,
        autopull=False,
        push_thresh=32,
        pull_thresh=32,
        fifo_join=0,
    ):
        self.labels = {}
        shiftctrl = (
            fifo_join << 30
            | (pull_thresh & 31) << 25
            | (push_thresh & 31) << 20
            | out_shiftdir << 19
            | in_shiftdir << 18
            | autopull << 17
            | autopush << 16
        )
        self.prog = [[], -1, -1, 0, shiftctrl, _pins(out_init), _pins(set_init), _pins(sideset_init)]
        self.wrap_used = False
        self.sideset_count = 0 if self.prog[PROG_SIDESET_PINS] is None else len(self.prog[PROG_SIDESET_PINS])
        self.side_pindir = side_pindir
        self.sideset_opt = False

    def start_pass(self, number):
        if number == 1:
            if not self.wrap_used and self.num_instr:
                self.wrap()
            self.delay_max = 31
            if self.sideset_count:
                self.sideset_opt = self.num_sideset != self.num_instr
                if self.sideset_opt:
                    self.prog[PROG_EXECCTRL] |= 1 << 30
                    self.sideset_count += 1
                self.prog[PROG_EXECCTRL] |= self.side_pindir << 29
                self.delay_max >>= self.sideset_count
            if self.num_instr > INSTRUCTIONS_MOST:
                raise PIOASMError("program too long")
        self.pass_number = number
        self.num_instr = 0
        self.num_sideset = 0

    def __getitem__(self, cycles):
        return self.delay(cycles)

    def delay(self, cycles):
        if self.pass_number > 0:
            if not 0 <= cycles <= self.delay_max:
                raise PIOASMError("delay too large")
            self.prog[PROG_DATA][-1] |= cycles << 8
        return self

    def side(self, value):
        self.num_sideset += 1
        if self.pass_number > 0:
            if self.sideset_count == 0:
                raise PIOASMError("no sideset")
            bits = self.sideset_count - (1 if self.sideset_opt else 0)
            if value >= 1 << bits:
                raise PIOASMError("sideset too large")
            self.prog[PROG_DATA][-1] |= self.sideset_opt << 12 | value << (13 - self.sideset_count)
        return self

    def wrap_target(self):
        self.prog[PROG_EXECCTRL] |= self.num_instr << 7

    def wrap(self):
        if self.num_instr == 0:
            raise PIOASMError("wrap of nothing")
        self.prog[PROG_EXECCTRL] |= (self.num_instr - 1) << 12
        self.wrap_used = True

    def label(self, name):
        if self.pass_number == 0:
            if name in self.labels:
                raise PIOASMError("duplicate label " + name)
            self.labels[name] = self.num_instr

    def word(self, instruction, label=None):
        self.num_instr += 1
        if self.pass_number > 0:
            address = 0
            if label is not None:
                if label not in self.labels:
                    raise PIOASMError("unknown label " + label)
                address = self.labels[label]
            self.prog[PROG_DATA].append(instruction | address)
        return self

    def nop(self):
        return self.word(0xA042)

    def jmp(self, condition, label=None):
        if label is None:
            condition, label = 0, condition
        return self.word(condition << 5, label)

    def wait(self, polarity, source, index):
        if source == 6:
            source = 1  # `pin` names the jmp pin elsewhere
        elif source != 0:
            source = 2
        return self.word(0x2000 | polarity << 7 | source << 5 | index)

    def in_(self, source, count):
        if not 0 < count <= 32:
            raise PIOASMError("invalid bit count")
        return self.word(0x4000 | source << 5 | count & 31)

    def out(self, destination, count):
        if not 0 < count <= 32:
            raise PIOASMError("invalid bit count")
        if destination == 8:
            destination = 7
        return self.word(0x6000 | destination << 5 | count & 31)

    def push(self, first=0, second=0):
        flags = first | second
        if not flags & 1:
            flags |= 0x20
        return self.word(0x8000 | flags & 0x60)

    def pull(self, first=0, second=0):
        flags = first | second
        if not flags & 1:
            flags |= 0x20
        return self.word(0x8080 | flags & 0x60)

    def mov(self, destination, source):
        if destination == 8:
            destination = 4
        return self.word(0xA000 | destination << 5 | source)

    def irq(self, mode, index=None):
        if index is None:
            mode, index = 0, mode
        return self.word(0xC000 | mode & 0x60 | index)

    def set(self, destination, data):
        return self.word(0xE000 | destination << 5 | data)


def names(emit):
    """The global names a program sees."""
    return {
        "gpio": 0,
        "pins": 0,
        "x": 1,
        "y": 2,
        "null": 3,
        "pindirs": 4,
        "pc": 5,
        "status": 5,
        "isr": 6,
        "osr": 7,
        "exec": 8,
        "invert": lambda source: source | 0x08,
        "reverse": lambda source: source | 0x10,
        "not_x": 1,
        "x_dec": 2,
        "not_y": 3,
        "y_dec": 4,
        "x_not_y": 5,
        "pin": 6,
        "not_osre": 7,
        "noblock": 0x01,
        "block": 0x21,
        "clear": 0x40,
        "iffull": 0x40,
        "ifempty": 0x40,
        "rel": lambda index: index | 0x10,
        "wrap_target": emit.wrap_target,
        "wrap": emit.wrap,
        "label": emit.label,
        "word": emit.word,
        "nop": emit.nop,
        "jmp": emit.jmp,
        "wait": emit.wait,
        "in_": emit.in_,
        "out": emit.out,
        "push": emit.push,
        "pull": emit.pull,
        "mov": emit.mov,
        "irq": emit.irq,
        "set": emit.set,
    }


def asm_pio(**keywords):
    def assemble(function):
        emit = Emitter(**keywords)
        known = function.__globals__
        kept = dict(known)
        known.clear()
        known.update(names(emit))
        try:
            emit.start_pass(0)
            function()
            emit.start_pass(1)
            function()
        finally:
            known.clear()
            known.update(kept)
        return emit.prog

    return assemble


def asm_pio_encode(text, sideset_count=0):
    emit = Emitter()
    emit.delay_max = 31
    emit.sideset_count = sideset_count
    emit.start_pass(0)
    emit.pass_number = 1
    emit.delay_max = 31
    eval(text, names(emit))
    return emit.prog[PROG_DATA][0]
