"""Debian's micro:bit firmware (MicroPython 1.9.2) in QEMU, spoken to over its serial line.

A real port with integers of 31 bits and about 9 KB of heap. Code is sent in the raw REPL, a block
at a time, in small pieces: the device's receive buffer is short and QEMU fills it at once.
"""

import os
import re
import select
import shutil
import subprocess
import time
from pathlib import Path

EMULATOR = shutil.which("qemu-system-arm")
FIRMWARE = Path("/usr/share/firmware-microbit-micropython/firmware.hex")
MISSING = (
    "no qemu-system-arm here"
    if EMULATOR is None
    else "no firmware-microbit-micropython here"
    if not FIRMWARE.exists()
    else ""
)
OPTIONS = ("-M", "microbit", "-nographic", "-monitor", "none", "-serial", "stdio")
PATIENCE_S = 60
PIECE = 24
# Room to compile a short statement, and how long one is.
HELD = 700
SHORT = 350


class Microbit:
    """A booted device; `run` sends code and gives what it printed."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [str(EMULATOR), *OPTIONS, "-device", f"loader,file={FIRMWARE}"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.to, self.off = self.process.stdin.fileno(), self.process.stdout.fileno()
        self._raw(b"")

    def run(self, code: str) -> str:
        data = code.encode() + b"\x04"
        for at in range(0, len(data), PIECE):
            os.write(self.to, data[at : at + PIECE])
            time.sleep(0.005)
        answer = self._until(b"\x04>")
        said, fault = answer.removesuffix(b"\x04>").split(b"\x04", 1)
        assert not fault, (code, fault.decode())
        # The REPL would keep the room of the longest code that it was sent.
        self._raw(b"\x02")
        return said.removeprefix(b"OK").decode().strip()

    def load(self, source: str) -> None:
        """Define what `source` defines, a statement at a time, without comments and wide indents.

        Those of several lines come first, the largest before the rest: to compile one takes room in
        one piece. Such a piece is held back while there are others, and given back for the rest.
        """
        self.run("import gc\n")
        self.run(f"held = bytearray({HELD})\n")
        bare = re.sub(r"^ *#.*\n", "", source, flags=re.MULTILINE)
        bare = re.sub(
            "^(?:    )+", lambda wide: " " * (len(wide[0]) // 4), bare, flags=re.MULTILINE
        )
        head, *statements = re.split(r"\n\n+|\n(?=\w)", bare.strip())
        long = [each for each in statements if "\n" in each]
        short = [each for each in statements if "\n" not in each]
        for statement in (head, *sorted(long, key=len, reverse=True), *short):
            if statement != head and len(statement) < SHORT:
                self.run("held = None\n")
            self.run(f"{statement}\n")
            self.run("gc.collect()\n")

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()

    def _raw(self, leave: bytes) -> None:
        """Into the raw REPL, from where `leave` leads."""
        os.write(self.to, leave)
        self._until(b">>> ")
        os.write(self.to, b"\x01")
        self._until(b"raw REPL; CTRL-B to exit\r\n>")

    def _until(self, end: bytes) -> bytes:
        heard = b""
        give_up = time.monotonic() + PATIENCE_S
        while not heard.endswith(end):
            ready, _, _ = select.select([self.off], [], [], 1)
            if ready:
                heard += os.read(self.off, 4096)
            assert time.monotonic() < give_up, heard
        return heard
