"""Two invented bodies on the pins of the chip, "Lapwing" (A) and "Bittern" (B), and a hand on the box.

`setup(world)` uses only `world.now` (ns since power-on), `world.at(ns, fn)`, `world.after(ns, fn)`,
`world.drive(pin, 0 | 1 | None)` (None lets go), `world.on_output(pin, fn)` with `fn(t_ns, level)` and
`world.log(*words)`; any emulator, or a jig, can offer those. What each body does is drawn from its name and the
count of its full-presses alone, so that `truth(body, n)` tells a test the same story.

The lamp row is the host's way to move the hand: a row of 2 lamps opens the interlock for a while, a row of 3
presses the photographer's button, a row of 4 the 'wound' button.
"""

import random

US = 1000
MS = 1000 * US

HALF = {"A": 2, "B": 4}
FULL = {"A": 3, "B": 5}
SYNC = {"A": 6, "B": 7}
GATES = {"A": (8, 9), "B": (10, 11)}
OPENED = 1  # a sync input is drawn up by the circuit's own resistor, not by the chip
BUTTON_HALF = 13
BUTTON_FULL = 14
INTERLOCK = 15
LAMP_LATCH = 20
WOUND = 21

LAMPS_INTERLOCK = 2
LAMPS_BUTTON = 3
LAMPS_WOUND = 4
HAND_WAITS_NS = 400 * MS  # after the last step of a row: the host has that long for its next request
INTERLOCK_OPEN_NS = 400 * MS

# lag mean and spread, travel of the curtains, exposure, in ns; every so many presses nothing happens
CHARACTER = {
    "A": {"lag": 58 * MS, "spread": 400 * US, "travel": 9 * MS, "exposure": 16 * MS, "misses": 0},
    "B": {"lag": 71 * MS, "spread": 600 * US, "travel": 6 * MS, "exposure": 8 * MS, "misses": 11},
}


class Truth:
    """What body `body` does at its full-press number `n` (from 0), in ns after the full-press edge.

    `open` and `close` are the two curtains at the middle of the frame, `fired` tells whether anything moves.
    `edges` lists (time, pin, level) of everything that happens, level 0 = closed to ground or lit.
    """

    def __init__(self, body, n):
        character = CHARACTER[body]
        chance = random.Random("%s %d" % (body, n))  # noqa: UP031 - as on any interpreter
        lag = character["lag"] + round(chance.gauss(0, character["spread"]))
        travel = character["travel"]
        exposure = character["exposure"]
        self.fired = character["misses"] == 0 or (n + 1) % character["misses"] != 0
        self.open = lag + travel // 2
        self.close = self.open + exposure
        self.mid = (self.open + self.close) // 2
        # The contact closes when the first curtain has arrived, and bounces twice.
        self.sync = lag + travel + 100 * US
        self.edges = []
        if not self.fired:
            return
        contact = SYNC[body]
        at = self.sync
        for closed, opened in ((180 * US, 90 * US), (400 * US, 60 * US)):
            self.edges += [(at, contact, 0), (at + closed, contact, OPENED)]
            at += closed + opened
        # Past the closing of the second curtain and then some, as contacts do.
        self.edges += [(at, contact, 0), (lag + travel + exposure + 20 * MS, contact, OPENED)]
        # Sensor 1 a quarter, sensor 2 three quarters along the travel.
        for gate, quarter in zip(GATES[body], (1, 3)):  # noqa: B905
            first = lag + travel * quarter // 4
            self.edges += [(first, gate, 0), (first + exposure, gate, None)]
        self.edges.sort(key=lambda edge: edge[0])


def truth(body, n):
    """The truth of one full-press."""
    return Truth(body, n)


class Body:
    def __init__(self, world, name):
        self.world = world
        self.name = name
        self.presses = 0
        self.ready_at = 0
        world.drive(SYNC[name], OPENED)
        for pin in GATES[name]:
            world.drive(pin, None)
        world.on_output(HALF[name], self.half)
        world.on_output(FULL[name], self.full)

    def half(self, t_ns, level):
        self.world.log("half", self.name, level, t_ns)

    def full(self, t_ns, level):
        self.world.log("full", self.name, level, t_ns)
        if not level:
            return
        said = truth(self.name, self.presses)
        self.world.log("truth", self.name, self.presses, t_ns, said.fired, said.open, said.close, said.sync)
        self.presses += 1
        if t_ns < self.ready_at:
            self.world.log("too soon", self.name)
            return
        for after, pin, level_then in said.edges:
            self.world.at(t_ns + after, lambda pin=pin, level=level_then: self.world.drive(pin, level))
            self.ready_at = t_ns + after


class Hand:
    """Counts the lamps of a row by the latch and does what their number says."""

    def __init__(self, world):
        self.world = world
        self.steps = 0
        world.drive(INTERLOCK, 0)
        for pin in (BUTTON_HALF, BUTTON_FULL, WOUND):
            world.drive(pin, None)
        world.on_output(LAMP_LATCH, self.latch)

    def latch(self, t_ns, level):
        if level:
            self.steps += 1
            seen = self.steps
            self.world.after(HAND_WAITS_NS, lambda: self.act(seen))

    def act(self, seen):
        if seen != self.steps:
            return
        lamps = seen - 1  # the last step is dark
        self.steps = 0
        self.world.log("hand", lamps)
        if lamps == LAMPS_INTERLOCK:
            self.hold(INTERLOCK, 0, INTERLOCK_OPEN_NS, None)
        elif lamps == LAMPS_BUTTON:
            self.hold(BUTTON_HALF, 0, 700 * MS, 0)
            self.hold(BUTTON_FULL, 400 * MS, 200 * MS, 0)
        elif lamps == LAMPS_WOUND:
            self.hold(WOUND, 0, 200 * MS, 0)

    def hold(self, pin, after, length, level):
        """Drives a pin to `level` for a while; the interlock goes back to closed, buttons are let go."""
        back = 0 if pin == INTERLOCK else None
        self.world.after(after, lambda: self.world.drive(pin, level))
        self.world.after(after + length, lambda: self.world.drive(pin, back))


def setup(world):
    """Puts both bodies and the hand on the pins."""
    return Body(world, "A"), Body(world, "B"), Hand(world)
