"""The firmware's own version; the wire's version is `messages.PROTOCOL`."""

FIRMWARE_VERSION = "0.1.0"
