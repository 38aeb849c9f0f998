"""Emitted MicroPython in an interpreter: fed lines, answering lines. See `nested` of whole_values.

e MESSAGE STATION SEQUENCE [values]     → hex of the frame, or the reason
d HEX [what the carrier says]           → (message, station, sequence, values), or the reason
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
for line in sys.stdin:
    what, first, rest = (line.strip() + "  ").split(" ", 2)
    try:
        if what == "e":
            station, sequence, values = rest.strip().split(" ", 2)
            frame = getattr(m, "frame_" + first)
            n = frame(out, int(station), int(sequence), eval(values))
            print("".join("%02x" % octet for octet in out[:n]))
        else:
            said = eval("(" + rest + ")") if rest.strip() else ()
            octets = bytes([int(first[i : i + 2], 16) for i in range(0, len(first), 2)])
            print(m.decode(octets, *said))
    except m.Refused as refused:
        print(refused.args[0])
"""


def write(layout: Layout, folder: Path) -> list[str]:
    """The emitted file and a driver in `folder`; the arguments that run it."""
    ((name, text),) = emit(layout, "micropython").items()
    (folder / name).write_text(text, encoding="utf-8")
    driver = folder / "driver.py"
    source = _DRIVER.replace("FOLDER", repr(str(folder)))
    driver.write_text(source.replace("MODULE", name.removesuffix(".py")), encoding="utf-8")
    return [str(driver)]


def ask(command: list[str], lines: Iterable[str]) -> list[str]:
    done = subprocess.run(
        command, input="".join(f"{line}\n" for line in lines), capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.splitlines()
