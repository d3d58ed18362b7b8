"""Events are kept until acknowledged, in order, without gaps, in memory that does not grow."""

import json

from coincide_firmware.app.events import EventBuffer
from coincide_firmware.app.wire import decode_line


def drain(buffer):
    found = []  # type: list[dict]
    while True:
        line = buffer.next_line()
        if line is None:
            return found
        found.append(decode_line(line[:-1]))


def test_events_come_out_once_and_again_on_resend():
    buffer = EventBuffer(2000, 20)
    for number in range(5):
        assert buffer.put("overrun", {"lost": number}) == number + 1
    assert [event["lost"] for event in drain(buffer)] == [0, 1, 2, 3, 4]
    assert drain(buffer) == []
    assert buffer.ack(2)
    buffer.resend()
    assert [event["ev"] for event in drain(buffer)] == [3, 4, 5]
    assert buffer.unread == 3


def test_an_acknowledgement_of_the_future_is_refused():
    buffer = EventBuffer(2000, 20)
    buffer.put("overrun", {"lost": 1})
    assert not buffer.ack(2)
    assert buffer.unread == 1
    assert buffer.ack(1)
    assert buffer.ack(1)  # again, as a repeated line would
    assert buffer.unread == 0


def test_the_ring_carries_lines_over_its_end():
    buffer = EventBuffer(500, 20)
    size = 0
    for number in range(400):
        assert buffer.put("fault", {"code": "x" * (number % 90), "say": ""}) == number + 1
        (event,) = drain(buffer)
        assert event["ev"] == number + 1
        assert event["code"] == "x" * (number % 90)
        size += len(json.dumps(event))
        assert buffer.ack(number + 1)
    assert size > 20 * 500


def test_a_full_buffer_drops_and_counts_and_keeps_the_old():
    buffer = EventBuffer(600, 20)
    kept = 0
    while buffer.put("fault", {"code": "x", "say": "y" * 40}):
        kept += 1
    for _ in range(4):
        assert not buffer.put("fault", {"code": "x", "say": "y" * 40})
    assert buffer.dropped == 5
    assert len(drain(buffer)) == kept
    buffer.ack(kept)
    buffer.put("wound", {"by": "box"})
    told, wound = drain(buffer)
    assert told["is"] == "dropped"
    assert told["count"] == 5
    assert told["ev"] == kept + 1
    assert wound["ev"] == kept + 2


def test_the_count_of_lines_is_bounded_too():
    buffer = EventBuffer(100000, 4)
    for _ in range(4):
        assert buffer.put("wound", {})
    assert not buffer.put("wound", {})


def test_reserved_room_is_nobody_elses():
    buffer = EventBuffer(1000, 20)
    assert buffer.room_for(800, 3)
    buffer.reserve(800, 3)
    while buffer.put("wound", {"by": "box"}):
        pass
    assert buffer.unread < 6
    before = buffer.unread
    buffer.release()
    for _ in range(3):
        assert buffer.put("fault", {"code": "", "say": "z" * 150})
    assert buffer.unread > before


def test_an_acknowledged_line_half_sent_does_no_harm():
    buffer = EventBuffer(1000, 20)
    for number in range(3):
        buffer.put("overrun", {"lost": number})
    buffer.next_line()
    buffer.next_line()
    buffer.ack(1)
    assert [event["ev"] for event in drain(buffer)] == [3]
    buffer.ack(3)
    buffer.put("overrun", {"lost": 9})
    assert [event["ev"] for event in drain(buffer)] == [4]
