"""An interlock that was never seen open is not believed: nothing may be armed, by host or by hand."""

from coincide_firmware.app.safety import Guard


class Board:
    def __init__(self, closed):
        self.closed = closed

    def interlock_closed(self):
        return self.closed


def test_closed_from_the_start_it_is_not_believed_until_it_was_open():
    board = Board(True)
    guard = Guard(board)
    for _ in range(3):
        guard.read_interlock()
        assert (guard.interlock_closed, guard.interlock_proved) == (True, False)
    board.closed = False
    assert guard.read_interlock()
    board.closed = True
    guard.read_interlock()
    assert (guard.interlock_closed, guard.interlock_proved) == (True, True)


def test_open_at_the_start_is_proof_enough():
    board = Board(False)
    guard = Guard(board)
    board.closed = True
    guard.read_interlock()
    assert (guard.interlock_closed, guard.interlock_proved) == (True, True)
