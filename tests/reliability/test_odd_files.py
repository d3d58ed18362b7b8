"""Small files nobody sane would write, and a disk that is full when the card is drawn."""

from __future__ import annotations

import os
from pathlib import Path

import platformdirs
import pytest

from coincide.bench.opening.acknowledge import acknowledged, acknowledgement_path
from coincide.box.cable.owners import PortClaim
from coincide.errors import CoincideError
from coincide.session.lock import lock_exclusively
from coincide.session.unfinished import Unfinished
from tests.cli.running import run
from tests.reliability.test_streams import NO_POSIX, shell

DEEP = b"[" * 200_000 + b"]" * 200_000


@pytest.mark.parametrize(
    "table",
    [
        b"a,b,frame\n\0.tif,b.tif,1\n",
        b"a,b,frame\na.tif,b\0.tif,\n",
        b"a,b,frame\na.tif,b.tif," + b"9" * 5000 + b"\n",
        b"a,b,frame\na.tif,b.tif,-" + b"9" * 5000 + b"\n",
        b"a,b,frame\n" + b"a" * 5000 + b".tif,b.tif,1\n",
        b"\0" * 4096,
    ],
)
def test_a_table_of_a_roll_with_odd_names_and_numbers_is_a_sentence(tmp_path: Path, table: bytes) -> None:
    (tmp_path / "roll.csv").write_bytes(table)
    ran = run(["scans", "--roll", "roll.csv", "--dpi", "2400"], tmp_path)
    assert ran.code in (1, 2), ran.said
    assert "Traceback" not in ran.said
    assert len(ran.said) < 1600


@pytest.mark.parametrize("content", [DEEP, b'{"pid": ' + b"9" * 5000 + b', "host": "x"}', b"\xff\0", b""])
def test_lock_files_and_notes_of_nonsense_are_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, content: bytes
) -> None:
    monkeypatch.setattr(platformdirs, "user_cache_dir", lambda *_, **__: str(tmp_path))
    claim = PortClaim("/dev/nothing")
    claim.take()
    claim.release()
    (lock,) = tmp_path.rglob("*.lock")
    lock.write_bytes(content)
    other = os.open(lock, os.O_RDWR)
    try:
        lock_exclusively(other)
        with pytest.raises(CoincideError, match="in use by another run of coincide: end that run first"):
            PortClaim("/dev/nothing").take()
    finally:
        os.close(other)
    claim.take()  # what was in the file is no obstacle
    claim.release()
    note = tmp_path / "rig.unfinished.json"
    note.write_bytes(content)
    assert Unfinished(tmp_path, "rig").read(2) is None
    acknowledgement_path(tmp_path).write_bytes(content)
    assert not acknowledged(tmp_path)


@NO_POSIX
def test_a_card_on_a_full_disk_is_a_sentence_and_leaves_nothing(tmp_path: Path) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["calibrate", "-n", "10", "--verify", "10", "--yes"], tmp_path).code == 0
    ran = shell("trap '' XFSZ; ulimit -f 8; $C card --to plan", tmp_path)
    assert ran.returncode == 2, ran.stdout + ran.stderr
    assert "File too large" in ran.stderr
    assert "Traceback" not in ran.stderr
    assert not [path for path in (tmp_path / "plan").rglob("*") if path.is_file()]
    assert run(["card", "--to", "plan"], tmp_path).code in (0, 1)
    assert (tmp_path / "plan" / "card.pdf").stat().st_size > 8192
