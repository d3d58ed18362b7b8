"""What the LEDs say can be read without telling blue from orange."""

from coincide_firmware.app import lights
from coincide_firmware.app.light_words import PATTERNS
from coincide_firmware.app.lights import Lights
from coincide_firmware.app.messages import FRAME_VERDICTS
from tests.firmware.app.stand_in import TICKS_A_MS, StandInBoard

VERDICTS = FRAME_VERDICTS


def rhythm(steps):
    """Lengths of light and dark in turn, colours ignored."""
    lengths = []
    lit_before = None
    for blue, orange, ms in steps:
        lit = bool(blue or orange)
        if lit == lit_before:
            lengths[-1] += ms
        else:
            lengths.append(ms)
        lit_before = lit
    if not lit_before and lengths:
        lengths.pop()
    return tuple(lengths)


def played(name):
    board = StandInBoard()
    show = Lights(board)
    board.led_log.clear()
    show.show(name, board.millis())
    for _ in range(500):
        due = show.due_in(board.millis())
        board.idle(max(1, min(due, 100)))
        show.advance(board.millis())
    return board


def test_every_verdict_has_a_pattern():
    names = [row[0] for row in PATTERNS]
    for verdict in VERDICTS:
        assert verdict in names


def test_no_two_verdicts_share_a_rhythm():
    steps = {row[0]: row[3] for row in PATTERNS}
    rhythms = [rhythm(steps[name]) for name in VERDICTS]
    assert len(set(rhythms)) == len(VERDICTS)


def test_verdicts_differ_in_the_count_or_the_length_of_flashes_plainly():
    # Within: one flash. Everything else: more than one, so a glance that sees two is enough.
    steps = {row[0]: row[3] for row in PATTERNS}
    flashes = {name: (len(rhythm(steps[name])) + 1) // 2 for name in VERDICTS}
    assert flashes["within"] == 1
    assert all(count > 1 for name, count in flashes.items() if name != "within")


def test_only_within_and_armed_are_blue_alone():
    for name, _, _, steps, _ in PATTERNS:
        blue_alone = all(not orange for _, orange, _ in steps) and any(blue for blue, _, _ in steps)
        assert blue_alone == (name in (lights.WITHIN, lights.ARMED)), name


def test_a_pattern_is_played_as_written_and_ends_dark():
    for name, _, _, steps, stays in PATTERNS:
        board = played(name)
        log = board.led_log
        assert [(blue, orange) for _, blue, orange in log[: len(steps)]] == [
            (blue, orange) for blue, orange, _ in steps
        ], name
        for i in range(1, len(steps)):
            assert 0 <= log[i][0] - log[i - 1][0] - steps[i - 1][2] <= 1, name
        assert board.led == ((1, 0) if stays else (0, 0)), name


def test_one_pattern_can_wait_for_another():
    board = StandInBoard()
    show = Lights(board)
    show.show(lights.WITHIN, 0)
    show.then(lights.LOG_FULL)
    orange_ms = 0
    while board.now < 8000 * TICKS_A_MS:
        board.idle(10)
        show.advance(board.millis())
        orange_ms += 10 * board.led[1]
    assert 2500 < orange_ms < 2900


def test_presets_are_counted_out():
    for number in range(1, 9):
        board = StandInBoard()
        show = Lights(board)
        board.led_log.clear()
        show.show_preset(number, 0)
        for _ in range(800):
            board.idle(10)
            show.advance(board.millis())
        assert sum(blue for _, blue, _ in board.led_log) == number
