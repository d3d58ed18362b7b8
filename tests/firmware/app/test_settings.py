"""Settings come back as they were stored, or the box says what it did instead."""

from coincide_firmware.app.settings import Settings, check_preset
from coincide_firmware.app.slots import TwoSlots
from tests.firmware.app.stand_in import Bench, Flash, PowerCut

PRESET = {"name": "1/125", "tolerance_ns": 1000000, "delay_a_ns": 3900000, "how_a": 1, "how_b": 1}


def test_what_is_put_is_there_after_the_next_boot():
    bench = Bench()
    assert bench.ok("put", values={"manual_wind": 1, "min_interval_ms": 900})["values"]["manual_wind"] == 1
    bench.ok("put", preset=2, values=PRESET)
    again = Bench(bench.board.files)
    assert again.ok("get")["values"]["min_interval_ms"] == 900
    assert again.ok("get")["presets"] == [None, None, "1/125"]
    stored = again.ok("get", preset=2)["values"]
    for name, value in PRESET.items():
        assert stored[name] == value
    again.ok("put", preset=2, values=None)
    assert again.ok("get")["presets"] == []


def test_wrong_values_are_refused_with_the_name_and_change_nothing():
    bench = Bench()
    before = bench.ok("get")["values"]
    for name, value in (
        ("manual_wind", 2),
        ("manual_wind", True),
        ("min_interval_ms", 1),
        ("min_interval_ms", "900"),
        ("closure_ms", 6000),
        ("closure_ms", 1.5),
        ("window_ms", -1),
        ("window_ms", [1]),
        ("no_such", 1),
    ):
        reply = bench.ask("put", values={name: value})
        assert reply["error"] == "bad_field"
        assert name in reply["say"]
    assert bench.refused("put") == "bad_field"
    assert bench.refused("put", values=[1]) == "bad_field"
    assert bench.ok("get")["values"] == before


def test_wrong_presets_are_refused():
    for name, value in (
        ("name", ""),
        ("name", "x" * 21),
        ("name", "na\u00efve"),
        ("name", 7),
        ("tolerance_ns", None),
        ("tolerance_ns", 0),
        ("delay_a_ns", 500000001),
        ("how_a", 4),
        ("earliest_a_ns", 1000000000),
        ("surprise", 1),
    ):
        given = dict(PRESET)
        given[name] = value
        preset, say = check_preset(given)
        assert preset is None, name
        assert say
    preset, say = check_preset(PRESET)
    assert say is None
    assert preset["bounce_a_ns"] == 15000000


def test_a_power_cut_at_any_byte_of_a_save_keeps_the_one_before():
    files = Flash()
    slots = TwoSlots(files, "x")
    slots.save({"n": 1})
    slots.save({"n": 2})
    size = len(files.content["x.0"])
    for cut in range(size + 1):
        copy = Flash()
        copy.content = {name: bytearray(held) for name, held in files.content.items()}
        writer = TwoSlots(copy, "x")
        assert writer.load() == {"n": 2}
        copy.cut_after = cut
        whole = True
        try:
            writer.save({"n": 3})
        except PowerCut:
            whole = False
        copy.cut_after = -1
        reader = TwoSlots(copy, "x")
        assert reader.load() == ({"n": 3} if whole else {"n": 2})
        assert reader.damaged == (0 if whole else 1)


def test_any_damaged_byte_is_noticed():
    files = Flash()
    slots = TwoSlots(files, "x")
    slots.save({"n": 1})
    whole = bytes(files.content["x.0"])
    for at in range(len(whole)):
        files.content["x.0"] = bytearray(whole)
        files.content["x.0"][at] ^= 0x10
        reader = TwoSlots(files, "x")
        assert reader.load() is None
        assert reader.damaged == 1


def test_a_change_cut_short_falls_back_and_says_so():
    bench = Bench()
    bench.ok("put", values={"manual_wind": 1})
    bench.ok("put", values={"manual_wind": 0})
    newest = max(
        (name for name in bench.board.files.content if name.startswith("settings")),
        key=lambda name: bench.board.files.content[name][4],
    )
    bench.board.files.content[newest] = bench.board.files.content[newest][:20]
    again = Bench(bench.board.files)
    again.step()
    assert again.fault_codes() == ["settings"]
    assert again.ok("identify")["settings_ok"] is False
    assert again.ok("get")["values"]["manual_wind"] == 1
    again.ok("put", values={"manual_wind": 0})
    assert again.ok("identify")["settings_ok"] is True


def test_settings_damaged_beyond_reading_mean_safe_defaults_and_no_button():
    bench = Bench()
    bench.ok("put", values={"manual_wind": 1})
    bench.ok("put", preset=0, values=PRESET)
    for name in ("settings.0", "settings.1"):
        bench.board.files.content[name][15] ^= 0xFF
    again = Bench(bench.board.files)
    again.run_ms(1000)
    assert again.ok("identify")["settings_ok"] is False
    assert "safe defaults" in again.ok("get")["say"]
    again.press("button_full")
    again.run_ms(1000)
    assert again.board.closures == []
    assert again.ok("get")["presets"] == []


def test_a_new_box_is_not_a_damaged_one():
    settings = Settings(Flash())
    assert settings.ok
    assert settings.usable
    assert settings.presets[settings.values["preset"]] is None


def test_saves_take_the_slots_in_turn():
    files = Flash()
    settings = Settings(files)
    for number in range(10):
        settings.put_values({"min_interval_ms": 500 + number})
    sizes = sorted(files.written.values())
    assert len(sizes) == 2
    assert sizes[0] == sizes[1]
    assert Settings(files).values["min_interval_ms"] == 509
