"""What the box's sampler really handed out, written down beside everything else, to hold records against."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from coincide.box.simulated.world import World
from coincide.session.model import ShotRecord
from coincide_firmware.app import pins

Edge = tuple[int, int, int]


class Witness:
    """Listens at a world's sampler; `lives` has the edges of each life of the box in order."""

    def __init__(self, world: World) -> None:
        self.lives: list[list[Edge]] = [[]]
        self.resets_s: list[float] = []
        read, restart = world.sampler.read, world.sampler.restart

        def read_and_write_down(now: int, sink: Callable[[int, int, int], object]) -> int:
            def both(channel: int, level: int, tick: int) -> None:
                self.lives[-1].append((channel, level, tick))
                sink(channel, level, tick)

            return read(now, both)

        def restart_and_write_down(tick: int) -> None:
            self.lives.append([])
            self.resets_s.append(tick / 125e6)
            restart(tick)

        world.sampler.read = read_and_write_down  # type: ignore[method-assign]
        world.sampler.restart = restart_and_write_down  # type: ignore[method-assign]

    def saw(self, record: ShotRecord) -> bool:
        """Whether the record is, edge for edge, what the sampler handed out in one stretch of one life."""
        wanted = _relative(list(zip(record.channel, record.level, record.tick, strict=True)))
        for life in self.lives:
            for start, (channel, level, _) in enumerate(life):
                if (channel, level) == wanted[0][:2] and _relative(
                    life[start : start + len(wanted)]
                ) == wanted:
                    return True
        return False


def _relative(edges: list[Edge]) -> list[Edge]:
    origin = edges[0][2] if edges else 0
    return [(channel, level, tick - origin) for channel, level, tick in edges]


def first_full_tick(record: ShotRecord) -> int:
    """Tick of the earlier full-press edge of a record."""
    return min(
        tick
        for channel, level, tick in zip(record.channel, record.level, record.tick, strict=True)
        if level and channel in (pins.FULL_A, pins.FULL_B)
    )


def numbers(records: Iterable[ShotRecord]) -> list[int]:
    """Shot numbers in the order of the file."""
    return [record.shot for record in records]
