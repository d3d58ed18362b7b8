"""What the box remembers: a few numbers, and one preset for each pair of shutter times.

Everything is an integer in the unit its name carries. Bodies are `_a` and `_b`.
"""

from .messages import MAX_DELAY_NS, MS, S
from .slots import TwoSlots

PRESETS_MOST = 8
NAME_MOST = 20

# name, least, most, default
VALUES = (
    # 1: a body is wound by hand; each shot needs its own 'wound', from the person
    ("manual_wind", 0, 1, 0),
    # between the start of one pair and the start of the next
    ("min_interval_ms", 100, 600000, 500),
    # 1: the photographer's own button fires
    ("field", 0, 1, 1),
    # the button's shots: half-press before full-press, closure of full-press, listening
    ("lead_ms", 0, 2000, 300),
    ("closure_ms", 1, 5000, 150),
    ("window_ms", 10, 10000, 1000),
    # the preset in use
    ("preset", 0, PRESETS_MOST - 1, 0),
)

HOW_NONE = 0  # this body cannot be measured: no sync contact, or suppressed at this speed
HOW_SYNC = 1  # mid-exposure = first accepted closing of the sync contact + to_mid
HOW_GATE = 2  # mid-exposure = halfway between opening and closing at gate sensor 1 + to_mid
HOW_GATES = 3  # the same, averaged over gate sensors 1 and 2

# name, least, most, default; None: must be given
PRESET_VALUES = (
    ("delay_a_ns", 0, MAX_DELAY_NS, 0),
    ("delay_b_ns", 0, MAX_DELAY_NS, 0),
    ("tolerance_ns", 1, S, None),
    ("how_a", HOW_NONE, HOW_GATES, HOW_NONE),
    ("how_b", HOW_NONE, HOW_GATES, HOW_NONE),
    ("to_mid_a_ns", -S, S, 0),
    ("to_mid_b_ns", -S, S, 0),
    # accepted: from so long to so long after the full-press that left the box
    ("earliest_a_ns", 0, 10 * S, 0),
    ("earliest_b_ns", 0, 10 * S, 0),
    ("latest_a_ns", 0, 10 * S, S),
    ("latest_b_ns", 0, 10 * S, S),
    # closed for less is a flick of the contact, not an exposure
    ("shortest_a_ns", 0, S, MS // 2),
    ("shortest_b_ns", 0, S, MS // 2),
    # closing again within so long of the first closing is bounce
    ("bounce_a_ns", 0, S, 15 * MS),
    ("bounce_b_ns", 0, S, 15 * MS),
    # closed for less, with one closed so long behind it, was shaken closed; 0: no such rule
    ("held_a_ns", 0, S, 0),
    ("held_b_ns", 0, S, 0),
)


def _is_whole(value):
    return isinstance(value, int) and not isinstance(value, bool)


def _checked(given, table, kept):
    """(values, None) with `given` laid over `kept`, or (None, sentence)."""
    known = {row[0]: row for row in table}
    for name in given:
        if name not in known:
            return None, "The box has no setting '%s'." % str(name)[:NAME_MOST]
    values = {}
    for name, least, most, default in table:
        value = given.get(name)
        if value is None:
            value = kept.get(name, default)
        if not _is_whole(value) or not least <= value <= most:
            return None, "'%s' must be a whole number from %d to %d." % (name, least, most)
        values[name] = value
    return values, None


def check_preset(given):
    """A whole preset from a dict with `name` and any of PRESET_VALUES: (preset, None) or (None, sentence)."""
    given = dict(given)
    name = given.pop("name", None)
    if not isinstance(name, str) or not 1 <= len(name) <= NAME_MOST or not _is_plain(name):
        return None, "A preset needs a 'name' of 1 to %d plain letters, digits or signs." % NAME_MOST
    values, say = _checked(given, PRESET_VALUES, {})
    if values is None:
        return None, say
    for body in ("a", "b"):
        if values["earliest_%s_ns" % body] >= values["latest_%s_ns" % body]:
            return None, "'earliest_%s_ns' must be below 'latest_%s_ns'." % (body, body)
    values["name"] = name
    return values, None


def _is_plain(text):
    return all(" " <= letter <= "~" for letter in text)


class Settings:
    """`values` and `presets` (a list of PRESETS_MOST dicts or None), as stored.

    `ok` is False after damage in flash, with `say` telling what the box did about it, until the next `put`.
    `usable` is False when nothing could be read back: the box then knows neither offset nor winding and the
    photographer's button does not fire.
    """

    def __init__(self, files):
        self._slots = TwoSlots(files, "settings")
        self.values = {row[0]: row[3] for row in VALUES}
        self.presets = [None] * PRESETS_MOST  # type: list[dict | None]
        self.ok = True
        self.usable = True
        self.say = ""
        self._load()

    def _load(self):
        stored = self._slots.load()
        if not self._take(stored):
            if self._slots.found or self._slots.damaged:
                self.ok = False
                self.usable = False
                self.say = (
                    "The stored settings are damaged: safe defaults are in use, no presets; store them again."
                )
        elif self._slots.damaged:
            self.ok = False
            self.say = "The last change of settings was cut short: the settings before it are in use."

    def _take(self, stored):
        # Whole by its CRC is not sensible by its content: nothing in flash may keep the box from starting.
        if not isinstance(stored, dict) or not isinstance(stored.get("values"), dict):
            return False
        kept = stored.get("presets", [])
        if not isinstance(kept, list) or len(kept) > PRESETS_MOST:
            return False
        values, _ = _checked(stored["values"], VALUES, {})
        if values is None:
            return False
        presets = [None] * PRESETS_MOST  # type: list[dict | None]
        for i, given in enumerate(kept):
            if given is None:
                continue
            if not isinstance(given, dict):
                return False
            preset, _ = check_preset(given)
            if preset is None:
                return False
            presets[i] = preset
        self.values = values
        self.presets = presets
        return True

    def put_values(self, given):
        """Lay `given` over the values and store them. None, or a sentence when something is wrong with it."""
        values, say = _checked(given, VALUES, self.values)
        if values is None:
            return say
        self._store(values, self.presets)
        return None

    def put_preset(self, place, given):
        """Store a preset in a place, or empty the place with None. None, or a sentence."""
        preset = None
        if given is not None:
            preset, say = check_preset(given)
            if preset is None:
                return say
        presets = list(self.presets)
        presets[place] = preset
        self._store(self.values, presets)
        return None

    def _store(self, values, presets):
        self._slots.save({"values": values, "presets": presets})
        self.values = values
        self.presets = presets
        self.ok = True
        self.usable = True
        self.say = ""

    def preset_names(self):
        """Names by place; None where a place is empty, trailing empty places left out."""
        names = [None if preset is None else preset["name"] for preset in self.presets]
        while names and names[-1] is None:
            names.pop()
        return names

    def next_preset_place(self, place):
        """The next place that holds a preset, going round; the same place when there is no other."""
        for step in range(1, PRESETS_MOST + 1):
            candidate = (place + step) % PRESETS_MOST
            if self.presets[candidate] is not None:
                return candidate
        return place
