"""The recipes of a recording without the box, drawn in letters for a terminal."""

from __future__ import annotations

LIGHT = """\
  plug, seen from the side            at the film gate of each body
  tip   (left)  o-----------------.
                                  |  cathode (the short lead, the flat side)
                                -----
                      torch ->   / \\    photodiode in a PLASTIC holder, behind a slit of 1 mm;
                      torch ->  -----   line input: 1 to 10 kOhm across it
                                  |  anode
  sleeve        o-----------------+---- touches no metal of any body
                                  |  anode
                                -----   the same again, for body B
                                  |  cathode
  ring  (right) o-----------------'
"""

SOUND = """\
  plug                                on the top plate of each body
  tip   (left)  o------------ crystal side of the disc on body A
  sleeve        o-----+------ brass of A's disc: TAPE between it and the body, over all of it
                      '------ brass of B's disc: the same
  ring  (right) o------------ crystal side of the disc on body B
      [ A on its own folded towel ]   half a metre   [ B on its own folded towel ]
"""

ANALYSER = """\
  D0     o------ comparator of A's gate sensor, or the box's isolated side of gate_a1
  D1     o------ comparator of B's gate sensor, or the box's isolated side of gate_b1
  ground o------ ground of the sensors' supply alone: no metal of any body, no sync, no release
"""


def drawing_text(source: str) -> list[str]:
    """Lines of the drawing for 'light', 'sound' or 'analyser'."""
    return {"light": LIGHT, "sound": SOUND, "analyser": ANALYSER}[source].splitlines()
