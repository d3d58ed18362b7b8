# ruff: noqa: F821
# mypy: disable-error-code="name-defined, call-overload, arg-type"
"""The PIO programs, exactly as the chip runs them. Names such as `mov` belong to the assembler.

Every cycle counted below is a cycle of the system clock (clock divider 1), and every count is
proved in tests/firmware/board against a cycle-accurate emulator fed from this very file.

SAMPLER. Three machines of PIO0 run one loop of six cycles, started on one cycle at phases 0, 2 and 4:
together they look at all eleven pins every second cycle (16 ns at 125 MHz). X holds the pins as last
seen, ISR counts loops downwards.

    cycle 0   mov(osr, pins)      the look; the tick of an edge is the tick of this instruction
          1   out(y, 11)          eleven pins, the rest masked away
          2   jmp(x_not_y)        nothing new ...
          3   mov(y, isr)
          4   jmp(y_dec)          ... one loop counted
          5   mov(isr, y)         next look at cycle 6

    after a change, from cycle 3: seven instructions, the last lasting three cycles: next look at
    cycle 12. A change costs exactly two loops and is not counted, so a machine never leaves its phase:

    tick of a look = 6 * loops counted + 12 * records before it + phase

RELEASE. Two machines of PIO1, one a body, started on one cycle. Two words each, both pulled before
any pin moves, so an empty FIFO can hold nothing closed:

    closure word: bits 0-1 pins of the second part, bits 2-26 its length in closure loops, less one
    lead word:    bit 0 odd cycle, bits 1-28 length of the first part in double cycles,
                  bits 29-30 pins of the first part

    first part  = 5 + lead word count (cycles), second part = 2 + closure_loop * (count + 1)

The field widths are the hardware's own limit: whatever Python writes, 28 bits of double cycles and 25
bits of closure loops are the longest a pin can stay closed. The interlock (the jmp pin, high = open) is
looked at in both parts; open leads, as the end of the closure does, to `open`, an endless `set(pins, 0)`
that no further word can leave.

LAMP ROW. One machine of PIO0. ISR holds 64, the bits of the longest chain; one FIFO word a row: bits
0-6 lamps, bits 7-31 the rest of a step. X counts lamps down to 0. Every step shifts all 64 outputs anew,
one lit where the bit number equals X, none at X = 0, and latches: a glitch lives one step, a chain
longer than the row stays dark, and each row ends dark by itself. Output n of the chain (from 1) is lit
while X = n, so the row lights from output `lamps` down to output 1. Clock and data are held 40 ns and
33 ns at 150 MHz (48 and 40 ns at 125 MHz): logic of the HC family needs about 25 and 20 ns at 3.3 V.
Pins: data (set), clock and latch (side-set).

CONTACTS. One machine of PIO1, its clock divided to 4 kHz: the contacts' pins every sixteen of its cycles, 4 ms.
"""

import rp2

from . import plans

PIN_COUNT = 11
PHASES = (0, 2, 4)

# Instructions before the end of the release program, where its wrap target is.
RELEASE_OPEN_AT = 16


@rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT, out_shiftdir=rp2.PIO.SHIFT_RIGHT, fifo_join=rp2.PIO.JOIN_RX)
def sampler():
    nop()[1]  # entry for phase 4
    nop()[1]  # entry for phase 2
    wrap_target()  # entry for phase 0
    label("look")
    mov(osr, pins)
    out(y, 11)
    jmp(x_not_y, "changed")
    mov(y, isr)
    jmp(y_dec, "counted")
    label("counted")
    mov(isr, y)
    wrap()
    label("changed")
    mov(osr, isr)
    push(noblock)  # never `block`: a stalled machine would stop its own clock
    mov(isr, y)
    push(noblock)
    mov(x, y)
    mov(isr, osr)
    jmp("look")[2]


def release(closure_loop_cycles):
    """The release program whose closure counts in steps of `closure_loop_cycles` (2 to 33)."""

    @rp2.asm_pio(
        out_init=(rp2.PIO.OUT_LOW, rp2.PIO.OUT_LOW),
        set_init=(rp2.PIO.OUT_LOW, rp2.PIO.OUT_LOW),
        out_shiftdir=rp2.PIO.SHIFT_RIGHT,
    )
    def program(delay=closure_loop_cycles - plans.CLOSURE_LOOP_LEAST):
        pull()  # closure word
        mov(isr, osr)
        pull()  # lead word
        out(x, 1)
        out(y, 28)
        jmp(pin, "open")
        out(pins, 2)  # first part begins
        mov(osr, isr)
        jmp(not_x, "lead")
        nop()
        label("lead")
        jmp(pin, "open")
        jmp(y_dec, "lead")
        out(pins, 2)  # second part begins
        out(x, 25)
        label("closed")
        jmp(pin, "open")
        jmp(x_dec, "closed")[delay]
        label("open")
        wrap_target()
        set(pins, 0)
        wrap()

    return program


@rp2.asm_pio(in_shiftdir=rp2.PIO.SHIFT_LEFT, autopush=True, push_thresh=16, fifo_join=rp2.PIO.JOIN_RX)
def contacts():
    wrap_target()
    in_(pins, 16)[15]
    wrap()


@rp2.asm_pio(
    set_init=rp2.PIO.OUT_LOW,
    sideset_init=(rp2.PIO.OUT_LOW, rp2.PIO.OUT_LOW),
    out_shiftdir=rp2.PIO.SHIFT_RIGHT,
)
def lamp_row():
    wrap_target()
    pull().side(0)  # no word, no row
    out(x, 7).side(0)
    label("step")
    mov(y, isr).side(0)
    label("next")
    jmp(not_y, "shifted").side(0)
    set(pins, 0).side(0)
    jmp(x_not_y, "clock").side(0)[4]
    set(pins, 1).side(0)[4]
    label("clock")
    nop().side(1)[5]
    jmp(y_dec, "next").side(0)[4]
    label("shifted")
    nop().side(2)[5]
    mov(y, osr).side(0)
    label("lit")
    jmp(y_dec, "lit").side(0)
    jmp(x_dec, "step").side(0)
    wrap()
