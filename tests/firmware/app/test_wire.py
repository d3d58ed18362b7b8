"""The wire codec: what goes in comes out, what was harmed is refused, and memory is bounded."""

import json

from coincide_firmware.app.wire import MAX_LINE_BYTES, LineReader, Refused, crc32_hex, decode_line, encode


def test_a_record_comes_back_as_it_was():
    record = {
        "id": 7,
        "do": "fire",
        "text": "tab\there, newline\nhere",
        "big": 1 << 53,
        "neg": -5,
        "none": None,
    }
    line = encode(record)
    assert line.endswith(b"\n")
    assert line.count(b"\n") == 1
    assert line.count(b"\t") == 1
    assert decode_line(line[:-1]) == record


def test_the_checksum_is_the_crc_of_ethernet():
    # The check value of CRC-32/ISO-HDLC in every catalogue of CRCs: "123456789" gives cbf43926.
    assert crc32_hex(b"123456789") == b"cbf43926"


def test_every_single_bit_error_is_seen():
    line = encode({"id": 1, "do": "status"})[:-1]
    for at in range(len(line)):
        for bit in range(8):
            harmed = bytearray(line)
            harmed[at] ^= 1 << bit
            if harmed[at] in (10, 13):
                continue  # makes two lines of one; each half is then refused
            found = decode_line(bytes(harmed))
            assert isinstance(found, Refused), harmed


def test_every_truncation_is_seen():
    line = encode({"id": 1, "do": "status"})[:-1]
    for keep in range(len(line)):
        assert isinstance(decode_line(line[:keep]), Refused)


def test_json_that_is_no_object_is_refused():
    for payload in (b"[1]", b"3", b'"x"', b"null", b"true", b"", b"{", b"[" * 800):
        found = decode_line(payload + b"\t" + crc32_hex(payload))
        assert isinstance(found, Refused), payload


def test_crowded_and_nested_lines_are_refused_before_they_cost_memory():
    for payload in (b"[" * 900, b'{"a":' * 100 + b"1" + b"}" * 100, b"[" + b"[]," * 64 + b"[]]"):
        found = decode_line(payload + b"\t" + crc32_hex(payload))
        assert isinstance(found, Refused)
        assert found.why == "too nested"
    record = {"list": [[number] for number in range(62)]}
    assert decode_line(encode(record)[:-1]) == record


def test_lines_come_out_whole_however_they_are_split():
    records = [{"id": number, "do": "status"} for number in range(5)]
    stream = b"".join(encode(record) for record in records)
    for step in (1, 2, 3, 7, 64, len(stream)):
        reader = LineReader()
        found = []
        for start in range(0, len(stream), step):
            found.extend(reader.feed(stream[start : start + step]))
        assert found == records


def test_an_endless_line_costs_one_refusal_and_no_memory():
    reader = LineReader()
    for _ in range(200):
        assert reader.feed(b"x" * 500) == []
    found = reader.feed(b"\n" + encode({"id": 1}))
    assert [isinstance(record, Refused) for record in found] == [True, False]
    assert found[0].why == "too long"
    assert len(reader._held) <= MAX_LINE_BYTES


def test_the_line_before_a_cut_is_not_lost():
    reader = LineReader()
    found = reader.feed(encode({"id": 1}) + b'{"id": 2, "d')
    assert found == [{"id": 1}]
    found = reader.feed(b"\n" + encode({"id": 3}))
    assert isinstance(found[0], Refused)
    assert found[1] == {"id": 3}


def test_carriage_returns_are_taken_for_line_ends():
    line = encode({"id": 1})
    assert LineReader().feed(line[:-1] + b"\r\n\r\n") == [{"id": 1}]


def test_every_sentence_of_the_contract_fits_a_line():
    from coincide_firmware.app.error_words import ERRORS

    for code, say in ERRORS.items():
        assert len(json.dumps({"re": 1, "error": code, "say": say})) < MAX_LINE_BYTES
