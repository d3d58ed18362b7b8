"""What the places of a frame log's entry are called: the box sends no names, and no board loads this."""

# One entry of the frame log. Times in ns, null where not measured; verdict: an index into FRAME_VERDICTS;
# how: 0 not measured, 1 sync contact, 2 gate sensor 1, 3 both gate sensors; ms: milliseconds since that boot.
FRAME_FIELDS = (
    "entry",
    "boot",
    "ms",
    "preset",
    "verdict",
    "skew_ns",
    "lag_a_ns",
    "lag_b_ns",
    "exposure_a_ns",
    "exposure_b_ns",
    "delay_a_ns",
    "delay_b_ns",
    "tolerance_ns",
    "how_a",
    "how_b",
    "bounces_a",
    "bounces_b",
    "flicks_a",
    "flicks_b",
    "lost",
)
