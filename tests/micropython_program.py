"""Emitted MicroPython in an interpreter: fed lines, answering lines. See `nested` of whole_values.

e MESSAGE STATION SEQUENCE [values]     → hex of the frame, or the reason
d HEX [what the carrier says]           → (message, station, sequence, values …), or the reason

and k, x and r as in c_program.py.
"""

import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

from packcodec.emit import emit
from packcodec.layout.model import Layout

UNIX = Path(sys.executable).with_name("micropython")
INTERPRETER = str(UNIX) if UNIX.exists() else shutil.which("micropython")

_DRIVER = """
import sys
sys.path.insert(0, FOLDER)
import MODULE as m
out = bytearray(340)
keys, rings, opening = [], [], {}

class OfAnyStation:
    def __init__(self, said):
        self.said = said

    def __contains__(self, station):
        return True

    def __getitem__(self, station):
        return self.said

    def get(self, station, other):
        return self.said

def octets_of(text):
    return bytes([int(text[i : i + 2], 16) for i in range(0, len(text), 2)])

CIPHER
for line in sys.stdin:
    what, first, rest = (line.strip() + "  ").split(" ", 2)
    try:
        if what == "e":
            station, sequence, values = rest.strip().split(" ", 2)
            frame = getattr(m, "frame_" + first)
            n = frame(out, int(station), int(sequence), eval(values), *keys, *rings)
            print("".join("%02x" % octet for octet in out[:n]))
        elif what == "k":
            keys = [] if first == "-" else [Cipher(octets_of(first))]
            opening["ciphers"] = OfAnyStation(keys[0]) if keys else {}
        elif what == "x":
            opening["expected"] = OfAnyStation(int(first))
        elif what == "r":
            rings = [None]
            if first != "-":
                ring = rings[0] = m.Ring()
                ring.next, ring.at = int(first), int(rest.split()[0])
                octets = octets_of("".join(rest.split()[1:]))
                ring.held = len(octets) // SYMBOL_BYTES
                for i, octet in enumerate(octets):
                    ring.sources[i] = octet
        else:
            said = eval("(" + rest + ")") if rest.strip() else ()
            print(m.decode(octets_of(first), *said, **opening))
    except m.Refused as refused:
        print(refused.args[0])
"""

# AES-CCM (RFC 3610) with a nonce of 13 octets, out of blocks.
_CIPHER = """
import cryptolib

class Cipher:
    def __init__(self, key):
        self.block = cryptolib.aes(key, 1).encrypt

    def stream(self, nonce, n):
        return self.block(bytes([1]) + nonce + bytes([n >> 8, n & 255]))

    def turned(self, nonce, data):
        blocks = [self.stream(nonce, 1 + n) for n in range((len(data) + 15) // 16)]
        return bytes([a ^ b for a, b in zip(data, b"".join(blocks))])

    def tag(self, nonce, data, associated):
        text = bytes([57 + 4 * TAG]) + nonce + bytes([len(data) >> 8, len(data) & 255])
        for part in (bytes([len(associated) >> 8, len(associated) & 255]) + associated, data):
            text += part + bytes(-len(part) % 16)
        mac = bytes(16)
        for at in range(0, len(text), 16):
            mac = self.block(bytes([a ^ b for a, b in zip(mac, text[at : at + 16])]))
        return bytes([a ^ b for a, b in zip(mac, self.stream(nonce, 0))])[:TAG]

    def encrypt(self, nonce, data, associated):
        return self.turned(nonce, data) + self.tag(nonce, data, associated)

    def decrypt(self, nonce, sealed, associated):
        data = self.turned(nonce, sealed[:-TAG])
        if self.tag(nonce, data, associated) != sealed[-TAG:]:
            raise ValueError("the tag is wrong")
        return data
"""


def write(layout: Layout, folder: Path) -> list[str]:
    """The emitted file and a driver in `folder`; the arguments that run it."""
    ((name, text),) = emit(layout, "micropython").items()
    (folder / name).write_text(text, encoding="utf-8")
    driver = folder / "driver.py"
    cipher = _CIPHER.replace("TAG", str(layout.check.octets)) if layout.check.sealed else ""
    source = _DRIVER.replace("FOLDER", repr(str(folder))).replace("CIPHER\n", cipher)
    if layout.repair is not None:
        source = source.replace("SYMBOL_BYTES", str(layout.repair.symbol_bytes))
    driver.write_text(source.replace("MODULE", name.removesuffix(".py")), encoding="utf-8")
    return [str(driver)]


def ask(command: list[str], lines: Iterable[str]) -> list[str]:
    done = subprocess.run(
        command, input="".join(f"{line}\n" for line in lines), capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.splitlines()
