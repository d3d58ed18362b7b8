"""Small files in flash: the littlefs that MicroPython mounts, one directory, flat names.

littlefs commits a file when it is closed and spreads its blocks over the flash; a power cut leaves the
file as it was at its last close. Failures come out as OSError.
"""

import os

from micropython import const

DIRECTORY = "/data"
_NO_SUCH_FILE = const(2)


class FlashFiles:
    """The file store of the board object."""

    def __init__(self, directory):
        self._directory = directory
        try:
            self._make_directory()
        except OSError:
            return  # the flash is full or fails: each write tries again, and says so to whoever writes

    def _make_directory(self):
        try:
            os.stat(self._directory)
        except OSError:
            os.mkdir(self._directory)

    def _path(self, name):
        return self._directory + "/" + name

    def read(self, name):
        """The whole file, or None if there is none."""
        return self.read_at(name, 0, -1)

    def read_at(self, name, at, count):
        """At most `count` bytes from byte `at`; None if there is no such file."""
        try:
            with open(self._path(name), "rb") as file:
                file.seek(at)
                return file.read(count)
        except OSError as error:
            if error.args[0] == _NO_SUCH_FILE:
                return None
            raise

    def size(self, name):
        """Bytes in the file; 0 if there is none."""
        try:
            return os.stat(self._path(name))[6]
        except OSError as error:
            if error.args[0] == _NO_SUCH_FILE:
                return 0
            raise

    def append(self, name, data):
        self._write(name, data, "ab")

    def replace(self, name, data):
        self._write(name, data, "wb")

    def _write(self, name, data, mode):
        self._make_directory()
        with open(self._path(name), mode) as file:
            if file.write(data) != len(data):
                raise OSError(28)  # no space left

    def remove(self, name):
        """The file is gone; it is no error if it never was."""
        try:
            os.remove(self._path(name))
        except OSError as error:
            if error.args[0] != _NO_SUCH_FILE:
                raise

    def names(self):
        try:
            return os.listdir(self._directory)
        except OSError as error:
            if error.args[0] == _NO_SUCH_FILE:
                return []
            raise

    def free_bytes(self):
        answer = os.statvfs("/")
        return answer[0] * answer[3]
