"""The stand-in assembler gives the words the chip's own would."""

import pytest
from rp2040py.utils import pio_assembler as other

from tests.firmware.board.emulator import PROGRAMS, SAMPLER
from tests.firmware.board.standin import asm

# Programs whose words are printed in the RP2040 datasheet and its SDK's examples (from memory).
NAMES = asm.names(asm.Emitter())


def assembled(source: str, **keywords: object) -> list[int]:
    space: dict[str, object] = {}
    body = "\n    ".join(source.strip().splitlines())
    exec(f"def program():\n    {body}\n", space)
    prog = asm.asm_pio(**keywords)(space["program"])
    words: list[int] = prog[asm.PROG_DATA]
    return words


def test_square_wave_program() -> None:
    words = assembled("set(pindirs, 1)\nlabel('again')\nset(pins, 1)[1]\nset(pins, 0)\njmp('again')")
    assert words == [0xE081, 0xE101, 0xE000, 0x0001]


def test_light_strip_program_with_side_set() -> None:
    words = assembled(
        "label('loop')\nout(x, 1).side(0)[2]\njmp(not_x, 'zero').side(1)[1]\njmp('loop').side(1)[4]\n"
        "label('zero')\nnop().side(0)[4]",
        sideset_init=2,
    )
    assert words == [0x6221, 0x1123, 0x1400, 0xA442]


def test_serial_sender_with_optional_side_set() -> None:
    words = assembled(
        "pull().side(1)[7]\nset(x, 7).side(0)[7]\nlabel('bit')\nout(pins, 1)\njmp(x_dec, 'bit')[6]",
        sideset_init=3,
    )
    assert words == [0x9FA0, 0xF727, 0x6001, 0x0642]


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("jmp(x_not_y, 'l')", other.pio_jmp(0, other.PIO_COND_XNEY)),
        ("jmp(y_dec, 'l')", other.pio_jmp(0, other.PIO_COND_YDEC)),
        ("jmp(pin, 'l')[17]", other.pio_jmp(0, other.PIO_COND_PIN, 17)),
        ("mov(osr, pins)", other.pio_mov(other.PIO_MOV_DEST_OSR, other.PIO_SRC_PINS)),
        (
            "mov(isr, invert(null))",
            other.pio_mov(other.PIO_MOV_DEST_ISR, other.PIO_SRC_NULL, other.PIO_OP_INVERT),
        ),
        (
            "mov(x, reverse(isr))",
            other.pio_mov(other.PIO_MOV_DEST_X, other.PIO_SRC_ISR, other.PIO_OP_BITREV),
        ),
        ("out(y, 11)", other.pio_out(other.PIO_DEST_Y, 11)),
        ("out(pins, 32)", other.pio_out(other.PIO_DEST_PINS, 32)),
        ("set(pins, 3)", other.pio_set(other.PIO_DEST_PINS, 3)),
        ("in_(pins, 11)", other.pio_in(other.PIO_SRC_PINS, 11)),
        ("wait(1, gpio, 5)", other.pio_wait(True, other.PIO_WAIT_SRC_GPIO, 5)),
    ],
)
def test_words_equal_those_of_an_independent_assembler(text: str, word: int) -> None:
    assert assembled("label('l')\n" + text) == [word]


def test_push_and_pull_flags() -> None:
    # Datasheet: bit 5 blocks, bit 6 is 'if full' or 'if empty', bit 7 tells pull from push.
    words = assembled("push()\npush(noblock)\npush(iffull, noblock)\npull()\npull(noblock)\npull(ifempty)")
    assert words == [0x8020, 0x8000, 0x8040, 0x80A0, 0x8080, 0x80E0]


@pytest.mark.parametrize("text", ["set(pins, 1)[32]", "jmp('nowhere')", "in_(pins, 33)"])
def test_what_the_chip_cannot_do_is_refused(text: str) -> None:
    with pytest.raises(asm.PIOASMError):
        assembled(text)


def test_programs_fit_the_instruction_memories() -> None:
    sampler = len(SAMPLER[asm.PROG_DATA])
    lamps = len(PROGRAMS.lamp_row[asm.PROG_DATA])
    release = len(PROGRAMS.release(19)[asm.PROG_DATA])
    assert sampler + lamps <= 32
    # A board with a radio keeps up to six instructions of the second block for it.
    assert release + 6 <= 32


def test_instructions_executed_by_number_are_what_their_names_say() -> None:
    from tests.firmware.board.loading import Loaded

    loaded = Loaded()
    sampler, releases, lamps = (loaded.use("board." + name) for name in ("sampler", "releases", "lamps"))
    assert assembled("mov(isr, invert(null))\nmov(x, null)") == [sampler.MOV_ISR_ALL_ONES, sampler.MOV_X_ZERO]
    assert assembled("set(pins, 0)") == [releases.SET_PINS_OPEN]
    two = {"sideset_init": (2, 2)}
    assert assembled("pull().side(0)\nmov(isr, osr).side(0)", **two) == [lamps.PULL, lamps.MOV_ISR_OSR]
    assert assembled("nop().side(1)\nnop().side(2)\nset(pins, 0).side(0)", **two) == [
        lamps.CLOCK_HIGH,
        lamps.LATCH_HIGH,
        lamps.ALL_LOW,
    ]
