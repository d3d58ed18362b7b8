"""A recording made into a session: read, measured, named, written. No terminal."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from coincide.bench.heard import Account, Drawn, Found, Source, Wish
from coincide.bench.recorded import TICK_HZ, write
from coincide.errors import BadInput
from coincide.recording import files, naming
from coincide.recording.capture import Capture, channel_map
from coincide.recording.find import REACH_S, Bang, Listener, Outline, Samples
from coincide.recording.light import LightFound, LightReader, step_reach_s
from coincide.recording.parts import Uncertain
from coincide.recording.sound import SoundFound, SoundReader
from coincide.rig.file import parse_rig
from coincide.rig.model import Rig
from coincide.rig.parts import Leaf

QUIET_S = 0.3  # behind the longer marked time, until a pair is over


def record(
    paths: list[Path],
    rig_toml: str,
    wish: Wish,
    out: Path,
    progress: Callable[[float], None] = lambda _: None,
) -> Account:
    """Makes a session file `out` of a recording. Raises BadInput by name where the recording cannot be used; then
    nothing is written. progress: called with the part done, 0 to 1."""
    rig = parse_rig(rig_toml, "the rig")
    if wish.source == "instrument":
        found = _of_capture(
            files.read_captures(paths, channel_map(wish.channels or ""), wish.threshold_v), rig
        )
    else:
        if len(paths) != 1:
            raise BadInput(
                "Two sound files have two clocks and no common start: record both bodies into one stereo file."
            )
        found = _of_sound_file(files.look(paths[0]), rig, wish, progress)
    if not found.pairs:
        raise BadInput(_no_pairs(found.account))
    write(paths, rig_toml, rig, wish, found, out)
    return found.account


def _of_sound_file(sound: files.SoundFile, rig: Rig, wish: Wish, progress: Callable[[float], None]) -> Found:
    if wish.source == "sound" and sound.lossy:
        raise BadInput(
            f"{sound.path} is a lossy file ({sound.form}), which shifts and swallows clicks: record to WAV or "
            f"FLAC, with every "
            "'enhancement' of the recorder switched off."
        )
    marked_s = tuple(body.shutter.exposure.nominal_s for body in rig.both)
    reach_s = step_reach_s(_blades_s(rig)) if wish.source == "light" else REACH_S
    listener = Listener(sound.rate_hz, max(marked_s) + QUIET_S, reach_s)

    def read() -> Iterator[Samples]:
        for block in files.blocks(sound):
            yield block
            progress(min(listener.frames_seen / sound.frames, 1.0))

    reader: LightReader | SoundReader
    if wish.source == "light":
        reader = LightReader(
            sound.rate_hz, (marked_s[0], marked_s[1]), blades_s=_blades_s(rig), lossy=sound.lossy
        )
    else:
        travel_s = tuple(getattr(body.shutter, "travel_s", 0.0) for body in rig.both)
        reader = SoundReader(sound.rate_hz, (marked_s[0], marked_s[1]), (travel_s[0], travel_s[1]))
    for bang in listener.bangs(read()):
        reader.take(bang)
    found = reader.found()
    said = list(found.sentences)
    if listener.not_numbers:
        said.append(f"{listener.not_numbers} samples of the file are no numbers and were taken as silence.")
    if sound.cut_short:
        said.append(
            f"The file ends after {listener.frames_seen / sound.rate_hz:.1f} s, before its header says: it was cut "
            "short. What is there was read."
        )
    elif listener.frames_seen < 0.999 * sound.frames and sound.form != "av":
        said.append(
            f"The file says it lasts {sound.length_s:.1f} s but holds "
            f"{listener.frames_seen / sound.rate_hz:.1f} s: it was cut "
            "short. What is there was read."
        )
    length_s = listener.frames_seen / sound.rate_hz
    if isinstance(found, LightFound):
        return _of_light(found, wish, tuple(said), listener.outline(), length_s, sound.rate_hz)
    return _of_clicks(found, wish, tuple(said), listener.outline(), length_s, sound.rate_hz)


def _blades_s(rig: Rig) -> float:
    """How long the slower blades take; 0 where neither shutter has any."""
    leaves = [body.shutter for body in rig.both if isinstance(body.shutter, Leaf)]
    return max((max(one.opening_s, one.closing_s) for one in leaves), default=0.0)


def _of_light(
    found: LightFound, wish: Wish, said: tuple[str, ...], outline: Outline, length_s: float, rate_hz: int
) -> Found:
    who = naming.of_outcomes([(one.pulses[0] is not None, one.pulses[1] is not None) for one in found.bangs])
    name = naming.said(wish.channels) if wish.channels else naming.from_bangs(who)
    order = (name.a, 1 - name.a)
    pairs = []
    drawn = None
    for one in found.bangs:
        first, second = (one.pulses[channel] for channel in order)
        if first is None or second is None:
            continue
        edges = [
            (channel, level, round(at_s * TICK_HZ))
            for channel, pulse in enumerate((first, second))
            for level, at_s in ((1, pulse.open_s), (0, pulse.close_s))
        ]
        pairs.append((one.at_s, edges))
        if drawn is None and len(one.bang.wave):
            ends = tuple((each.open_s, each.close_s) for each in (first, second))
            drawn = _drawn(one.bang, rate_hz, order, (ends[0], ends[1]))
    account = _account("light", who, [one.at_s for one in found.bangs], name, said, outline, drawn, length_s)
    return Found(
        pairs,
        ("gate_a1", "gate_b1"),
        {letter: list(found.parts[channel]) for letter, channel in zip("AB", order, strict=True)},
        {letter: list(found.exposure_parts[channel]) for letter, channel in zip("AB", order, strict=True)},
        account,
        {"leak": [found.leak[channel] for channel in order], "map": _map(name)},
    )


def _of_clicks(
    found: SoundFound, wish: Wish, said: tuple[str, ...], outline: Outline, length_s: float, rate_hz: int
) -> Found:
    who = naming.of_outcomes(
        [
            (one.trains[0] is not None or bool(one.why_not), one.trains[1] is not None or bool(one.why_not))
            for one in found.bangs
        ]
    )
    name = naming.said(wish.channels) if wish.channels else naming.from_bangs(who)
    order = (name.a, 1 - name.a)
    pairs = []
    drawn = None
    for one in found.bangs:
        left = one.trains[0]
        if one.shifts_s is None or left is None:
            continue
        of_left = (left.first_s, left.second_s)
        of_right = (left.first_s + one.shifts_s[0], left.second_s + one.shifts_s[1])
        both = (of_left, of_right)
        ends = (both[order[0]], both[order[1]])
        edges = [
            (channel, level, round(at_s * TICK_HZ))
            for channel, train in enumerate(ends)
            for level, at_s in ((1, train[0]), (0, train[1]))
        ]
        pairs.append((one.at_s, edges))
        if drawn is None and len(one.bang.wave):
            drawn = _drawn(one.bang, rate_hz, order, ends)
    reasons = [one.why_not for one in found.bangs]
    account = _account(
        "sound", who, [one.at_s for one in found.bangs], name, said, outline, drawn, length_s, reasons
    )
    return Found(
        pairs,
        ("click_a", "click_b"),
        {letter: list(found.parts[channel]) for letter, channel in zip("AB", order, strict=True)},
        {"A": [], "B": []},
        account,
        {"crossed": [found.crossed[channel] for channel in order], "map": _map(name)},
    )


def _of_capture(capture: Capture, rig: Rig) -> Found:
    """Edges grouped into pairs: half a second and the longer marked time of quiet end one."""
    names = tuple(capture.channels)
    letters = {name: name.rstrip("12").removesuffix("_").split("_")[1][0].upper() for name in names}
    gap_s = max(body.shutter.exposure.nominal_s for body in rig.both) + QUIET_S
    edges = sorted(
        (float(at), index, int(level))
        for index, name in enumerate(names)
        for at, level in zip(capture.channels[name].at_s, capture.channels[name].level, strict=True)
    )
    start_s = edges[0][0] if edges else 0.0
    groups: list[list[tuple[float, int, int]]] = []
    for edge in edges:
        if groups and edge[0] - groups[-1][-1][0] <= gap_s:
            groups[-1].append(edge)
        else:
            groups.append([edge])
    pairs, left_out = [], []
    for group in groups:
        bodies = {letters[names[index]] for _, index, level in group if level}
        at_s = group[0][0]
        if bodies == {"A", "B"}:
            ticks = [(index, level, round((at - start_s + 1.0) * TICK_HZ)) for at, index, level in group]
            pairs.append((at_s, ticks))
        else:
            seen = " and ".join(sorted(bodies)) or "neither body"
            left_out.append((at_s, f"only {seen} was seen"))
    # Either end of an exposure lies within a sample step: the mean of two such rectangles.
    step = Uncertain(
        "the capture's sample step", capture.step_s / (12.0**0.5) / 2.0**0.5, "normal", "a faster sample rate"
    )
    account = Account(
        "instrument",
        len(groups),
        len(pairs),
        (0, 0),
        tuple(left_out),
        "said",
        tuple(at for at, _ in pairs),
        (),
        capture.sentences,
    )
    both = {"A": [step], "B": [step]}
    return Found(pairs, names, both, both, account, {"map": list(names)})


def _map(name: naming.Naming) -> dict[str, str]:
    return {"left": "AB"[name.a], "right": "AB"[1 - name.a]}


def _drawn(
    bang: Bang, rate_hz: int, order: tuple[int, int], ends: tuple[tuple[float, ...], tuple[float, ...]]
) -> Drawn:
    return Drawn(bang.wave[:, list(order)], rate_hz, bang.first / rate_hz, ends)


def _account(
    source: Source,
    who: tuple[naming.Who, ...],
    at_s: list[float],
    name: naming.Naming,
    said: tuple[str, ...],
    outline: Outline,
    drawn: Drawn | None,
    length_s: float,
    reasons: list[str] | None = None,
) -> Account:
    channel = ("left", "right")
    alone = [sum(1 for one in who if one == channel[at]) for at in (name.a, 1 - name.a)]
    left_out = []
    pairs_s, alone_s = [], []
    for index, (one, at) in enumerate(zip(who, at_s, strict=True)):
        reason = reasons[index] if reasons else ""
        if one == "neither":
            left_out.append((at, "no shutter's edges"))
        elif one != "both":
            alone_s.append(at)
        elif reason:
            left_out.append((at, reason))
        else:
            pairs_s.append(at)
    return Account(
        source,
        len(who),
        len(pairs_s),
        (alone[0], alone[1]),
        tuple(left_out),
        name.how,
        tuple(pairs_s),
        tuple(alone_s),
        said,
        outline,
        drawn,
        length_s,
    )


def _no_pairs(account: Account) -> str:
    if not account.bangs:
        return "Nothing happens in this recording: check inputs and level, and record again."
    lone = [name for name, count in zip("AB", account.alone, strict=True) if count]
    if len(lone) == 1:
        return (
            f"Only one channel shows a body in all {account.bangs} bangs: the other did not fire, its back is "
            f"covered, or its "
            "sensor is not connected. Nothing can be compared."
        )
    return f"None of the {account.bangs} bangs shows both bodies: fire both together after the bangs of one alone."
