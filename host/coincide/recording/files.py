"""The only place where a recording's file is opened: sound in blocks, captures line by line."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import numpy as np

from coincide.durable import new_file
from coincide.errors import BadInput
from coincide.recording.capture import Capture, Edges, Map, from_csv, from_vcd
from coincide.recording.find import Samples

BLOCK_FRAMES = 1 << 16
SLOWEST_HZ, FASTEST_HZ = 44_100, 800_000
LOSSLESS = ("WAV", "WAVEX", "RF64", "W64", "FLAC", "AIFF", "CAF", "AU")
TELEPHONES = (".m4a", ".mp4", ".aac", ".3gp", ".webm", ".opus", ".wma", ".amr")
CAPTURES = (".vcd", ".csv", ".txt", ".tsv")
LONGEST_S = 24 * 3600.0
INVENTED = (
    "an invented evening, made by coincide: nothing of it was measured"  # the comment in the file's header
)
BETWEEN_FILES_S = 60.0  # put between captures of one file a trigger


@dataclass(frozen=True, slots=True)
class SoundFile:
    """What is known before a sample is read. frames: as the header says, 0 where it does not. cut_short: whether the
    header speaks of more bytes than are there."""

    path: Path
    rate_hz: int
    frames: int
    form: str
    lossy: bool
    cut_short: bool = False

    @property
    def length_s(self) -> float:
        return self.frames / self.rate_hz


def is_capture(path: Path) -> bool:
    """Whether the name is that of an instrument's capture."""
    return path.suffix.lower() in CAPTURES


def sha256(path: Path) -> str:
    """Of the file's bytes."""
    found = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(1 << 20):
                found.update(block)
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from error
    return found.hexdigest()


def look(path: Path) -> SoundFile:
    """What the file is. Raises BadInput by name where it cannot be used."""
    _refuse_missing(path)
    if path.suffix.lower() in TELEPHONES:
        return _look_with_av(path)
    import soundfile

    try:
        info = soundfile.info(_name(path))
    except (soundfile.LibsndfileError, RuntimeError, OSError) as error:
        raise BadInput(
            f"{path} is no sound file that can be read ({_reason(error)}): WAV, FLAC or AIFF was expected, or a "
            f"capture named "
            ".vcd or .csv."
        ) from None
    lossy = info.format not in LOSSLESS or info.subtype in (
        "ALAW",
        "ULAW",
        "IMA_ADPCM",
        "MS_ADPCM",
        "GSM610",
        "MPEG_LAYER_III",
    )
    cut = _promised_bytes(path) > path.stat().st_size
    found = SoundFile(path, int(info.samplerate), int(info.frames), info.format, lossy, cut)
    _refuse_shape(found, int(info.channels))
    return found


def _promised_bytes(path: Path) -> int:
    """As a WAV or AIFF file says at its start (the library takes what is there for the whole); 0 where it does not, as
    of a recorder that never came back to fill it in."""
    with path.open("rb") as raw:
        begins = raw.read(8)
    order: Literal["little", "big"] = "big" if begins[:4] == b"FORM" else "little"
    size = int.from_bytes(begins[4:], order)
    return size + 8 if begins[:4] in (b"RIFF", b"FORM") and size < 2**32 - 64 else 0


def _refuse_shape(found: SoundFile, channels: int) -> None:
    path = found.path
    if channels == 1:
        raise BadInput(
            f"{path} has one channel: both bodies must be in one file, one on the left and one on the right "
            f"(two files have two "
            "clocks and no common start). Switch the recorder to stereo and record again."
        )
    if channels != 2:
        raise BadInput(f"{path} has {channels} channels: save the two that matter as a stereo file.")
    if not SLOWEST_HZ <= found.rate_hz <= FASTEST_HZ:
        raise BadInput(f"{path} has {found.rate_hz} samples a second: record at 44100 or more.")
    if found.frames <= 0:
        raise BadInput(f"{path} holds no sound: the recording was never ended, or nothing was recorded.")
    if found.length_s > LONGEST_S and found.frames < 2**62:
        raise BadInput(
            f"{path} says it lasts {found.length_s / 3600:.0f} hours: its header is damaged, or cut out the evening."
        )


def blocks(sound: SoundFile) -> Iterator[Samples]:
    """The samples, (n, 2) float32 with full scale 1, in blocks. Raises BadInput where the file breaks."""
    if sound.form == "av":
        yield from _blocks_with_av(sound.path)
        return
    import soundfile

    seen = 0
    try:
        with soundfile.SoundFile(_name(sound.path)) as file:
            while True:
                block = file.read(BLOCK_FRAMES, dtype="float32", always_2d=True)
                if not len(block):
                    break
                seen += len(block)
                yield block
    except (soundfile.LibsndfileError, RuntimeError, OSError) as error:
        raise BadInput(
            f"{sound.path} breaks off after {seen / sound.rate_hz:.1f} s ({_reason(error)})."
        ) from None
    if not seen:
        raise BadInput(f"{sound.path} holds no sound, whatever its header says: it was cut short.")


def _look_with_av(path: Path) -> SoundFile:
    av = _av(path)
    try:
        with path.open("rb") as raw, av.open(raw) as container:
            stream = container.streams.audio[0]
            rate, channels = int(stream.rate), int(stream.channels)
            length_s = float(stream.duration * stream.time_base) if stream.duration else 1.0
    except AttributeError:  # what PyAV says of a stream for which it has no codec
        raise BadInput(f"{path} holds no sound that can be read (a codec nobody knows).") from None
    except (av.error.FFmpegError, IndexError, TypeError, ValueError, OSError) as error:
        raise BadInput(f"{path} holds no sound that can be read ({_reason(error)}).") from None
    found = SoundFile(path, rate, max(int(length_s * rate), 1), "av", True)
    _refuse_shape(found, channels)
    return found


def _blocks_with_av(path: Path) -> Iterator[Samples]:
    av = _av(path)
    try:
        with path.open("rb") as raw, av.open(raw) as container:
            resampler = av.AudioResampler(format="fltp", layout="stereo")
            for frame in container.decode(audio=0):
                for each in resampler.resample(frame):
                    yield np.ascontiguousarray(each.to_ndarray().T, dtype=np.float32)
    except AttributeError:
        raise BadInput(f"{path} breaks off (a codec nobody knows).") from None
    except (av.error.FFmpegError, ValueError, OSError) as error:
        raise BadInput(f"{path} breaks off ({_reason(error)}).") from None


def _av(path: Path) -> Any:
    try:
        import av
        import av.error
    except ImportError:
        raise BadInput(
            f"{path} is a telephone's kind of file: reading it takes a further library (pip install "
            f"'coincide[telephone]'). "
            "Better: record to WAV or FLAC."
        ) from None
    return av


def read_captures(paths: list[Path], chosen: Map, threshold_v: float | None) -> Capture:
    """Captures of one evening: one file, or one file a trigger, laid one behind the other a minute apart."""
    found = []
    for path in paths:
        _refuse_missing(path)
        try:
            if path.suffix.lower() == ".vcd":
                with path.open("rb") as raw:
                    found.append(from_vcd(raw, chosen, str(path)))
            else:
                with path.open(encoding="utf-8-sig") as text:
                    found.append(from_csv(text, chosen, str(path), threshold_v))
        except OSError as error:
            raise BadInput(f"{path} cannot be read: {error.strerror}.") from error
        except UnicodeDecodeError:
            raise BadInput(f"{path} is no text file: export the capture as CSV or VCD.") from None
    if len(found) == 1:
        return found[0]
    channels = {}
    for name in found[0].channels:
        shifted = [
            one.channels[name].at_s - _earliest(one) + BETWEEN_FILES_S * at for at, one in enumerate(found)
        ]
        channels[name] = Edges(
            np.concatenate(shifted), np.concatenate([one.channels[name].level for one in found])
        )
    said = tuple(dict.fromkeys(sentence for one in found for sentence in one.sentences))
    return Capture(channels, max(one.step_s for one in found), said)


def _earliest(capture: Capture) -> float:
    return min((float(one.at_s[0]) for one in capture.channels.values() if len(one.at_s)), default=0.0)


def _refuse_missing(path: Path) -> None:
    if not path.exists():
        raise BadInput(f"{path} is not there.")
    if not path.is_file():
        raise BadInput(f"{path} is no file.")


def is_invented(path: Path) -> bool:
    """Whether the file says of itself that it is a rehearsal's; False where it cannot be read."""
    import soundfile

    try:
        with soundfile.SoundFile(_name(path)) as file:
            return bool(file.comment == INVENTED)
    except (soundfile.LibsndfileError, RuntimeError, OSError):
        return False


def write_sound(
    path: Path, samples: Samples, rate_hz: int, bits: int = 16, *, invented: bool = False
) -> None:
    """A WAV or FLAC file, by the name's ending; marked in its header where it is invented. Raises BadInput where it
    cannot be written or is there already."""
    import soundfile

    if path.exists():
        raise BadInput(f"{path} is there already and is not overwritten: choose another name with --out.")
    try:
        with new_file(path) as unfinished:
            form = path.suffix[1:].upper()
            opened = {
                "samplerate": rate_hz,
                "channels": samples.shape[1],
                "subtype": f"PCM_{bits}",
                "format": form,
            }
            with soundfile.SoundFile(_name(unfinished), "w", **opened) as file:
                if invented:
                    file.comment = INVENTED
                file.write(samples)
    except (soundfile.LibsndfileError, RuntimeError, TypeError, ValueError, OSError) as error:
        raise BadInput(f"{path} cannot be written ({_reason(error)}).") from None


def _name(path: Path) -> str | bytes:
    """As the library takes it: names here are bytes, and need not be text."""
    return os.fsencode(path) if os.name == "posix" else str(path)


def _reason(error: BaseException) -> str:
    return (str(error).splitlines() or [type(error).__name__])[-1].strip(" .")[:120]
