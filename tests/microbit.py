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
        self._until(b">>> ")
        os.write(self.to, b"\x01")
        self._until(b"raw REPL; CTRL-B to exit\r\n>")

    def run(self, code: str) -> str:
        data = code.encode() + b"\x04"
        for at in range(0, len(data), PIECE):
            os.write(self.to, data[at : at + PIECE])
            time.sleep(0.005)
        answer = self._until(b"\x04>")
        said, fault = answer.removesuffix(b"\x04>").split(b"\x04", 1)
        assert not fault, (code, fault.decode())
        return said.removeprefix(b"OK").decode().strip()

    def load(self, source: str) -> None:
        """Define what `source` defines, a block at a time, without comments and wide indents.

        Its head, then functions, the largest first: to compile one takes room in one piece. What
        is sent stands in the heap as well, where the longest block's room is never given back.
        """
        self.run("import gc\n")
        bare = re.sub(r"^ *#.*\n", "", source, flags=re.MULTILINE)
        bare = re.sub("^(?:    )+", lambda wide: " " * (len(wide[0]) // 4), bare, flags=re.MULTILINE)
        blocks = [block.strip() for block in re.split(r"\n\n\n+", bare) if block.strip()]
        functions = [block for block in blocks if block.startswith("def ")]
        others = [block for block in blocks if not block.startswith("def ")]
        for block in (others[0], *sorted(functions, key=len, reverse=True), *others[1:]):
            self.run(block + "\n")
            self.run("gc.collect()\n")

    def stop(self) -> None:
        self.process.kill()
        self.process.wait()

    def _until(self, end: bytes) -> bytes:
        heard = b""
        give_up = time.monotonic() + PATIENCE_S
        while not heard.endswith(end):
            ready, _, _ = select.select([self.off], [], [], 1)
            if ready:
                heard += os.read(self.off, 4096)
            assert time.monotonic() < give_up, heard
        return heard
