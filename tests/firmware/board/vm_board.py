# mypy: ignore-errors
"""Runs inside MicroPython (see vm.mjs): the real board layer and application on the stand-in chip.

Plain asserts; `run(name)` prints a verdict as one line of JSON.
"""

import gc
import io
import json
import sys

from standin import modules
from standin.chip import Chip, Reset

HZ = 125000000
chip = Chip(HZ)
peer = modules.Peer()
store = modules.Files()
real_print_exception = sys.print_exception
board_modules = modules.make_modules(chip, peer, store)
for gpio in range(6, 12):
    chip.drive(gpio, 1)
chip.drive(15, 0)


def with_modules(what):
    """Calls `what` with the chip's modules in place of this machine's own."""
    kept = {}
    for name in board_modules:
        if name in sys.modules:
            kept[name] = sys.modules[name]
        sys.modules[name] = board_modules[name]
    try:
        return what()
    finally:
        for name in board_modules:
            if name in kept:
                sys.modules[name] = kept[name]
            else:
                del sys.modules[name]


def load():
    import board.files
    import board.pico

    # This machine has no directory /data of its own to write to through `os`.
    board.files.open = modules.opener(store)
    return board.pico.Board()


board = with_modules(load)


def drained():
    edges = []
    found = -1
    while found != len(edges) or board._sampler.pending():
        found = len(edges)
        assert board.read_edges(lambda *edge: edges.append(edge)) == 0
    return edges


def test_a_pair_is_timed_to_the_tick():
    drained()
    board.start_pair(0, 12345, 5000, 20000)
    assert board.outputs_busy()
    chip.run(60000)
    assert not board.outputs_busy()
    edges = drained()
    rose = {channel: tick for channel, level, tick in edges if level}
    assert rose[0] == rose[2]
    assert abs(rose[3] - rose[1] - 12345) <= 1, rose
    assert len(edges) == 8


def test_inputs_are_seen_and_ticks_are_whole_numbers_beyond_32_bits():
    drained()
    for _ in range(5):
        chip.run(10 * HZ)
        drained()
    chip.drive(9, 0)
    chip.run(2000)
    edges = drained()
    assert len(edges) == 1, edges
    assert edges[0][:2] == (7, 1)
    assert edges[0][2] > 1 << 32
    assert abs(edges[0][2] - chip.cycle) < 20000
    chip.drive(9, 1)


def test_pull_downs_are_seen_and_the_pins_come_back():
    for gpio in (2, 4, 5):
        chip.drive(gpio, 0)  # 3 floats
    assert with_modules(board.pull_downs_held) == 0b1101
    for gpio in (2, 4, 5):
        chip.drive(gpio, None)
    assert board.outputs_closed() == 0
    drained()
    board.start_pulse(1, 5000)
    chip.run(20000)
    assert [edge[:2] for edge in drained()] == [(1, 1), (1, 0)]


def test_the_application_answers_on_the_board():
    def boot():
        from app import wire
        from app.box import Box

        return Box(board), wire

    box, wire = with_modules(boot)
    peer.to_box += wire.encode({"id": 7, "do": "identify"})
    for _ in range(200):
        board.idle(box.step())
        if peer.from_box:
            break
    for _ in range(40):
        board.idle(box.step())
    reply = json.loads(bytes(peer.from_box).split(b"\t")[0])
    assert reply["re"] == 7
    assert reply["ok"]["board"]["chip"] == "RP2040"


def test_very_last_the_host_may_restart_it_into_rescue_mode():
    def asked():
        from app import wire
        from app.box import Box
        from board import registers

        return Box(board), wire, registers

    box, wire, registers = with_modules(asked)
    peer.from_box = bytearray()
    peer.to_box += wire.encode({"id": 9, "do": "rescue", "boot": box.boot})
    over = None
    try:
        for _ in range(2000):
            board.idle(box.step())
    except Reset as reset:
        over = reset
    assert str(over) == "machine.reset", over
    assert b'"re": 9' in bytes(peer.from_box)
    chip.start_anew()
    assert registers.rescue_was_asked("RP2040")
    assert not registers.rescue_was_asked("RP2040")


def _drain_often():
    drained()
    for n in range(30):
        chip.drive(6, n % 2)
        chip.run(500)
        drained()
    chip.history = []
    gc.collect()


# This machine collects garbage only between two calls from outside: warm up, measure, use, measure, a call each.
def test_memory_1_warm():
    _drain_often()


def test_memory_2_before():
    memory.append(gc.mem_alloc())


def test_memory_3_use():
    _drain_often()


def test_memory_4_draining_leaves_nothing_behind():
    memory.append(gc.mem_alloc())
    assert memory[1] - memory[0] < 4096, memory


memory = []


def test_decoding_is_the_same_here_and_on_cpython():
    from board.sampling import Merger

    merger = Merger((0, 2, 4), 11, 0, 1 << 40, 0)
    count = 0xFFFFFFFF - 1000
    merger.take_all(0, (count & 0xFFFF, count >> 16, 5, 0), 0)
    merger.take_all(1, (count & 0xFFFF, count >> 16, 5, 0), 0)
    merger.skip(2, 3)
    merger.take_all(2, (0xFFF0, 0xFFFF, 4, 0), 0)
    edges = []
    merger.emit(lambda *edge: edges.append(edge), True)
    first = 1 << 40
    assert edges == [(2, 1, first + 6 * 15 + 36 + 4), (0, 1, first + 6000)], edges


def test_the_ring_memory_fits_a_board():
    from board import memory

    rings = (memory.MACHINES + 1) * memory.RING_BYTES
    assert rings <= 64 * 1024


NAMES = sorted(name for name in globals() if name.startswith("test_"))


def run(name):
    trace = ""
    try:
        globals()[name]()
    except BaseException as error:  # noqa: BLE001 - a verdict on everything
        out = io.StringIO()
        real_print_exception(error, out)
        trace = out.getvalue()
    print(json.dumps({"test": name, "ok": not trace, "trace": trace}))
