"""The commented rig file that `rig new` writes: invented values, every key explained where it stands."""

from __future__ import annotations

import os
from pathlib import Path

from coincide import durable
from coincide.errors import BadInput

TEMPLATE = """\
# A rig of two bodies that expose the same moment. Replace every value with your own.
# All names and values here are invented: the fen rig of Ennerby Fen, body A "Lapwing" with colour film,
# body B "Bittern" with infrared film.
#
# Quantities are text with a unit: "8 ms", "35 mm", "10 m", "5 km/h", "4000 dpi".
# Shutter times are as marked on the dial: "1/125". Apertures: "f/8".
# Check the file with:  coincide rig check rig.toml

format = "coincide-rig"
version = 1
name = "the fen rig"

# ---- body A -----------------------------------------------------------------------------------------

[bodies.a]
name = "Lapwing"
wind = "manual"          # "manual": the box waits for 'wound'. Or "motor", or "self-cocking".
release = "half+full"    # "half+full": two contacts. "full": one contact. "solenoid": a plunger.
sync = "X"               # The contact that is wired: "X", "FP", "M" or "none".
frame = { width = "36 mm", height = "24 mm" }   # as the body stands level, top plate up
scan = "4000 dpi"        # Leave out without scans.

[bodies.a.shutter]
kind = "focal-plane"     # Or "leaf", "electronic", "electronic-first-curtain".
exposure = "1/60"        # What is set now. An offset belongs to a pair of shutter times.
marked = ["1/1000", "1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8"]
travel = "7.2 ms"        # A curtain's way from picture edge to picture edge. Unknown: 0.85 of the time at sync_speed,
                         #   good to 15 %; then sync_uncertainty = "1.5 ms". Two gate sensors measure it.
sweep = "top to bottom"  # At the gate, seen from behind the body as it stands level.
sync_speed = "1/125"     # The shortest time with flash: above it many bodies suppress X.
curve = 0.42             # Sync contact after first curtain at frame centre, in travel times: 0.5 at constant speed,
curve_uncertainty = 0.08 #   0.29 from rest. Unknown: leave both, they hold for either. Two gate sensors measure it.
sync_uncertainty = "1 ms" # How far X may close from its ideal instant. Unknown: leave it; a gate sensor finds it.
# A leaf shutter has these instead of travel, sweep and sync_speed:
#   opening = "2 ms"     # Unknown: 2 ms each, good to a half, for a lens of the size of a fist; less for smaller
#   closing = "2 ms"     #   ones. A gate sensor, lens at full aperture and then stopped down, shows the difference.
# An electronic shutter has readout and sweep; an electronic first curtain has travel and sweep.

[bodies.a.lens]
focal_length = "35 mm"
aperture = "f/8"         # What is set now.
widest = "f/2"
smallest = "f/16"
focused = "15 m"         # On the focusing scale. Leave out when it stands at the subject.

[bodies.a.mount]
# As you stand behind the rig and face the scene.
looks = "straight"       # Or "up at the glass", "down at the glass", "from the left", "from the right".
top_plate = "up"         # Or "down", "left", "right", "towards the scene", "towards the photographer".
pupil = "88 mm"          # From the lens's entrance pupil to the glass, along its axis. Leave out without one.

[bodies.a.film]
name = "colour negative"
iso = 100
band = "visible"         # One of the splitter's bands below.

[bodies.a.sensors]
sync = { delay = "5 us", delay_uncertainty = "5 us" }
# Photodiodes at the film gate, where the back comes off; position 0 is where the exposure begins.
# A millimetre beside its place is 0.1 to 0.4 ms, more than anything else in the box: measure it.
# 'coincide wiring figures' says what the inputs add; these fit the isolated inputs of the box.
gate_1 = { position = 0.5, position_uncertainty = "0.3 mm", width = "0.5 mm", delay_on = "4 us", delay_off = "48 us" }
# gate_2 = { position = 0.9, position_uncertainty = "0.3 mm", width = "0.5 mm", delay_on = "4 us", delay_off = "48 us" }

# ---- body B -----------------------------------------------------------------------------------------

[bodies.b]
name = "Bittern"
wind = "manual"
release = "half+full"
sync = "X"
frame = { width = "36 mm", height = "24 mm" }
scan = "4000 dpi"

[bodies.b.shutter]
kind = "focal-plane"
exposure = "1/30"
marked = ["1/1000", "1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8"]
travel = "6.8 ms"
sweep = "top to bottom"
sync_speed = "1/125"
curve = 0.42
curve_uncertainty = 0.08
sync_uncertainty = "1 ms"

[bodies.b.lens]
focal_length = "35 mm"
aperture = "f/4"
widest = "f/2"
smallest = "f/16"
focused = "15 m"

[bodies.b.mount]
looks = "up at the glass"
top_plate = "towards the scene"
pupil = "90 mm"

[bodies.b.film]
name = "infrared"
iso = 400
filter_stops = 4         # What the deep-red filter takes. Or effective_index = 25, found by test; then also
                         #   index_includes_glass = true where that test was made through the glass, else false.
latitude = { under = 0.5, over = 0.5 }   # Stops it may be off. Or "slide", or "negative" (0.5 under, 2 over).
band = "infrared"
reciprocity = { power = 1.2, from = "1 s" }   # Or { table = [["1 s", "1.5 s"], ["10 s", "25 s"]] }.

[bodies.b.sensors]
sync = { delay = "5 us", delay_uncertainty = "5 us" }
gate_1 = { position = 0.5, position_uncertainty = "0.3 mm", width = "0.5 mm", delay_on = "4 us", delay_off = "48 us" }

# ---- what joins them --------------------------------------------------------------------------------

# Leave out for two bodies side by side.
[splitter]
a = "transmitted"        # Body A looks through the glass,
b = "reflected"          # body B sees the reflection.

# A coating made for visible light does something else in the infrared: a band each.
[splitter.bands.visible]
transmission = 0.70
reflection = 0.30

[splitter.bands.infrared]
transmission = 0.55      # Unknown, as makers seldom say: half and half, good to a stop. 'coincide infrared' plans a
reflection = 0.42        #   bracket each way; the frame that comes out right says how many stops to move them.

# The glass itself, for 'coincide glass'.
[splitter.plate]
thickness = "3 mm"
coated = "front"         # The face that reflects: "front" is towards the scene. Or "back".
width = "160 mm"         # Along the axis it is tilted about.
length = "120 mm"        # Along the slope.
# index = 1.52, other_face = 0.005 (a coat against reflections), wedge = "1 arcmin", near_edge = "40 mm"

[release]
lead = "300 ms"          # Half-press before full-press.
closure = "150 ms"       # Full-press held: long enough for slow plungers and bodies that poll. At most 5 s.
interval = "3 s"         # From pair to pair in a series.
window = "1 s"           # How long the box listens after full-press.

[edges]
bounce = "12 ms"         # The longest bounce of a contact.
earliest = "3 ms"        # An exposure comes no sooner after full-press
latest = "1 s"           #   and no later.
shortest = "0.5 ms"      # A contact closed for less only flicked.

[tolerance]
# How far the two pictures of a moving thing may be apart on film. With none of these it is the
# format's circle of confusion: 0.030 mm on 24 x 36, scaled by the diagonal.
#   on_film = "30 um"
#   scan_pixels = 2
#   print = { long_side = "40 cm", viewed_from = "50 cm" }
# Instead of a subject, a time:  time = "2 ms"

[tolerance.subject]
name = "a cyclist on the dyke"
speed = "15 km/h"
distance = "15 m"
direction = "across"     # Or "towards".
point = "centre"         # Or "corner", where alone something that comes towards you moves on film.
"""


def write_new(path: str | os.PathLike[str]) -> Path:
    """Write the template to a file that does not exist yet. Raises BadInput where it cannot."""
    path = Path(path)
    try:
        durable.write_new(path, TEMPLATE.encode())
    except FileExistsError:
        raise BadInput(f"{path} exists already and stays as it is: choose another name.") from None
    except (OSError, ValueError) as error:
        raise BadInput(
            f"{path!s:.200} cannot be written: {getattr(error, 'strerror', None) or error}."
        ) from None
    return path
