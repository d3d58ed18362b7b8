"""What the codes of refused requests say to a person: the box sends the code, and no board loads this."""

ERRORS = {
    "bad_line": "The line did not arrive whole; send it again.",
    "unknown_verb": "The box's firmware does not know that request; update it: 'coincide box install'.",
    "bad_field": "A field is missing or out of range.",
    "not_armed": "The box is not armed; arm it first.",
    "interlock": "The interlock is open; close it and try again.",
    "interlock_unseen": "The interlock was never seen open since the start: open it and close it again, to prove it.",
    "interlock_closed": "The interlock is closed; open it and try again.",
    "busy": "The box is busy with a shot; wait for it to end.",
    "unread": "The box holds events the host has not acknowledged; read them first.",
    "not_wound": "A body is wound by hand: wind both, then press 'wound'.",
    "flash": "The flash could not be written or read.",
    "failed": "The box failed inside; its crash record says where.",
}
